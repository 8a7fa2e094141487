"""Starts `haul` in further processes, ends them in order, and ends a child whose parent is gone."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import IO, Any

import dashboard


def start(argv: Sequence[str], stdout: int | IO[Any] | None = None) -> subprocess.Popen[str]:
    """Start `haul ARGV` as a process with a pipe as standard input, which ends with this process.

    It is in a process group of its own: Ctrl-C reaches this process alone, which then ends the others
    in order.
    """
    return subprocess.Popen(
        _command(argv), stdin=subprocess.PIPE, stdout=stdout, text=True, encoding="utf-8", **_own()
    )


def start_alone(argv: Sequence[str], output: IO[Any]) -> subprocess.Popen[bytes]:
    """Start `haul ARGV` as a process that goes on when this one ends, however it ends.

    It shares nothing with this process: no terminal, no pipe, no process group.  output: a file that takes
    all that it prints.
    """
    return subprocess.Popen(
        _command(argv),
        stdin=subprocess.DEVNULL,
        stdout=output,
        stderr=output,
        close_fds=True,
        **_own(),
    )


def _command(argv: Sequence[str]) -> list[str]:
    # -P: Python must not import a folder named `logger` in the working directory
    return [sys.executable, "-P", "-m", "dashboard.cli", *argv]


def _own() -> dict[str, Any]:
    """Options of a process in a group of its own that finds this program."""
    env = dict(os.environ)
    root = str(Path(dashboard.__file__).parent.parent)
    env["PYTHONPATH"] = os.pathsep.join(p for p in (root, env.get("PYTHONPATH")) if p)
    if sys.platform == "win32":
        return {"env": env, "creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"env": env, "start_new_session": True}


def end(process: subprocess.Popen[str], within_s: float) -> int:
    """Ask a process to end, kill it after within_s, and return its exit status."""
    if process.poll() is None:
        # without signals: `end_with_parent` sees its standard input end
        if sys.platform == "win32":
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


def end_with_parent(on_line: Callable[[], object] = lambda: None) -> None:
    """From now on, end this process as SIGTERM does once its standard input ends: the parent is
    gone.

    on_line: called whenever the parent has written something.
    """

    def watch() -> None:
        """Read standard input to its end, then raise SIGTERM."""
        try:
            while os.read(0, 1024):
                on_line()
        except OSError:
            pass
        if sys.platform == "win32":
            signal.raise_signal(signal.SIGTERM)
        else:  # sent to the process, so that it wakes a main thread that waits
            os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch, name="parent", daemon=True).start()


@contextlib.contextmanager
def sigterm_as_ctrl_c() -> Iterator[None]:
    """Let SIGTERM raise KeyboardInterrupt in the main thread, as Ctrl-C does."""

    def stop(number: int, frame: object) -> None:
        """Handle the signal."""
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
