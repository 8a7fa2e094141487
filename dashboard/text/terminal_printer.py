"""Prints from a thread of its own, so that a terminal that takes no output holds nothing up.

A pipe that nobody reads and a terminal that is stopped with Ctrl-S block whoever writes to them. So
lines wait here, and only the printing thread is blocked. Nothing is left in a buffer that Python
would flush at its end, so the process ends too.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
import threading
import time
from collections import deque
from typing import Any

MOST_LINES = 500  # memory only: lines that wait
BLOCKED_S = 0.5  # longest wait for a terminal at the end; chosen by us: it is not felt


class TerminalPrinter:
    """Prints lines on standard output or standard error, and one line that is written over.

    No method waits for the terminal. While it takes nothing, the newest status replaces the one
    that waits; lines are kept, and beyond MOST_LINES the oldest go and are counted.
    """

    def __init__(self) -> None:
        self._out = _Stream(sys.stdout)
        self._err = _Stream(sys.stderr)
        self._lines: deque[tuple[_Stream, str]] = deque()
        self._dropped = 0
        self._status: str | None = None
        self._bell = False
        self._busy = False
        self._ended = False
        self._width = 0
        self._wake = threading.Condition()
        threading.Thread(target=self._run, name="printer", daemon=True).start()

    def line(self, text: str, out: bool = False) -> None:
        """Print a line that stays; out: on standard output, else on standard error."""
        with self._wake:
            self._lines.append((self._out if out else self._err, text))
            if len(self._lines) > MOST_LINES:
                self._lines.popleft()
                self._dropped += 1
            self._wake.notify_all()

    def status(self, text: str) -> None:
        """Show a line on standard error that the next one is written over."""
        with self._wake:
            self._status = text
            self._wake.notify_all()

    def bell(self) -> None:
        """Ring the bell of the terminal, once if it has not rung yet."""
        with self._wake:
            self._bell = True
            self._wake.notify_all()

    def flush(self, within_s: float = BLOCKED_S) -> bool:
        """Wait until all is printed, at most within_s seconds; returns whether it is."""
        until = time.monotonic() + within_s
        with self._wake:
            while self._waiting() or self._busy:
                left = until - time.monotonic()
                if left <= 0:
                    return False
                self._wake.wait(left)
        return True

    def end(self, within_s: float = BLOCKED_S) -> bool:
        """As `flush`, and end the thread; nothing more is printed."""
        printed = self.flush(within_s)
        with self._wake:
            self._ended = True
            self._wake.notify_all()
        return printed

    def _waiting(self) -> bool:
        return bool(self._lines) or self._status is not None or self._bell or self._dropped > 0

    def _run(self) -> None:
        """The thread: print what waits, in order; a status last."""
        while True:
            with self._wake:
                self._busy = False
                self._wake.notify_all()
                while not self._waiting() and not self._ended:
                    self._wake.wait()
                if self._ended:
                    return
                self._busy = True
                stream, text = self._next()
            stream.write(text)

    def _next(self) -> tuple[_Stream, str]:
        """Take the next piece: stream and text. The lock is held."""
        if self._bell:
            self._bell = False
            return self._err, "\a"
        if self._dropped:
            count, self._dropped = self._dropped, 0
            return self._err, self._over(f"{count} earlier lines were not printed") + "\n"
        if self._lines:
            stream, text = self._lines.popleft()
            return stream, (self._over(text) if stream.same_terminal(self._err) else text) + "\n"
        text, self._status = self._status or "", None
        shown, self._width = "\r" + text.ljust(self._width), len(text)
        return self._err, shown

    def _over(self, text: str) -> str:
        """The text, written over the status that is shown."""
        if not self._width:
            return text
        width, self._width = self._width, 0
        return "\r" + text.ljust(width)


class _Stream:
    """Standard output or standard error, written without Python's buffers where the system allows."""

    def __init__(self, stream: Any) -> None:
        self._stream: Any = stream
        self._fd = -1
        if stream is not None and sys.platform != "win32":
            with contextlib.suppress(OSError, ValueError, AttributeError):
                self._fd = stream.fileno()

    def same_terminal(self, other: _Stream) -> bool:
        """Whether a line on this stream appears where `other` shows its status."""
        if self is other:
            return True
        with contextlib.suppress(OSError):
            mine, its = os.fstat(self._fd), os.fstat(other._fd)
            return (mine.st_dev, mine.st_ino) == (its.st_dev, its.st_ino)
        return False

    def write(self, text: str) -> None:
        """Write the text; waits as long as the terminal takes none. Once it is gone, nothing more."""
        if self._stream is None:
            return
        try:
            if self._fd >= 0:
                encoding = getattr(self._stream, "encoding", None) or "utf-8"
                _write_all(self._fd, text.encode(encoding, "replace"))
            else:
                self._stream.write(text)
                self._stream.flush()
        except (OSError, ValueError):
            self._stream = None


def _write_all(fd: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        try:
            view = view[os.write(fd, view) :]
        except BlockingIOError:  # whoever shares the terminal made it non-blocking
            select.select([], [fd], [])
