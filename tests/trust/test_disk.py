"""A disk that refuses: the readers live, the operator is told, the readings are kept."""

from __future__ import annotations

import errno
import functools
import os
import re
import select
import shutil
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter as Tally
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from support.disks import disk
from support.processes import ended, ended_at_exit
from support.rigs import STRAIGHT_PULL
from support.systems import pseudo_terminals
from support.waiting import Limit, joined, long_enough, patience, until
from support.yard import (
    ROOT,
    Counter,
    Running,
    Yard,
    count_into,
    force,
    further_rows,
    in_order,
    recording,
)

from logger.errors import PortFault, SessionFault
from logger.filesystem import FileOps
from logger.formats.base import Decoded
from logger.recorder.alarms import AlarmRow
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.request_inbox import ask
from logger.session.verify import repair, verify
from logger.transports.reader_thread import Arrival, PortEvent
from logger.transports.simulated import serve_pty, serve_tcp

pytestmark = pseudo_terminals
ERRORS = (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EDQUOT)
TOLD_S = 1.0


class Refusing(FileOps):
    """Refuses below a folder from the n-th call of a kind on, for a while (0: that one call)."""

    def __init__(self) -> None:
        self.plans: dict[Path, dict[str, Any]] = {}
        self._paths: dict[int, Path] = {}
        self.parts = 0
        self.next: dict[int, Any] = {}
        self._lock = threading.Lock()

    def plan(self, folder: Path, kind: str, nth: int, for_s: float, code: int) -> dict[str, Any]:
        found = {
            "kind": kind,
            "left": nth,
            "for_s": for_s,
            "code": code,
            "since": None,
            "calls": Tally(),
            "refused": 0,
        }
        self.plans[folder] = found
        return found

    def _ask(self, kind: str, path: Path) -> None:
        with self._lock:
            plan = next(
                (p for f, p in list(self.plans.items()) if f == path or f in path.parents), None
            )
            if plan is None:
                return
            plan["calls"][kind] += 1
            if plan["kind"] not in (kind, "all"):
                return
            now = time.monotonic()
            if plan["since"] is None:
                plan["left"] -= 1
                if plan["left"] > 0:
                    return
                plan["since"] = now
            elif now - plan["since"] >= plan["for_s"]:
                return
            plan["refused"] += 1
        raise OSError(plan["code"], os.strerror(plan["code"]))

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        self._ask("open", path)
        fd = super().open(path, flags, mode)
        self._paths[fd] = path
        return fd

    def write(self, fd: int, data: bytes | memoryview) -> int:
        if (refusal := self.next.pop(fd, None)) is not None:
            raise refusal
        try:
            self._ask("write", self._paths[fd])
        except OSError:
            self.parts += 1
            if len(data) < 8 or self.parts % 2:
                raise
            # a disk that fills up takes a part of what it is given
            self.next[fd] = sys.exc_info()[1]
            return super().write(fd, data[:7])
        return super().write(fd, data)

    def fsync(self, fd: int) -> None:
        self._ask("fsync", self._paths[fd])  # nothing here is about what a sync costs

    def replace(self, source: Path, target: Path) -> None:
        self._ask("rename", target)
        super().replace(source, target)


AT_ONCE = 20
KINDS = ("write", "fsync", "open", "rename")
LEAST_CALLS = dict(zip(KINDS, (20, 15, 14, 4), strict=True))  # of a recording of 0.4 s


@pytest.mark.parametrize(
    "for_s",
    [pytest.param(0.0, marks=pytest.mark.many), pytest.param(0.6, marks=pytest.mark.long)],
)
def test_any_single_call_may_fail_once_or_for_a_while(tmp_path: Path, for_s: float) -> None:
    """Every n-th write, fsync, open and rename, for every n that a short recording makes.  What
    fails before there is a session is one line; after that no reading is lost."""
    device = serve_tcp()
    layer = Refusing()

    def yard(name: str) -> Yard:
        return Yard(tmp_path / name, force(device.url))

    with disk(layer):
        dry, most_s = yard("dry"), 0.4
        calls = layer.plan(dry.folder, "none", 1, 0, 0)["calls"]
        counter = Counter([count_into(device, dry)], 200.0)
        running = Running(dry, for_s=most_s)
        joined(running.thread)
        while any(calls[kind] < low for kind, low in LEAST_CALLS.items()) and most_s < 10.0:
            most_s *= 1.5  # a busy machine opens the port late
            dry = yard(f"dry-{most_s}")
            calls = layer.plan(dry.folder, "none", 1, 0, 0)["calls"]
            running = Running(dry, for_s=most_s)
            joined(running.thread)
        running.wait()
        todo = [(kind, n) for kind in KINDS for n in range(1, calls[kind] + 1)]
        assert all(calls[kind] >= low for kind, low in LEAST_CALLS.items())
        runs: list[tuple[str, int, Yard, dict[str, Any], Running]] = []
        for at, (kind, n) in enumerate(todo):
            found = yard(f"{kind}-{n}")
            plan = layer.plan(found.folder, kind, n, for_s, ERRORS[at % len(ERRORS)])
            if len(runs) >= AT_ONCE:
                joined(runs[-AT_ONCE][4].thread)
            runs.append((kind, n, found, plan, Running(found, for_s=1.1 if for_s else most_s)))
        for *_, running in runs:
            joined(running.thread)
        for at, (kind, n, _, plan, running) in enumerate(runs):
            # its time was over before its port was open, or before the first line came
            if isinstance(running.error, PortFault) or (
                running.outcome and not runs[at][2].values()
            ):
                found = yard(f"{kind}-{n}-alone")
                plan = layer.plan(found.folder, kind, n, for_s, plan["code"])
                runs[at] = (kind, n, found, plan, Running(found, for_s=long_enough(3.0)))
                joined(runs[at][4].thread)
        counter.stop()
    device.close()
    begun, kept = 0, []
    for kind, n, found, plan, running in runs:
        where = f"{kind} {n}"
        if running.error is not None:
            assert isinstance(running.error, SessionFault), (where, running.error)
            assert "\n" not in str(running.error) and os.strerror(plan["code"]) in str(
                running.error
            )
            assert not found.out.exists(), where
            continue
        outcome = running.outcome
        assert outcome is not None and outcome.state == "sealed", (where, outcome)
        assert verify(found.out).state == "complete", where
        values = found.values()
        assert values and in_order(values) and outcome.drops == {"force": 0}, where
        kept.append(len(values))
        assert outcome.readings == {"force": len(values)}, where
        rows = [event for event in found.events() if event.kind == "disk"]
        if plan["refused"] and rows:
            begun += 1
            assert "nothing could be written for" in rows[0].text
            assert os.strerror(plan["code"]) in rows[0].text
    # a busy machine opens a port late: not each of them has many rows, most have
    assert begun > 3 and statistics.median(kept) > 20


def test_the_operator_is_told_within_a_second_and_the_recording_goes_on(tmp_path: Path) -> None:
    """By the status line; and on every page, whose sign of life (a row of clock.csv) stays away."""
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    layer = Refusing()
    with disk(layer), recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        refuses_s = long_enough(1.6)
        plan = layer.plan(yard.folder, "all", 1, refuses_s, errno.ENOSPC)
        told = until(lambda: next((t for t, s in running.statuses if s.disk), None))
        assert told - plan["since"] <= TOLD_S * patience(plan["since"])
        shown = [s for t, s in running.statuses if t >= told]
        assert shown[0].disk == os.strerror(errno.ENOSPC)
        # what the line shows meanwhile is the latest reading, and not the last that was written
        at, status = until(lambda: next((x for x in running.statuses if x[0] > told + 0.5), None))
        late = abs(float(status.latest["force"]) - counter.last_before(at))
        assert status.disk and late < 100 * patience(told)
        until(lambda: "disk" in yard.kinds())
        row = next(e for e in yard.events() if e.kind == "disk")
        assert row.value == pytest.approx(refuses_s, abs=0.6 * patience(plan["since"]))
        until(lambda: not running.statuses[-1][1].disk)
        counter.stop()
        outcome = running.end()
    assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1
    assert outcome.drops == {"force": 0} and verify(yard.out).state == "complete"
    device.close()


@pytest.mark.many
def test_an_acknowledgement_that_waits_for_the_disk_is_shown_once(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    layer = Refusing()
    row = AlarmRow(channel="force", label="anchor", stop=0.5)

    def shown(running: Running, kind: str) -> int:
        return sum(alarm.kind == kind for _, s in running.statuses for alarm in s.alarms)

    with disk(layer), recording(yard, alarms=[row]) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: shown(running, "alarm"))
        layer.plan(yard.out / "events.csv", "all", 1, long_enough(1.5), errno.ENOSPC)
        ask(yard.out, "mark")  # its row is the first that is refused
        until(lambda: running.statuses[-1][1].disk)
        ask(yard.out, "ack")
        until(lambda: shown(running, "ack"))
        assert running.statuses[-1][1].disk
        until(lambda: "ack" in yard.kinds())
        statuses = len(running.statuses)
        until(lambda: len(running.statuses) > statuses + 1)
        counter.stop()
        running.end()
    device.close()
    assert yard.kinds().count("ack") == 1
    assert (shown(running, "alarm"), shown(running, "ack")) == (1, 1)


def test_beyond_the_bound_the_oldest_go_and_are_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound is 60 s; here 1 s of it."""
    monkeypatch.setattr(
        "logger.recorder.recorder.BoundedQueue", functools.partial(BoundedQueue, most_s=1.0)
    )
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    layer = Refusing()
    with disk(layer), recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        start = time.monotonic()
        layer.plan(yard.folder, "all", 1, 2.2, errno.ENOSPC)
        until(lambda: "gap" in yard.kinds())
        until(further_rows(yard), 8, "rows after the gap")
        counter.stop()
        outcome = running.end()
    device.close()
    values = yard.values()
    assert values == sorted(set(values)) and values[-1] == len(counter.sent) - 1
    missing = len(counter.sent) - int(values[0]) - len(values)
    assert 300 < missing < 600 + 400 * patience(start)  # 1.2 s of 500 a second
    assert outcome.drops == {"force": missing}
    # in one row, or two where the queue was full once more before it was empty
    rows = [e for e in yard.events() if e.kind == "gap" and "queue was full" in e.text]
    assert {row.channel for row in rows} == {"force"}
    assert sum(row.value or 0.0 for row in rows) == float(missing)


@pytest.mark.long
def test_fifty_seconds_without_a_disk_lose_nothing(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    layer = Refusing()
    with disk(layer), recording(yard) as running:
        counter = Counter([count_into(device, yard, within_s=5.0)], 1000.0)
        until(lambda: len(yard.values()) > 50)
        layer.plan(yard.folder, "all", 1, 50.0, errno.ENOSPC)
        until(lambda: "disk" in yard.kinds(), 70)
        counter.stop()
        outcome = running.end()
    device.close()
    assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1
    assert outcome.drops == {"force": 0}


@pytest.mark.many
def test_a_disk_that_refuses_to_the_end_leaves_what_it_took_and_counts_the_rest(
    tmp_path: Path,
) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    layer = Refusing()
    began = time.monotonic()
    for_s = long_enough(1.2)
    with disk(layer), recording(yard, for_s=for_s) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        layer.plan(yard.folder, "all", 1, 1000.0, errno.EROFS)
        time.sleep(0.5)  # for so long the disk refuses while the device sends
        counter.stop()
        outcome = running.wait()
        assert time.monotonic() - began < for_s + 2.0 * patience(began)
    device.close()
    assert outcome.state == "cut short" and outcome.disk == os.strerror(errno.EROFS)
    values = yard.values()
    assert in_order(values) and outcome.readings == {"force": len(values)}
    assert outcome.drops == {"force": len(counter.sent) - int(values[-1]) - 1}
    assert repair(yard.out).state == "complete" and yard.values() == values


def test_a_disk_that_does_not_answer_is_told_too(tmp_path: Path) -> None:
    """As a share on the network may hang: the call neither fails nor returns."""
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    hang, free = threading.Event(), threading.Event()

    class Hanging(FileOps):
        def write(self, fd: int, data: bytes | memoryview) -> int:
            if hang.is_set() and threading.current_thread().name == "writer":
                free.wait(600)
            return super().write(fd, data)

    with disk(Hanging()), recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        hang.set()
        began = time.monotonic()
        told = until(lambda: next((t for t, s in running.statuses if "no answer" in s.disk), None))
        assert told - began < 2 * TOLD_S * patience(began)
        free.set()
        counter.stop()
        until(lambda: yard.values()[-1] == len(counter.sent) - 1)
        running.end()
    device.close()
    assert in_order(yard.values())


def test_a_slow_fsync_holds_up_no_row(tmp_path: Path) -> None:
    """A worn card takes half a second a file; a crash meanwhile must not cost that half second."""
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))

    class Slow(FileOps):
        def fsync(self, fd: int) -> None:
            if threading.current_thread() is not running.thread:  # all but the start
                time.sleep(0.5)  # the slow fsync itself
            super().fsync(fd)

    lags, start = [], time.monotonic()
    with recording(yard) as running, disk(Slow()):
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        path = yard.out / "readings.csv"
        for _ in range(60):
            now = time.monotonic()
            last = float(path.read_bytes()[-60:].split(b"\n")[-2].split(b",")[2])
            lags.append(now - counter.sent[min(int(last) + 1, len(counter.sent) - 1)])
            time.sleep(0.02)  # sixty looks at moments spread over 1.2 s
        counter.stop()
        until(lambda: yard.values()[-1] == len(counter.sent) - 1)
    device.close()
    assert sorted(lags)[len(lags) * 3 // 4] <= min(0.1 * patience(start), 0.4), lags
    assert verify(yard.out).state == "complete"


def test_what_happened_to_a_port_outlives_the_bound() -> None:
    ring = BoundedQueue(most_s=10.0)
    ring.put(PortEvent("port", 0.0, "disconnect", "pulled"))
    for k in range(30):
        ring.put(Arrival("port", float(k), float(k), Decoded({"force": [b"1"]})))
    items = ring.take(0.0)
    assert isinstance(items[0], PortEvent) and items[0].text == "pulled"
    assert ring.lost() == {"force": 30 - (len(items) - 1)} and 10 <= len(items) - 1 <= 12


def test_a_folder_that_is_removed_is_told_and_written_anew(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    with recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        first = yard.values()[0]
        removed = time.monotonic()
        shutil.rmtree(yard.out)
        until(lambda: yard.values() and "disk" in yard.kinds())
        assert time.monotonic() - removed < (TOLD_S + 0.5) * patience(removed)
        until(further_rows(yard), 8, "rows in the new folder")
        counter.stop()
        outcome = running.end()
    device.close()
    row = next(e for e in yard.events() if e.kind == "disk")
    assert "removed or moved" in row.text
    assert outcome.state == "sealed" and verify(yard.out).state == "complete"
    assert in_order(yard.values())
    assert (yard.values()[0], yard.values()[-1]) == (first, len(counter.sent) - 1)


def test_a_folder_that_is_moved_away_is_told_and_taken_up_when_it_is_back(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    elsewhere = tmp_path / "elsewhere"
    with recording(yard) as running:
        counter = Counter([count_into(device, yard)])
        until(lambda: len(yard.values()) > 50)
        moved = time.monotonic()
        yard.out.rename(elsewhere)
        told = until(lambda: next((t for t, s in running.statuses if "moved" in s.disk), None))
        assert told - moved <= TOLD_S * patience(moved) and not yard.out.exists()
        elsewhere.rename(yard.out)
        until(lambda: "disk" in yard.kinds())
        counter.stop()
        outcome = running.end()
    device.close()
    assert outcome.state == "sealed" and verify(yard.out).state == "complete"
    assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1


def test_a_deleted_lock_is_made_anew(tmp_path: Path) -> None:
    """Without it viewers would take the session for one that was cut short, and could seal it."""
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    with recording(yard) as running:
        (yard.out / "recorder.lock").unlink()
        until(lambda: verify(yard.out).state == "growing", 1.0)
        assert repair(yard.out).state == "growing"
        running.end()
    device.close()
    assert verify(yard.out).state == "complete"


class Terminal:
    """`haul record` on a terminal of its own; text: what the operator sees."""

    def __init__(self, yard: Yard) -> None:
        self.master, slave = os.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "record", str(yard.rig), str(yard.sensors_file),
             "--out", str(yard.out)],
            stdout=subprocess.PIPE, stderr=slave, text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        ended_at_exit(self.process)
        os.close(slave)
        self.text = ""

    def until(self, what: str, within_s: float = 8.0) -> float:
        """When the words came up on the terminal."""
        limit = Limit(within_s)
        while not limit.over():
            if select.select([self.master], [], [], 0.05)[0]:
                self.text += os.read(self.master, 65536).decode("utf-8", "replace")
            found = re.search(what, self.text)
            if found:
                self.text = self.text[found.end() :]
                return time.monotonic()
        raise AssertionError(f"not within {within_s} s: {what}; {self.text[-300:]}")

    def end(self) -> tuple[int, str]:
        self.process.terminate()
        out, _ = ended(self.process)
        os.close(self.master)
        return self.process.returncode, out


def test_a_full_disk_shows_on_the_terminal_within_a_second(tmp_path: Path) -> None:
    """A real limit of the system (RLIMIT_FSIZE), put on the running process and taken off again."""
    import resource

    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    yard.rig.write_text(STRAIGHT_PULL)
    terminal = Terminal(yard)
    until(lambda: "connect" in yard.kinds(), 20)
    counter = Counter([count_into(device, yard)])
    until(lambda: len(yard.values()) > 50)
    full = time.monotonic()
    resource.prlimit(terminal.process.pid, resource.RLIMIT_FSIZE, (2000, resource.RLIM_INFINITY))
    told = terminal.until("DISK: File too large")  # as seen from here
    assert told - full <= (TOLD_S + 0.3) * patience(full)
    size = (yard.out / "readings.csv").stat().st_size
    time.sleep(0.4)  # for so long the file does not grow
    assert (yard.out / "readings.csv").stat().st_size == size
    resource.prlimit(terminal.process.pid, resource.RLIMIT_FSIZE, (-1, -1))
    until(lambda: "disk" in yard.kinds())
    counter.stop()
    status, out = terminal.end()
    device.close()
    assert status == 0 and "sealed" in out
    assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1
    assert verify(yard.out).state == "complete"


@contextmanager
def small_disk(folder: Path) -> Iterator[Callable[[], None]]:
    """A real file system of 1 MB; what it gives fills it up."""
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(folder)],
        check=False,
        capture_output=True,
    )
    if done.returncode:
        pytest.skip("other system: no right to mount a file system")
    try:
        yield lambda: subprocess.run(
            ["dd", "if=/dev/zero", f"of={folder}/ballast", "bs=4k"],
            check=False,
            capture_output=True,
        )
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_real_file_system_fills_up_and_gets_room_again(tmp_path: Path) -> None:
    if shutil.which("mount") is None:
        pytest.skip("other system: no mount")
    device = serve_pty()
    with small_disk(tmp_path / "small") as fill:
        yard = Yard(tmp_path / "small" / "yard", force(device.url))
        with recording(yard) as running:
            counter = Counter([count_into(device, yard, within_s=5.0)], 2000.0)
            until(lambda: len(yard.values()) > 50)
            fill()
            until(lambda: any(s.disk for _, s in running.statuses))
            time.sleep(0.5)  # for so long the disk is full
            (tmp_path / "small" / "ballast").unlink()
            until(lambda: "disk" in yard.kinds())
            counter.stop()
            outcome = running.end()
        assert outcome.state == "sealed" and verify(yard.out).state == "complete"
        assert in_order(yard.values()) and yard.values()[-1] == len(counter.sent) - 1
    device.close()
