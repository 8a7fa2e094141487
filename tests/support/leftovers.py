"""Fails a test that leaves a descriptor, a thread or a process behind, which would disturb a later one.

Linux only, where /proc lists all three; elsewhere threads alone are looked at.
"""

from __future__ import annotations

import contextlib
import gc
import os
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.session.writer import SessionWriter
from logger.transports.simulated import PtyDevice
from support.waiting import patience, until

MARK = "HAUL_TEST_RUN"  # in the environment of every process that this one starts, and of theirs
# what ends by itself after the test may take so long
MOST_WAIT_S = 60.0  # also on a busy machine
GONE_WITHIN_S = float(os.environ.get("HAUL_GONE_WITHIN_S", "1"))
STARTS = frozenset(("subprocess.Popen", "os.fork", "os.forkpty", "os.posix_spawn"))
# kept by libraries for good: /dev/urandom and /dev/null are opened once, and a library's own data file
KEPT = ("/dev/urandom", "/dev/random", "/dev/null", str(Path(sys.prefix)), "/usr/", "/proc/")
# threads that end with the process: of libraries, and the one that waits for lines of a status line
POOLS = (
    "printer",
    "pymp-",
    "ThreadPoolExecutor",
    "asyncio_",
    "waitpid-",
    "Dask",
    "IO loop",
    "Profile",
)

# the browser, which all tests share, and the helper of multiprocessing, which ends with this process
LOCK = "/recorder.lock"
SHARED = ("chromium", "chromedriver", "chrome_crashpad", "multiprocessing.resource_tracker")

_started = [False]  # whether a process was started since the last look
_running: dict[str, str] = {}  # what `processes` returned then
_setting_up = [0]  # how many fixtures of a wider scope than a test are being set up
_wider: set[str] = set()  # what those opened
os.environ[MARK] = str(os.getpid())


def _note(event: str, arguments: object) -> None:
    if event in STARTS:
        _started[0] = True


sys.addaudithook(_note)


def descriptors() -> dict[str, str]:
    """What is open, by number and content: a file's path, or the kind and number of another object."""
    found = {}
    folder = Path("/proc/self/fd")
    for entry in folder.iterdir() if folder.is_dir() else ():
        with contextlib.suppress(OSError):
            target = str(entry.readlink())
            # a follower of a growing session looks at its lock for an instant, again and again
            if not target.startswith((*KEPT, "anon_inode:")) and not target.endswith(LOCK):
                found[f"{entry.name} {target}"] = f"descriptor {entry.name} of {target}"
    return found


def threads() -> dict[str, str]:
    """The threads that run, by identity."""
    return {
        str(id(thread)): f"thread {thread.name}"
        for thread in threading.enumerate()
        if not thread.name.startswith(POOLS)
    }


def processes() -> dict[str, str]:
    """The processes that this one or one of its descendants has started, and that still run; without those of
    the browser, which all tests share."""
    found = {}
    mark = f"{MARK}={os.getpid()}".encode()
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if mark not in (folder / "environ").read_bytes().split(b"\0"):
                continue
            call = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode("utf-8", "replace")
            if int(folder.name) != os.getpid() and not any(name in call for name in SHARED):
                found[folder.name] = f"process {folder.name}: {call[:200]}"
    return found


def keep_numbers(patch: pytest.MonkeyPatch) -> list[int]:
    """Keep the number of every pseudo-terminal that a test closes; returns descriptors that hold them.

    A recorder goes on to try the name of a terminal that is gone. If the next terminal of any test got this
    number, the recorder of one test would read the device of another.
    """
    held: list[int] = []
    close = PtyDevice.close

    def close_but_hold(device: PtyDevice) -> None:
        if device._slave >= 0:
            held.append(os.dup(device._slave))  # its name goes with the other end; its number stays
        close(device)

    patch.setattr(PtyDevice, "close", close_but_hold)
    return held


def keep_writers(patch: pytest.MonkeyPatch) -> list[SessionWriter]:
    """The writers of sessions that a test makes, to be closed at its end as those of a killed recorder."""
    made: list[SessionWriter] = []
    create = SessionWriter.create

    def create_and_note(*arguments: Any, **options: Any) -> SessionWriter:
        if _setting_up[0]:
            return create(*arguments, **options)
        made[:] = [one for one in made if any(file._fd >= 0 for file in one._files.values())]
        made.append(create(*arguments, **options))
        return made[-1]

    patch.setattr(SessionWriter, "create", create_and_note)
    return made


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any]) -> Iterator[None]:
    """Note what a fixture of a wider scope opens; a test may ask for one while it runs."""
    if fixturedef.scope == "function":
        return (yield)
    before = descriptors() | threads()
    _setting_up[0] += 1
    try:
        return (yield)
    finally:
        _setting_up[0] -= 1
        _wider.update(key for key in descriptors() | threads() if key not in before)
        if _started[0]:
            _look()


@pytest.fixture(autouse=True)
def nothing_left(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fail a test after which more is open or running than before; what fixtures of a wider scope opened
    before the test is theirs. The mark `leaves` says why a test is let off."""
    before = descriptors() | threads()
    if _started[0]:
        _look()
    _started[0] = False
    with pytest.MonkeyPatch.context() as patch:
        held, writers = keep_numbers(patch), keep_writers(patch)
        yield
    for writer in writers:
        with contextlib.suppress(OSError):
            writer.abandon()
    if request.node.get_closest_marker("leaves") is not None:
        for number in held:
            os.close(number)
        return

    def left() -> list[str]:
        now = descriptors() | threads()
        # the connection to the browser, which all tests share, is opened again now and then
        shared = "socket:" if "browser" in request.fixturenames else "\0"
        mine = [key for key in now if key not in before and key not in _wider]
        # a follower of a wider fixture closes its session's file and opens it again under another number
        again = {_file(key) for key in (*before, *_wider) if key not in now}
        return [
            now[key]
            for key in mine
            if shared not in key and (not _file(key) or _file(key) not in again)
        ]

    def running_on() -> list[str]:
        return [text for key, text in processes().items() if key not in _running]

    kept_on = _wait(running_on) if _started[0] else []
    for number in held:
        os.close(number)
    kept_open = left()
    if kept_open:
        gc.collect()  # what only a circle of references holds is closed now
        kept_open = _wait(left)
    found = kept_open + kept_on
    if _started[0]:
        _look()
    if found:
        pytest.fail("left behind: " + "; ".join(found), pytrace=False)


def _look() -> None:
    _running.clear()
    _running.update(processes())


def _file(key: str) -> str:
    """The file that a descriptor's key names, without the descriptor's number; "" of what is no file."""
    _, _, target = key.partition(" ")
    return target if target.startswith("/") else ""


def _wait(left: Callable[[], list[str]]) -> list[str]:
    """Wait until nothing is left; returns what was left when last looked at."""
    last: list[str] = []

    def gone() -> bool:
        last[:] = left()
        return not last

    with contextlib.suppress(AssertionError):
        until(gone, min(GONE_WITHIN_S, MOST_WAIT_S / patience()))
    return last
