"""Decodes any other line that holds a number: behind a text, by its place among the numbers, or in
certain characters.

Digits directly behind a letter belong to a name such as `CH1` and are no number, unless they hold a
decimal mark or a unit is glued to them.  A torn number looks like any other, so the first line
after connecting is dropped if it may be torn.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.channels.channel import Channel
from logger.device_units import is_other_unit, same_unit, unit_from_word
from logger.formats.base import MOST_LINE, OTHER, SAMPLE, Decoder, number_text
from logger.formats.number_marks import ANOTHER_UNIT, COMMA, UNCLEAR_COMMA, NumberMarks

OVERLOAD = "overload: beyond the device's capacity"
NO_NUMBER = "no number there"
NOT_A_NUMBER = "not a number"
TWICE = "`after` stands twice in it"
_UNIT_WORD = re.compile(rb"[ \t]*([A-Za-z%]+(?:/[A-Za-z]+)?)")
_LETTER_LAST = re.compile(rb"[A-Za-z_]\Z")
_JOINTS = (b",", b".", b":", b"/", b"'", b"_", b"+", b"-")


@dataclass(frozen=True)
class _Found:
    """One number of a line."""

    start: int  # place of its sign or first digit in the line
    end: int  # place behind it, and behind a sign that follows it
    text: bytes  # sign and number, as readings.csv has it
    cause: str  # why it is no reading; "" if it is one
    plain: bool  # whether a sign, if any, stands before it


class TextDecoder(Decoder):
    """Decodes the lines of one port; see `Decoder`."""

    detects_torn_lines = False

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        marks = self._marks = NumberMarks(channels[0].decimal, channels[0].thousands)
        self._token = re.compile(rb"(?:([-+])[ \t]*+)?(%s)([-+](?![0-9.,]))?" % marks.number)
        # a mark that joins two numbers, so that neither is read alone: dates, times, fractions
        joints = b".:/'_+-" + (b"" if marks.settle_comma and not marks.comma else b",")
        if channels[0].thousands == " ":
            joints += b" "
        joint = b"[%s]" % re.escape(joints)
        self._joined_before = re.compile(rb"[0-9]%s\Z|[-+][ \t]*\Z" % joint)
        self._joined_behind = re.compile(rb"%s[0-9]" % joint)
        self._overload = _any_word(channels[0].overload)
        self._after = {c.name: _behind(c.after, c.number or 1) for c in channels if c.after}
        looked_for = [text for c in channels for text in (c.after or "", *c.overload)]
        self._time_after = {c.name: _behind(c.time_after, 1) for c in channels if c.time_after}
        self._learns_shape = channels[0].thousands != " " and not any(
            c.first_character or c.time_after for c in channels
        )
        if any(_within_a_number(text, marks.comma) for text in looked_for):
            self._learns_shape = False
        self._shape: re.Pattern[bytes] | None = None
        self._shape_numbers: dict[str, int] = {}

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; a channel that `values` lacks is left out, or 0 if others are counted
        by their place."""
        marks = NumberMarks(channels[0].decimal, channels[0].thousands)
        line = ""
        for c in sorted(channels, key=lambda one: one.first_character or 0):
            if c.first_character and c.last_character and c.name in values:
                width = c.last_character - c.first_character + 1
                text = marks.written(_fitting(values[c.name], width))
                line = line.ljust(c.first_character - 1) + text.rjust(width)
        counted = [c for c in channels if not c.after and not c.first_character]
        line += "; " if line else ""
        if counted:
            cells = ["0"] * max(c.number or 1 for c in counted)
            for c in counted:
                text = number_text(values.get(c.name, 0.0))
                cells[(c.number or 1) - 1] = f"{marks.written(text)} {_word(c)}".rstrip()
            line += "; ".join(cells) + "; "
        for c in channels:
            if c.after and c.name in values:
                text = marks.written(number_text(values[c.name]))
                line += f"; {c.after} " + "0; " * ((c.number or 1) - 1) + f"{text} {_word(c)}"
        return line.encode("ascii") + b"\r\n"

    def _block(self, block: bytes) -> bool:
        """Take a block of lines that differ from the last understood line in their numbers only."""
        if self._shape is None or max(map(len, block.split(b"\n"))) > MOST_LINE:
            return False
        matches = self._shape.findall(block)
        if len(matches) != block.count(b"\n"):
            return False
        columns = list(zip(*matches, strict=True))
        for name, place in self._shape_numbers.items():
            numbers: Sequence[bytes] = columns[2 * place + 1]
            if self._marks.rewrites:
                numbers = list(map(self._marks.plain, numbers))
            taken = map(b"".join, zip(columns[2 * place], numbers, strict=True))
            self._out.readings.setdefault(name, []).extend(taken)
        return True

    def _line(self, line: bytes) -> None:
        if not line.strip():
            return
        if self._overload is not None and self._overload.search(line):
            self._took = True
            self._drop(OVERLOAD, line)
            for name in self.names:
                before = len(self._out.readings.get(name, ()))
                self._out.overloads.setdefault(name, []).append(before)
            return
        if not self._marks.settle_comma and UNCLEAR_COMMA.search(line):
            self.unclear_line = self.unclear_line or line[:SAMPLE]
            self._drop(COMMA, line)
            return
        numbers = self._numbers(line, 0)
        chosen: dict[str, _Found] = {}
        used = False
        for channel in self.channels:
            number = self._chosen(channel, line, numbers)
            if number is None:
                continue
            used = True
            cause = number.cause or _unit_fault(line, number.end, channel)
            if cause:
                self._drop(cause, line, channel.name)
            else:
                chosen[channel.name] = number
                self._take(channel.name, number.text, self._time(channel, line))
        if not used:
            self._drop(OTHER, line)
        elif len(chosen) == len(self.channels) and self._learns_shape:
            self._learn_shape(line, numbers, chosen)

    def _chosen(self, channel: Channel, line: bytes, numbers: list[_Found]) -> _Found | None:
        """The channel's number; None if the line is for another channel."""
        if channel.first_character is not None and channel.last_character is not None:
            return self._within(line, channel.first_character - 1, channel.last_character)
        behind = self._after.get(channel.name)
        which = (channel.number or 1) - 1
        if behind is None:
            return numbers[which] if which < len(numbers) else _fault(NO_NUMBER)
        places = [match.end() for match in behind.finditer(line)]
        if not places:
            return None
        if len(places) > 1:
            return _fault(TWICE)
        rest = self._numbers(line, places[0])
        if which >= len(rest) or (which == 0 and line[places[0] : rest[0].start].strip()):
            return _fault(NO_NUMBER)
        return rest[which]

    def _time(self, channel: Channel, line: bytes) -> bytes:
        """The device's own time of a line; b"" if there is none."""
        behind = self._time_after.get(channel.name)
        match = behind.search(line) if behind is not None else None
        numbers = self._numbers(line, match.end()) if match is not None else []
        return numbers[0].text if numbers and not numbers[0].cause else b""

    def _numbers(self, line: bytes, start: int) -> list[_Found]:
        """The numbers of the line from `start` on, without the digits of names."""
        numbers = []
        for match in self._token.finditer(line, start):
            before = line[start : match.start()]
            if match[1] is None and _LETTER_LAST.search(before):
                plain = self._marks.plain(match[2])
                word = _UNIT_WORD.match(line, match.end())
                if b"." not in plain and (
                    word is None
                    or word.start(1) > match.end()
                    or unit_from_word(word[1].decode("ascii")) is None
                ):
                    continue
            numbers.append(self._one(match, before, line))
        return numbers

    def _one(self, match: re.Match[bytes], before: bytes, line: bytes) -> _Found:
        sign, digits, behind = match.groups()
        two_signs = sign is not None and behind is not None
        joined = self._joined_before.search(before) or self._joined_behind.match(line, match.end(2))
        if sign is not None and before[-1:].isdigit():
            joined = match
        return _Found(
            start=match.start(),
            end=match.end(),
            text=(sign or behind or b"") + self._marks.plain(digits),
            cause=NOT_A_NUMBER if two_signs or joined else "",
            plain=behind is None,
        )

    def _within(self, line: bytes, first: int, last: int) -> _Found:
        """The number in the characters first..last, with blanks or a unit beside it."""
        piece = line[:last]
        match = self._token.search(piece, first)
        if match is None or piece[first : match.start()].strip():
            return _fault(NO_NUMBER)
        word = _UNIT_WORD.match(piece, match.end())
        if piece[match.end() if word is None else word.end() :].strip():
            return _fault(NOT_A_NUMBER)
        sign, digits, behind = match.groups()
        return _Found(
            start=match.start(),
            end=match.end(),
            text=(sign or behind or b"") + self._marks.plain(digits),
            cause=NOT_A_NUMBER if sign is not None and behind is not None else "",
            plain=False,
        )

    def _learn_shape(
        self, line: bytes, numbers: list[_Found], chosen: Mapping[str, _Found]
    ) -> None:
        """Remember what stands around the numbers of an understood line."""
        self._shape = None
        places = {number.start: place for place, number in enumerate(numbers)}
        if not all(f.plain and not f.cause for f in numbers) or not all(
            f.start in places for f in chosen.values()
        ):
            return
        pattern, end = rb"^", 0
        for number in numbers:
            if line[number.end : number.end + 1] in _JOINTS:
                return
            between = line[end : number.start]
            literal = between.rstrip(b" \t")
            if not _may_precede(between, literal, end == 0):
                return
            blanks = rb"[ \t]++" if len(between) > len(literal) else b""
            pattern += re.escape(literal) + blanks
            pattern += rb"(?:([-+])[ \t]*+)?(%s)" % self._marks.number
            end = number.end
        pattern += re.escape(line[end:]) + rb"$"
        self._shape = re.compile(pattern, re.MULTILINE)
        self._shape_numbers = {name: places[f.start] for name, f in chosen.items()}


def _fault(cause: str) -> _Found:
    return _Found(start=0, end=0, text=b"", cause=cause, plain=False)


def _may_precede(between: bytes, literal: bytes, first: bool) -> bool:
    """Whether any number may follow `between`, what stands before a number, and be number as the one
    in its place was; literal: the same without the blanks at its end; first: at the line's start."""
    if between != literal:
        # with a blank between, only a sign could be taken for the number's
        return literal[-1:] not in (b"+", b"-") and (bool(literal) or first or bool(between))
    if not literal:
        return first
    last = literal[-1:]
    if last in (b",", b":", b"/", b"'"):  # these join digits only
        return first if len(literal) == 1 else not literal[-2:-1].isdigit()
    return not (last.isalnum() or last in b"._+-")


def _unit_fault(line: bytes, end: int, channel: Channel) -> str:
    """Why the number that ends at `end` is not in the channel's unit; "" if it is, or if no unit
    stands there."""
    match = _UNIT_WORD.match(line, end)
    if match is None:
        return ""
    word, at = match[1].decode("ascii"), match.start(1)
    if unit_from_word(word) is not None or is_other_unit(word):
        return "" if same_unit(word, channel.unit) else ANOTHER_UNIT
    # what is glued to it makes it no number, unless it stands behind the stated characters
    return NOT_A_NUMBER if at == end and at != channel.last_character else ""


def _within_a_number(text: str, comma: bool) -> bool:
    """Whether a text that a channel looks for may stand within a number; comma: whether commas do."""
    if "," in text and comma:
        return True
    return re.search(r"[0-9.']", text) is not None or text.lower() in ("e", "+", "-", "_")


def _behind(after: str, number: int) -> re.Pattern[bytes]:
    """Finds `after`, with any blanks where it has some; if the first number is wanted, only where a
    number or its sign follows.  It is no part of a longer word or number."""
    words = [re.escape(word.encode("ascii")) for word in after.split()]
    pattern = rb"[ \t]+".join(words)
    if after[0].isalnum():
        pattern = (rb"(?<![A-Za-z])" if after[0].isalpha() else rb"(?<![0-9.])") + pattern
    if after[-1].isdigit():
        pattern += rb"(?![0-9.])"
    if number == 1:
        pattern += rb"(?=[ \t]*[-+.,0-9])"
    return re.compile(pattern)


def _any_word(words: Sequence[str]) -> re.Pattern[bytes] | None:
    """Finds each of the words as a whole word, in any case of letters; None without words."""
    if not words:
        return None
    patterns = []
    for word in words:
        text = re.escape(word.encode("ascii"))
        before = rb"(?<![A-Za-z0-9.])" if word[0].isalnum() else b""
        behind = rb"(?![A-Za-z0-9]|\.[0-9])" if word[-1].isalnum() else b""
        patterns.append(before + text + behind)
    return re.compile(b"|".join(patterns), re.IGNORECASE)


def _word(channel: Channel) -> str:
    """The channel's unit as a device writes it; nothing for a count."""
    return "" if channel.unit == "count" else channel.unit


def _fitting(value: float, width: int) -> str:
    """`value` in at most `width` characters, with as many decimals as fit."""
    for decimals in range(6, -1, -1):
        text = number_text(round(value, decimals))
        if len(text) <= width:
            return text
    return number_text(round(value))
