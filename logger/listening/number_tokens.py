"""Finds the numbers of a line of text: each with what stands before it and the word behind it.

Written apart from the decoder of format "text", whose readings `proof` compares with what is found
here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from logger.device_units import is_other_unit, unit_from_word

# single capitals that may as well be a flag: G gross, T tare, M in motion; common practice, no source
_FLAGS = frozenset({"G", "T", "M"})
MOST_BEFORE = 80  # characters before a number that may name it; memory only
_WORD = re.compile(r"[ \t]*([A-Za-z%]+(?:/[A-Za-z]+)?)")
_JOINED = re.compile(r"[0-9][.:/'_+,-]\Z|[0-9] ?-\Z")
_JOINS = re.compile(r"[.:/'_,-][0-9]")
# what names a number: a word with a colon or an equals sign, or one of the words for gross and net
_LABEL = re.compile(r"([A-Za-z][A-Za-z0-9_ ./()\[\]-]{0,40}?[ \t]*[:=])[ \t]*\Z")
_MODE = re.compile(
    r"(?<![A-Za-z])((?:GROSS|NET|TARE|GS|NT|TR|BRUTTO|NETTO)[,:]?)[ \t]*\Z", re.IGNORECASE
)
_PLAIN = re.compile(r"(?<![A-Za-z0-9_])([A-Za-z][A-Za-z_]{0,20})[ \t]*\Z")
_IN_BRACKETS = re.compile(r"[\[(]([A-Za-z]{1,4})[\])][ \t]*[:=]?[ \t]*\Z")


@dataclass(frozen=True)
class NumberToken:
    """One number of a line."""

    text: str  # sign and number with a decimal point, as readings.csv has it
    place: int  # which number of the line, from 1
    label: str  # what names it, for `after`; "" if nothing does
    word: str  # plain word before it; "" if there is none
    unit: str | None  # unit that stands behind it, or in brackets before it; None: none
    other: str  # word behind it that no channel can have as unit, or that may be a flag; ""
    last_before: bool  # whether the word behind it stands right before another number
    joined: bool  # whether a mark joins it to another number, as in a date
    start: int  # where its sign or first digit stands in the line, from 0
    stop: int  # where its last digit or sign ends

    @property
    def value(self) -> float:
        """The number, in its unit."""
        return float(self.text)


def _number_pattern(comma: str | None, thousands: str | None) -> re.Pattern[str]:
    """Matches sign, number and sign behind; comma: the decimal mark; thousands: the other mark."""
    mark = re.escape(comma or ".")
    whole = r"\d+"
    if thousands is not None:
        whole = rf"(?:\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+(?!\d)|\d+)"
    return re.compile(
        rf"(?:([-+])[ \t]*)?({whole}(?:{mark}\d+)?|{whole}\.(?!\d)|{mark}\d+)(?:[eE]([-+]?\d{{1,2}}))?"
        r"([-+](?![0-9.,]))?"
        if comma != ","
        else rf"(?:([-+])[ \t]*)?({whole}(?:,\d+)?|,\d+)(?:[eE]([-+]?\d{{1,2}}))?([-+](?![0-9.,]))?"
    )


def numbers_of(line: bytes, decimal: str | None, thousands: str | None) -> list[NumberToken]:
    """The numbers of a line; decimal, thousands: the marks as a channel states them."""
    text, tokens = line.decode("latin-1"), []
    place, behind_last = 0, 0
    for match in _number_pattern(decimal, thousands).finditer(text):
        sign, digits, exponent, behind = match.groups()
        before = text[max(behind_last, match.start() - MOST_BEFORE) : match.start()]
        last = text[max(0, match.start() - 1) : match.start()]
        word = _unit_word(text, match.end())
        plain = _plain_number(digits, decimal, thousands)
        glued = word is not None and word.start(1) == match.end()
        # digits of a name, such as CH1
        named = sign is None and re.fullmatch(r"[A-Za-z_]", last) is not None
        if named and "." not in plain and not (glued and _unit(word) is not None):
            continue
        place += 1
        joined = bool(
            _JOINED.search(text, max(0, match.start() - 3), match.start())
            or _JOINS.match(text, match.end(2))
        )
        around = last + text[match.end(2) : match.end(2) + 1]
        if decimal is not None and "," in around and not set(around) & set(".:/'_"):
            joined = False  # what is stated says that a comma separates
        joined = joined or (sign is not None and last.isdigit())
        odd = glued and word is not None and not _means_unit(word[1])
        tokens.append(
            NumberToken(
                text=(sign or behind or "") + plain + (f"e{exponent}" if exponent else ""),
                place=place,
                label=_label(before),
                word=_group(_PLAIN, before),
                unit=_unit(word) or _bracketed(before),
                other=_other(word),
                joined=joined or odd or (sign is not None and behind is not None),
                start=match.start(),
                stop=match.end(),
                last_before=bool(word and re.match(r"[ \t]+[-+]?[ \t]*[0-9.]", text[word.end() :])),
            )
        )
        behind_last = word.end() if word is not None and _means_unit(word[1]) else match.end()
    named_first = bool(tokens) and bool(tokens[0].word or tokens[0].label)
    if named_first and tokens[-1].unit is None and not tokens[-1].other:
        # the words stand before their numbers
        tokens = [replace(one, unit=None) if one.last_before else one for one in tokens]
    return tokens


def _unit_word(text: str, start: int) -> re.Match[str] | None:
    """The word behind a number that ends at `start`, unless it names the next number."""
    word = _WORD.match(text, start)
    return None if word is not None and re.match(r"[ \t]*[:=]", text[word.end() :]) else word


def _plain_number(digits: str, decimal: str | None, thousands: str | None) -> str:
    if thousands is not None:
        digits = digits.replace(thousands, "")
    return digits.replace(",", ".") if decimal == "," else digits


def _means_unit(word: str) -> bool:
    return "/" in word or unit_from_word(word) is not None or is_other_unit(word)


def _unit(word: re.Match[str] | None) -> str | None:
    """The unit that stands behind a number; None if none does, or if the word may be a flag."""
    return None if word is None or word[1] in _FLAGS else unit_from_word(word[1])


def _other(word: re.Match[str] | None) -> str:
    if word is None:
        return ""
    rate = "/" in word[1] and unit_from_word(word[1].partition("/")[0]) is not None
    return word[1] if word[1] in _FLAGS or rate or is_other_unit(word[1]) else ""


def _bracketed(before: str) -> str | None:
    word = _group(_IN_BRACKETS, before)
    return unit_from_word(word) if word and word not in _FLAGS else None


def _label(before: str) -> str:
    """What names the number behind it, for `after`."""
    return _group(_LABEL, before) or _group(_MODE, before)


def _group(pattern: re.Pattern[str], text: str) -> str:
    match = pattern.search(text)
    return match[1].strip() if match else ""
