"""Marks in a line, as it came, where each number stands that a channel may read.

A page shows the parts: a number is a button, what stands between is text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from logger.listening.number_series import NumberSeries
from logger.listening.number_tokens import numbers_of

MOST_SHOWN = 400  # characters of a line; memory only
_BODY = re.compile(r"[^\x02]*\x02|")  # before the first STX stands no part of the line
_ENDS = re.compile(r"[\r\n\x03]")
# a string of JSON, which may hold digits, or a number
_JSON = re.compile(r'"(?:[^"\\]|\\.)*"|(-?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?)')
_CELL = re.compile(r"[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)?")


@dataclass(frozen=True)
class LinePart:
    """A piece of a line."""

    text: str  # as it came, with escapes for what is no printable ASCII
    place: str | None  # of the number that it is, see `NumberSeries.place`; None: no number


def line_parts(line: bytes, series: Sequence[NumberSeries]) -> tuple[LinePart, ...]:
    """The parts of a line in order; a number that none of the series holds is text."""
    whole = line.decode("latin-1")[:MOST_SHOWN]
    begin = _BODY.match(whole)
    start = begin.end() if begin is not None else 0
    ends = _ENDS.search(whole, start)
    body = whole[start : ends.start() if ends is not None else len(whole)]
    spans: dict[tuple[int, int], str] = {}
    for one in series:
        span = _span(body, one)
        if span is not None and not any(a < span[1] and span[0] < b for a, b in spans):
            spans[span] = one.place
    parts, at = [], 0
    for (a, b), place in sorted(spans.items()):
        parts += [LinePart(_shown(whole[at : start + a]), None)] if start + a > at else []
        parts.append(LinePart(body[a:b], place))
        at = start + b
    if at < len(whole):
        parts.append(LinePart(_shown(whole[at:]), None))
    return tuple(parts)


def _shown(text: str) -> str:
    return text.encode("unicode_escape").decode("ascii")


def _span(body: str, series: NumberSeries) -> tuple[int, int] | None:
    """Where a series has its number in this line; None if the line does not hold it."""
    for keys in series.candidates:
        match keys["format"]:
            case "json":
                span = _nth(_json_spans(body), _json_index(body, str(keys["id"])))
            case "xdr":
                span = _xdr_span(body, str(keys["id"]))
            case "columns":
                span = _column_span(body, int(keys["column"]), str(keys.get("separator", " ")))
            case _:
                span = _text_span(body, keys.get("after"), keys)
        if span is not None:
            return span
    return None


def _nth(spans: Sequence[tuple[int, int]], index: int | None) -> tuple[int, int] | None:
    return spans[index] if index is not None and index < len(spans) else None


def _json_spans(body: str) -> list[tuple[int, int]]:
    """Where the numbers of an object stand, in the order in which they are written."""
    return [m.span(1) for m in _JSON.finditer(body) if m[1] is not None]


def _json_index(body: str, path: str) -> int | None:
    """Which of the numbers of an object, as they are written, has this path; None if none does."""
    import json

    try:
        document = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return next((k for k, one in enumerate(_paths(document, "")) if one == path), None)


def _paths(value: object, path: str) -> Iterator[str]:
    """The path of each number below a value of JSON, in the order in which they are written."""
    if isinstance(value, bool):
        return
    if isinstance(value, int | float):
        yield path
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _paths(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _paths(inner, f"{path}.{number}")


def _xdr_span(body: str, name: str) -> tuple[int, int] | None:
    """Where the number of a transducer stands."""
    begin = body.rfind("$")
    fields, at = [], begin
    for text in body[begin:].partition("*")[0].split(","):
        fields.append((at, text))
        at += len(text) + 1
    for k in range(1, len(fields) - 3, 4):
        if fields[k + 3][1] == name:
            start, number = fields[k + 1]
            return start, start + len(number)
    return None


def _column_span(body: str, column: int, separator: str) -> tuple[int, int] | None:
    """Where the number of a column stands."""
    if separator.isspace() and separator != "\t":
        cells = [m.span() for m in re.finditer(r"\S+", body)]
    else:
        cells, at = [], 0
        for text in body.split(separator):
            cells.append((at, at + len(text)))
            at += len(text) + len(separator)
    cell = _nth(cells, column - 1)
    number = _CELL.search(body, *cell) if cell is not None else None
    return number.span() if number is not None else None


def _text_span(
    body: str, after: object, keys: dict[str, object] | object
) -> tuple[int, int] | None:
    """Where the number of a line of text stands: which number of the line, or behind a label."""
    marks = keys if isinstance(keys, dict) else {}
    decimal, thousands = marks.get("decimal"), marks.get("thousands")
    tokens = numbers_of(
        body.encode("latin-1"),
        None if decimal is None else str(decimal),
        None if thousands is None else str(thousands),
    )
    begin = 0
    if after is not None:
        label = body.find(str(after))
        if label < 0:
            return None
        begin = label + len(str(after))
    behind = [(one.start, one.stop) for one in tokens if one.start >= begin]
    wanted = marks.get("number", 1)
    return _nth(behind, (wanted if isinstance(wanted, int) else 1) - 1)
