"""A terminal with a person: a program on a pseudo-terminal that reads what is typed, and what it shows."""

from __future__ import annotations

import codecs
import io
import os
import pty
import subprocess
import sys
import threading

from support.places import ROOT
from support.processes import ended_at_exit, exit_status
from support.waiting import joined, until


class TypedTerminal:
    """`haul` with these arguments on a terminal of its own.

    text: all that was shown so far; it is read at once, because a full terminal stops who writes on it
    """

    def __init__(self, *argv: object, cwd: object = None) -> None:
        self._lead, follow = pty.openpty()
        self.text = ""
        self._from = 0  # place in it behind what was waited for last
        self.process = ended_at_exit(
            subprocess.Popen(
                [sys.executable, "-m", "dashboard.cli", *map(str, argv)],
                stdin=follow, stdout=follow, stderr=follow, text=True, cwd=None if cwd is None else str(cwd),
                env={**os.environ, "PYTHONPATH": str(ROOT)},
            )
        )  # fmt: skip
        os.close(follow)
        self._reader = threading.Thread(target=self._read, daemon=True, name="terminal")
        self._reader.start()

    def _read(self) -> None:
        decoder = codecs.getincrementaldecoder("utf-8")("replace")  # a read may split a letter
        while True:
            try:
                data = os.read(self._lead, 65536)
            except OSError:  # Linux: the program has ended
                return
            if not data:
                return
            self.text = (self.text + decoder.decode(data)).replace("\r\n", "\n")

    def wait_for(self, words: str, within_s: float = 30.0) -> str:
        """Wait until these words are shown behind what was waited for before; returns what came by then."""
        try:
            until(lambda: words in self.text[self._from :], within_s, f"{words!r} on the terminal")
        except AssertionError as error:
            raise AssertionError(f"{error}:\n{self.text}") from None
        at = self.text.index(words, self._from) + len(words)
        shown, self._from = self.text[self._from : at], at
        return shown

    def type(self, line: str) -> None:
        os.write(self._lead, line.encode() + b"\n")

    def end(self, within_s: float = 30.0) -> int:
        """Wait for the program's end; returns its exit status."""
        status = exit_status(self.process, within_s)
        joined(self._reader, within_s)
        os.close(self._lead)
        return status


class TerminalText(io.StringIO):
    """Text written on a terminal."""

    def isatty(self) -> bool:
        return True
