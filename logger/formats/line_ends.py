"""Rewrites a stream of bytes so that each line ends with one LF, whatever the device ends it with.

Nothing depends on where the bytes are cut into chunks.  STX begins a line.  ETX ends the text of a
line: what follows it, such as a check character, is no part of any line.
"""

from __future__ import annotations

import re
from collections.abc import Callable

STX, ETX = b"\x02", b"\x03"
PAUSE_S = 0.03  # silence that ends a line with `ends = "pause"`; by definition, interface section 2
# the error of a measured silence, by which it may come out too short; chosen by us: below the 16 ms for which a
# USB bridge holds bytes back, so that 30 ms are told from those
PAUSE_STEP_S = 0.005
PAUSE = "pause"
# line ends after an ETX at which a device without STX is taken to have begun another line; chosen by us:
# a check character may be one itself, and one may follow it
MOST_TRAILERS = 2
_LINE_STARTS = re.compile(rb"\n\x02+")
_TO_LINE_END = re.compile(rb"\x03[^\n]*")


class LineEnds:
    """The line ends of one port.

    ends: None (LF, CR, CRLF and ETX), one of `line_formats.NAMED_ENDS`, or the text that ends a line
    """

    def __init__(self, ends: str | None) -> None:
        self._ends = {"lf": b"\n", "cr": b"\r", "crlf": b"\r\n", "etx": ETX}.get(
            ends or "", (ends or "").encode("utf-8")
        )
        rewrites: dict[str | None, Callable[[bytes], bytes]] = {
            None: self._any_end,
            "lf": self._lf_end,
            "cr": self._cr_end,
            "etx": _blanked,
            PAUSE: _blanked,
        }
        self._rewrite = rewrites.get(ends, self._own_end)
        # ETX itself ends a line, so that only the next STX begins another
        self._framed = ends in (None, "etx")
        self.start()

    def start(self) -> None:
        """Start anew on an opened port."""
        self._held = b""  # bytes that may begin a longer line end
        self._outside = False  # behind an ETX
        self._trailers = 0  # line ends that may still come before an STX
        self._at_start = True  # nothing of a line has come yet

    @property
    def between(self) -> bool:
        """Whether LF and CRLF end lines, and nothing that came before changes what comes next."""
        return self._rewrite == self._any_end and not self._held and not self._outside

    def at_line(self) -> None:
        """Whole lines were read past `normal`."""
        self._at_start = True

    def normal(self, chunk: bytes) -> bytes:
        """The chunk with LF behind each line, without STX, ETX and what stands outside lines."""
        data = self._rewrite(chunk)
        if self._outside or ETX in data:
            data = self._to_next_stx(data) if self._framed else self._to_line_end(data)
        if STX in data:
            data = _LINE_STARTS.sub(b"\n", data)
            if self._at_start:
                data = data.lstrip(STX)
        if data:
            self._at_start = data.endswith(b"\n")
        return data

    def pause(self) -> bytes:
        """What ends the line that a silence follows: LF, or b"" where no line has begun."""
        self._outside = False
        ended, self._at_start = not self._at_start, True
        return b"\n" if ended else b""

    def _any_end(self, chunk: bytes) -> bytes:
        chunk = self._without_lf_of_cr(chunk)
        if b"\r" not in chunk:
            return chunk
        # a fourth of the time of replacing CRLF and then CR
        lines = b"\n".join(chunk.splitlines())
        return lines + b"\n" if chunk.endswith((b"\n", b"\r")) else lines

    def _cr_end(self, chunk: bytes) -> bytes:
        chunk = self._without_lf_of_cr(chunk).replace(b"\r\n", b"\r")
        return chunk.replace(b"\n", b" ").replace(b"\r", b"\n")

    def _lf_end(self, chunk: bytes) -> bytes:
        data, self._held = self._held + chunk, b""
        if data.endswith(b"\r"):
            self._held, data = b"\r", data[:-1]
        return data.replace(b"\r\n", b"\n").replace(b"\r", b" ")

    def _without_lf_of_cr(self, chunk: bytes) -> bytes:
        """The chunk without an LF that belongs to a CR, the last byte of the chunk before, which
        has ended its line already."""
        if self._held and chunk:
            self._held = b""
            chunk = chunk.removeprefix(b"\n")
        if chunk.endswith(b"\r"):
            self._held = b"\r"
        return chunk

    def _own_end(self, chunk: bytes) -> bytes:
        data, ends = self._held + chunk, self._ends
        *lines, rest = data.split(ends)
        most = min(len(rest), len(ends) - 1)
        cut = next((n for n in range(most, 0, -1) if ends.startswith(rest[-n:])), 0)
        self._held = rest[len(rest) - cut :]
        return b"\n".join([*map(_blanked, lines), _blanked(rest[: len(rest) - cut])])

    def _to_next_stx(self, data: bytes) -> bytes:
        """The data with LF for each ETX and what follows it, up to the next STX.

        If no STX follows within MOST_TRAILERS line ends, that ETX was noise of a device that sends
        none, and lines begin again.
        """
        out, at = [], 0
        while True:
            if not self._outside:
                etx = data.find(ETX, at)
                if etx < 0:
                    out.append(data[at:])
                    return b"".join(out)
                out.append(data[at:etx] + b"\n")
                self._outside, self._trailers, at = True, MOST_TRAILERS, etx + 1
            stx, end = data.find(STX, at), data.find(b"\n", at)
            if stx >= 0 and not 0 <= end < stx:
                self._outside, at = False, stx + 1
            elif end < 0:
                return b"".join(out)
            else:
                self._trailers, at = self._trailers - 1, end + 1
                self._outside = self._trailers > 0

    def _to_line_end(self, data: bytes) -> bytes:
        if self._outside:
            data = ETX + data
        last = data.rfind(ETX)
        self._outside = last >= 0 and b"\n" not in data[last:]
        return _TO_LINE_END.sub(b"", data)


def _blanked(data: bytes) -> bytes:
    """LF and CR as blanks, where they end no line."""
    return data.replace(b"\n", b" ").replace(b"\r", b" ")
