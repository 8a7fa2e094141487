"""The processes that the demo starts: how they are called, ended, and end when it is gone."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, Any

import dashboard


def start(argv: Sequence[str], stdout: int | IO[Any] | None = None) -> subprocess.Popen[str]:
    """Start `haul ARGV` as a process whose standard input stays open while this one lives.

    It is in a session of its own: Ctrl-C reaches this process alone, which ends the others in
    order.
    """
    env = dict(os.environ)
    root = str(Path(dashboard.__file__).parent.parent)
    env["PYTHONPATH"] = os.pathsep.join(p for p in (root, env.get("PYTHONPATH")) if p)
    alone: dict[str, Any] = (
        {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
        if sys.platform == "win32"
        else {"start_new_session": True}
    )
    # -P: a folder called `logger` where the call is made must not be taken for ours
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "dashboard.cli", *argv],
        stdin=subprocess.PIPE, stdout=stdout, text=True, encoding="utf-8", env=env, **alone,
    )  # fmt: skip


def end(process: subprocess.Popen[str], within_s: float) -> int:
    """Ask a process to end in order; kill it if it has not by then.  Its exit status."""
    if process.poll() is None:
        if sys.platform == "win32":  # no signal asks there: `end_with_parent` sees the end
            if process.stdin is not None:
                process.stdin.close()
        else:
            process.send_signal(signal.SIGTERM)
        try:
            process.wait(within_s)
        except subprocess.TimeoutExpired:
            process.kill()
    status = process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            pipe.close()
    return status


def end_with_parent() -> None:
    """From now on: when standard input ends, because the parent is gone, end as SIGTERM would."""

    def watch() -> None:
        try:
            while os.read(0, 1024):
                pass
        except OSError:
            pass
        if sys.platform == "win32":
            signal.raise_signal(signal.SIGTERM)
        else:  # to the process, so that a main thread that waits is woken
            os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch, name="parent", daemon=True).start()


@contextlib.contextmanager
def sigterm_as_ctrl_c() -> Iterator[None]:
    """SIGTERM raises KeyboardInterrupt in the main thread, as Ctrl-C does."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
