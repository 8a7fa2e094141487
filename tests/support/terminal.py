"""A terminal with a person: a program on a pseudo-terminal that reads what is typed, and what it shows."""

from __future__ import annotations

import codecs
import io
import os
import pty
import select
import subprocess
import sys

from support.places import ROOT
from support.processes import ended_at_exit
from support.waiting import Limit, until


class TypedTerminal:
    """`haul` with these arguments on a terminal of its own."""

    def __init__(self, *argv: object, cwd: object = None) -> None:
        self.lead, follow = pty.openpty()
        self.text = ""  # all that was shown so far
        self._decoder = codecs.getincrementaldecoder("utf-8")(
            "replace"
        )  # a read may split a letter
        self._from = 0  # place in it behind what was waited for last
        self.process = ended_at_exit(
            subprocess.Popen(
                [sys.executable, "-m", "dashboard.cli", *map(str, argv)],
                stdin=follow, stdout=follow, stderr=follow, text=True, cwd=None if cwd is None else str(cwd),
                env={**os.environ, "PYTHONPATH": str(ROOT)},
            )
        )  # fmt: skip
        os.close(follow)

    def _take(self, within_s: float) -> bool | None:
        """Take what is shown next; None if nothing is shown in this time, False at the program's end."""
        if not select.select([self.lead], [], [], within_s)[0]:
            return None
        try:
            data = os.read(self.lead, 65536)
        except OSError:  # Linux: the program has ended
            return False
        self.text += self._decoder.decode(data).replace("\r\n", "\n")
        return bool(data)

    def wait_for(self, words: str, within_s: float = 30.0) -> str:
        """Wait until these words are shown behind what was waited for before; returns what came by then."""
        limit = Limit(within_s)
        while words not in self.text[self._from :]:
            if self._take(0.1) is False or limit.over():
                raise AssertionError(f"{words!r} is not shown ({limit}):\n{self.text}")
        at = self.text.index(words, self._from) + len(words)
        shown, self._from = self.text[self._from : at], at
        return shown

    def type(self, line: str) -> None:
        os.write(self.lead, line.encode() + b"\n")

    def end(self, within_s: float = 30.0) -> int:
        """Wait for the program's end; returns its exit status."""
        # read on: a terminal that nobody reads is soon full, and what writes on it would wait
        until(lambda: self._take(0.05) is False, within_s, "the end of what is shown")
        until(lambda: self.process.poll() is not None, within_s, "the program's end")
        os.close(self.lead)
        return int(self.process.returncode)


class TerminalText(io.StringIO):
    """Text written on a terminal."""

    def isatty(self) -> bool:
        return True
