"""Finds what ends the lines of a capture, and splits it into lines."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

from logger.formats.base import MOST_LINE
from logger.formats.line_ends import ETX, PAUSE, PAUSE_S, PAUSE_STEP_S, STX, LineEnds
from logger.listening.capture import Capture, Piece

# what may end a line where nothing usual does, in the order in which it is tried; chosen by us
_OWN_ENDS = (";", "#", "|", "!", "/", "*", "=", "$", "&", "@", ">")
LEAST_LINES = 3  # lines from which an unusual end is believed; chosen by us: two may be chance
# lengths of lines with one own end differ by less than this factor; chosen by us
MOST_LENGTHS = 3.0
_RAW_END = re.compile(rb"\r\n|\r|\n|\x03[^\r\n\x02]*(?:\r\n?|\n)?")
_RAW_ETX = re.compile(rb"\x03[^\x02]*")
_USUAL = re.compile(rb"[\r\n\x03]")
_MARKS = {"lf": b"\n", "cr": b"\r", "crlf": b"\n"}  # last byte of a line, by the name of its end


def line_end(capture: Capture) -> str | None:
    """What ends a line: "lf", "cr", "crlf", "etx", "pause" or the text itself; None if nothing does."""
    stream = capture.stream
    if _USUAL.search(stream):
        if stream.count(ETX) > 1 and stream.count(STX) > 1:
            return "etx"
        if ETX in stream and b"\r" not in stream and b"\n" not in stream:
            return "etx"
        both = stream.count(b"\r\n")
        if both * 2 > max(stream.count(b"\r"), stream.count(b"\n")):
            return "crlf"
        return "lf" if stream.count(b"\n") > stream.count(b"\r") else "cr"
    if not re.search(rb"[0-9]", stream):
        return None
    groups = bursts(capture.pieces)
    own = _own_end(stream, groups)
    if own is not None:
        return own
    least = 1 if capture.ask is not None else LEAST_LINES
    return PAUSE if len(groups) >= least and all(len(group) < 200 for group in groups) else None


def stated_end(name: str | None) -> str | None:
    """The value of `ends` that a channel must state for this end; None where the usual ends do."""
    return None if name in (None, "lf", "cr", "crlf", "etx") else name


def lines_of(capture: Capture, end: str | None) -> list[bytes]:
    """The complete lines of text, without the bytes that end or frame them; blank ones left out.

    end: as `line_end` gives it.
    """
    ends, text = LineEnds(stated_end(end)), b""
    # before the first STX stands the rest of a line, such as its check byte, which may be a digit
    torn = capture.torn and end == "etx" and STX in capture.stream
    for piece, after in with_silences(capture.pieces):
        data = piece.data
        if torn:
            data = data[data.index(STX) :] if STX in data else b""
            torn = not data
        text += ends.normal(data)
        if end == PAUSE and after:
            text += ends.pause()
    *lines, _ = text.split(b"\n")
    return [line for line in lines if line.strip() and len(line) <= MOST_LINE]


def raw_lines(capture: Capture, end: str | None) -> list[bytes]:
    """The lines as they came, each with the bytes that end it; end: as `line_end` gives it."""
    if end == PAUSE:
        return bursts(capture.pieces)
    if stated_end(end) is None:
        stream = capture.stream
        cuts = [m.end() for m in (_RAW_ETX if end == "etx" else _RAW_END).finditer(stream)]
        lines = [stream[i:j] for i, j in zip([0, *cuts], cuts, strict=False)]
        return [line for line in lines if line.strip()]
    mark = (end or "").encode("ascii")
    return [line + mark for line in capture.stream.split(mark)[:-1]]


def since(capture: Capture, moment_s: float) -> Capture:
    """The lines of a capture that begin after a moment; moment_s: `clock.now`, s.

    A line of which the beginning came before is left out: what is left of its number would be another number.
    """
    later = tuple(piece for piece in capture.pieces if piece.from_s >= moment_s)
    before = capture.pieces[: len(capture.pieces) - len(later)]
    if not before or not later:
        return replace(capture, pieces=later)
    end = line_end(capture)
    if end == PAUSE:
        while later and later[0].from_s - before[-1].to_s < PAUSE_S - PAUSE_STEP_S:
            before, later = (*before, later[0]), later[1:]
        return replace(capture, pieces=later, torn=False)
    if end is None or end == "etx":  # `lines_of` leaves out what comes before the first STX
        return replace(capture, pieces=later, torn=True)
    mark = _MARKS.get(end, end.encode("ascii"))
    torn = not before[-1].data.endswith(mark)
    while torn and later:
        _, ended, rest = later[0].data.partition(mark)
        later = (replace(later[0], data=rest), *later[1:]) if rest else later[1:]
        torn = not ended
    return replace(capture, pieces=later, torn=False)


def bursts(pieces: tuple[Piece, ...]) -> list[bytes]:
    """The bytes between silences that end a line."""
    made: list[bytes] = []
    begun = b""
    for piece, after in with_silences(pieces):
        begun += piece.data
        if after:
            made.append(begun)
            begun = b""
    return made


def with_silences(pieces: tuple[Piece, ...]) -> list[tuple[Piece, bool]]:
    """Each piece, and whether a silence that ends a line, or another question, follows it.

    At the end of the capture nothing follows that could be known, so the last one counts as cut off
    unless its device was asked.
    """
    follows = [
        later.from_s - earlier.to_s >= PAUSE_S - PAUSE_STEP_S or later.question != earlier.question
        for earlier, later in pairwise(pieces)
    ]
    return list(
        zip(pieces, [*follows, bool(pieces and pieces[-1].question)][: len(pieces)], strict=True)
    )


def _own_end(stream: bytes, groups: list[bytes]) -> str | None:
    """A mark that ends each line of the stream; None if there is none."""
    for mark in _OWN_ENDS:
        if stream.count(mark.encode()) < LEAST_LINES:
            continue
        _, *lines, _ = stream.split(mark.encode())
        if not lines or not all(re.search(rb"[0-9]", line) for line in lines):
            continue
        lengths = [len(line) for line in lines]
        # a mark within a line that a silence ends stands there more often, or does not end it
        apart = 2 * len(groups) > len(lines)  # of a steady stream few silences are long
        within = apart and not all(g.endswith(mark.encode()) for g in groups[1:-1])
        if not within and max(lengths) <= MOST_LENGTHS * min(lengths):
            return mark
    return None
