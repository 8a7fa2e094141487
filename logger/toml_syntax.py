"""Says what is wrong in a text that is not valid TOML, where, and what to write instead.

The parser knows only what it expected.  What people write instead is known: a decimal comma, quotes of a
word processor, a comma left out, the backslashes of a Windows path.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

# characters of a line that a cure repeats; chosen by us: a fault is one line for people
LONGEST_LINE = 80
CURLY = str.maketrans(dict.fromkeys("“”„‟«»″", '"') | dict.fromkeys("‘’‚‛′", "'"))
_CLOSED = re.compile(r""""(?:[^"\\]|\\.)*"|'[^']*'""")
_CODE = re.compile(r"""(?:"(?:[^"\\]|\\.)*+"|'[^']*+'|[^#"'])*+""")
_AT = re.compile(r"\(at line (\d+), column (\d+)\)$")
_TABLE = re.compile(r"\s*\[\[?[\w.\- \"']+\]\]?\s*(?:#.*)?")


@dataclass(frozen=True)
class Cure:
    """What is wrong in a TOML text."""

    line: int  # where, from 1
    what: str  # what is wrong there
    write: str  # what to write instead


@dataclass(frozen=True)
class _Stop:
    """Where the parser stopped, and why."""

    lines: list[str]  # of the text, without their ends
    said: str  # the parser's message, without the place
    line: int  # from 1
    column: int  # from 0

    @property
    def here(self) -> str:
        """The line on which it stopped."""
        return self.lines[self.line - 1]

    @property
    def rest(self) -> str:
        """What stands from there to the end of the line."""
        return self.here[self.column :]


def explain(text: str, said: str) -> Cure | None:
    """What is likely wrong in a text that the parser of TOML refused; None where that is not clear.

    said: the parser's message, which ends with the place.
    """
    stop = _stop(text, said)
    looks: tuple[Callable[[_Stop], Cure | None], ...] = (
        _curly_quote, _backslash, _decimal_comma, _comma_too_many, _never_closed, _table_over_lines,
        _comma_missing, _bare_word, _number, _quote_missing,
    )  # fmt: skip
    return next((cure for look in looks if (cure := look(stop)) is not None), None)


def _stop(text: str, said: str) -> _Stop:
    lines = text.split("\n")
    at = _AT.search(said)
    line, column = (int(at[1]), int(at[2]) - 1) if at else (len(lines), len(lines[-1]))
    line = min(line, len(lines))
    return _Stop(lines, _AT.sub("", said).strip(), line, column)


def _curly_quote(stop: _Stop) -> Cure | None:
    outside = _CLOSED.sub("", stop.here)
    if outside == outside.translate(CURLY):
        return None
    straight = stop.here.translate(CURLY).strip()
    write = f"write {straight}" if len(straight) <= LONGEST_LINE else "write \" and ' instead"
    return Cure(stop.line, "there are curly quotes, and TOML takes straight ones alone", write)


def _backslash(stop: _Stop) -> Cure | None:
    if not stop.said.startswith(("Unescaped '\\'", "Invalid hex value")):
        return None
    what = "a backslash between double quotes begins a code such as \\n"
    for string in re.finditer(r'"([^"]*)"', stop.here):
        if string.start() < stop.column <= string.end() and "'" not in string[1]:
            return Cure(stop.line, what, f"write single quotes: '{string[1]}'")
    return Cure(stop.line, what, "write single quotes, or each backslash twice")


def _decimal_comma(stop: _Stop) -> Cure | None:
    for match in re.finditer(r"(?<![\w.,])([-+]?\d[\d.]*),(\d+)(?!\w)\s*", stop.here):
        if not match.start() <= stop.column <= match.end():
            continue
        before, after = match[1], match[2]
        write = f"{before.replace('.', '')}.{after}"
        if len(after) == 3 and "." not in before:
            write += f", or {before}{after} if the comma parts thousands"
        what = f"{before},{after} has a comma, and TOML takes a point as the decimal mark"
        return Cure(stop.line, what, f"write {write}")
    return None


def _comma_too_many(stop: _Stop) -> Cure | None:
    if stop.said.startswith("Expected newline") and re.fullmatch(r",\s*(#.*)?", stop.rest):
        return Cure(stop.line, "there is a comma at its end", "take that comma out")
    before = stop.here[: stop.column].rstrip()
    if stop.said.startswith("Invalid initial") and stop.rest[:1] == "}" and before[-1:] == ",":
        return Cure(stop.line, "there is a comma before }", "take that comma out")
    return None


def _never_closed(stop: _Stop) -> Cure | None:
    at_end = stop.said.endswith("(at end of document)")
    if not at_end and not (stop.said == "Invalid value" and _TABLE.fullmatch(stop.here)):
        return None
    opened = _open_brackets(stop.lines if at_end else stop.lines[: stop.line - 1])
    if not opened:
        return None
    line, bracket = opened[-1]
    close = "]" if bracket == "[" else "}"
    return Cure(line, f"the {bracket} of this line is never closed", f"write {close} behind it")


def _open_brackets(lines: list[str]) -> list[tuple[int, str]]:
    """Line, from 1, and sign of each bracket that these lines open and do not close."""
    opened: list[tuple[int, str]] = []
    for number, line in enumerate(lines, 1):
        for sign in re.findall(r"[\[\]{}]", _CLOSED.sub("", _code(line))):
            if sign in "[{":
                opened.append((number, sign))
            elif opened:
                opened.pop()
    return opened


def _table_over_lines(stop: _Stop) -> Cure | None:
    opened = _open_brackets(stop.lines[: stop.line])
    if not opened or opened[-1][1] != "{" or _code(stop.rest).strip():
        return None
    return Cure(
        opened[-1][0], "the { and } of a table stand on different lines", "write them on one line"
    )


def _comma_missing(stop: _Stop) -> Cure | None:
    if not stop.said.startswith(("Unclosed array", "Unclosed inline table")) or not stop.rest:
        return None
    number, before = stop.line, stop.here[: stop.column].strip()
    while not before and number > 1:
        number -= 1
        before = _code(stop.lines[number - 1]).strip()
    if number == stop.line:
        return Cure(number, "a comma is missing", f"write a comma before {_first_word(stop.rest)}")
    return Cure(
        number, "a comma is missing at the end of this line", f"write {before[-LONGEST_LINE:]},"
    )


def _bare_word(stop: _Stop) -> Cure | None:
    match = re.match(r"[A-Za-z][\w ./-]*", stop.rest)
    if stop.said != "Invalid value" or not match:
        return None
    word = match[0].strip()
    if word.lower() in ("true", "false"):
        return Cure(stop.line, f"{word} has a capital letter", f"write {word.lower()}")
    return Cure(stop.line, f"{word} has no quotes", f'write "{word}"')


def _number(stop: _Stop) -> Cure | None:
    number = re.match(r"([-+]?)(\.\d+)", stop.rest)
    if stop.said == "Invalid value" and number:
        sign, digits = number[1], number[2]
        return Cure(stop.line, f"{number[0]} begins with a point", f"write {sign}0{digits}")
    unit = re.match(r"[A-Za-z%]+(?=\s*(#|$))", stop.rest)
    if stop.said.startswith("Expected newline") and unit:
        return Cure(
            stop.line,
            f"{unit[0]} stands behind a number",
            "write the number alone; the key names its unit",
        )
    return None


def _quote_missing(stop: _Stop) -> Cure | None:
    if not stop.said.startswith("Illegal character '\\n'"):
        return None
    return Cure(stop.line, "a text has no closing quote", "write the quote at its end")


def _first_word(rest: str) -> str:
    return (re.match(r"""[\w-]+|"[^"]*"|'[^']*'|\{[^}]*\}?|.""", rest) or [rest])[0]


def _code(line: str) -> str:
    """The line without its comment."""
    match = _CODE.match(line)
    return match[0] if match else line
