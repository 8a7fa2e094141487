"""Standard output that takes nothing: a full pipe that nobody reads, a terminal stopped with Ctrl-S."""

from __future__ import annotations

import codecs
import contextlib
import os
import pty
import termios


class Blocked:
    """Standard output and standard error of a process, which take nothing more."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        # a read may split a letter
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        if kind == "pipe":
            self.read, self.write = os.pipe()
            os.set_blocking(self.write, False)
            with contextlib.suppress(BlockingIOError):
                while True:  # as full as a pipe gets that nobody reads
                    os.write(self.write, b"x" * 1000)
            os.set_blocking(self.write, True)
        else:
            self.read, self.write = pty.openpty()
            termios.tcflow(self.write, termios.TCOOFF)  # as Ctrl-S does

    def text(self) -> str:
        """Take what was written, after all."""
        if self.kind == "terminal":
            termios.tcflow(self.write, termios.TCOON)
        os.set_blocking(self.read, False)
        data = b""
        with contextlib.suppress(OSError):
            while piece := os.read(self.read, 65536):
                data += piece
        return self._decoder.decode(data.lstrip(b"x") if self.kind == "pipe" else data)

    def close(self) -> None:
        for fd in (self.read, self.write):
            os.close(fd)
