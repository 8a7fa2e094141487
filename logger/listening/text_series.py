"""Finds the numbers of lines of text or of columns, with the keys that may read each."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from logger.channels.line_formats import OVERLOAD
from logger.listening.capture import Answers, Remark
from logger.listening.comma_meaning import DECIMAL, SEPARATOR, THOUSANDS, has_comma, meanings
from logger.listening.number_series import Keys, NumberSeries
from logger.listening.number_tokens import NumberToken, numbers_of

# share of lines that a kind of lines has at least; chosen by us: what is rarer is noise, or torn
LEAST_SHARE = 0.05
MOST_NUMBERS = 20  # of one line; memory only
LEAST_LINES = 8  # from which stations of a bus are looked for; chosen by us: some turns of a few
MOST_STATIONS = 16  # of a bus; chosen by us: more would be a course of numbers
_SEPARATORS = (";", "\t")
_GROUPED = re.compile(rb"(?<![0-9.,])[0-9]{1,3}(?: [0-9]{3})+(?![0-9])")
_NUMBER = re.compile(r"[-+]?(?:\d+(?:[.,]\d*)?|\.\d+)(?:[eE][-+]?\d{1,2})?")
_OVERLOAD = re.compile(
    "|".join(rf"(?<![A-Za-z0-9.]){re.escape(w)}(?![A-Za-z0-9])" for w in OVERLOAD)
)


def plain_series(
    lines: Sequence[bytes], answers: Answers
) -> tuple[list[NumberSeries], list[Remark]]:
    """The numbers of these lines, and what a person must say before they can be read."""
    lines = [line for line in lines if not _OVERLOAD.search(line.decode("latin-1").upper())]
    lines = [line for line in lines if re.search(rb"[0-9]", line) and line.isascii()]
    if not lines:
        return [], []
    comma = answers.comma
    if has_comma(lines) and comma is None:
        possible = meanings(lines[1:] if len(lines) > 2 else lines)  # the first may be torn
        if len(possible) > 1:
            return [], [
                _choice("comma", next(one for one in reversed(lines) if has_comma([one])), possible)
            ]
        (comma,) = possible
    if comma is None and _blanks_may_group(lines):
        line = next(one for one in reversed(lines) if _GROUPED.search(one))
        return [], [_choice("blank", line, (THOUSANDS, SEPARATOR))]
    table = _table(lines, comma)
    if table:
        return table, []
    return _text(lines, _marks(lines, comma))


def _choice(code: str, line: bytes, possible: Sequence[str]) -> Remark:
    """What a mark means must be said; line: an example; possible: its meanings."""
    return Remark(code, {"line": line.decode("latin-1"), "choices": " ".join(possible)})


def _blanks_may_group(lines: Sequence[bytes]) -> bool:
    """Whether blanks between digits may stand between thousands: wherever one stands between two
    numbers, three digits follow, and no number has more than three digits without one."""
    if not any(_GROUPED.search(line) for line in lines):
        return False
    return not any(re.search(rb"[0-9] +(?![0-9]{3}(?![0-9]))[0-9]|[0-9]{4}(?![0-9]*[.])", line)
                   or re.search(rb"\.[0-9]+ +[0-9]", line) for line in lines)  # fmt: skip


def _marks(lines: Sequence[bytes], comma: str | None) -> dict[str, str]:
    """The keys for the marks within numbers, where a comma has this meaning."""
    if comma == DECIMAL:
        points = any(re.search(rb"[0-9]\.[0-9]{3}[,.]", line) for line in lines)
        return {"decimal": ",", **({"thousands": "."} if points else {})}
    if comma == THOUSANDS:
        return {"thousands": "," if has_comma(lines) else " "}
    if comma == SEPARATOR and has_comma(lines):
        return {"decimal": "."}
    grouped = [match for line in lines for match in re.findall(rb"[0-9]'([0-9]+)", line)]
    return {"thousands": "'"} if grouped and all(len(match) == 3 for match in grouped) else {}


# -- columns ---------------------------------------------------------------------------------------
def _table(lines: Sequence[bytes], comma: str | None) -> list[NumberSeries]:
    """The columns of lines that are numbers with a separator; [] if the lines are something else."""
    rows = [line.decode("latin-1").strip() for line in lines]
    separator = _separator(rows, comma)
    if separator is None:
        return []
    split = [[cell.strip() for cell in row.split(separator or None)] for row in rows]
    if separator == " ":
        split = [row.split() for row in rows]
    count = Counter(map(len, split)).most_common(1)[0][0]
    split = [row for row in split if len(row) == count]
    if len(split) < 0.8 * len(rows):
        return []
    columns = list(zip(*split, strict=True))
    numeric = [k for k, column in enumerate(columns) if all(map(_NUMBER.fullmatch, column))]
    others = [column for k, column in enumerate(columns) if k not in numeric]
    if not numeric or any(re.search(r"[0-9]", cell) for column in others for cell in column):
        return []
    decimal = {DECIMAL: {"decimal": ","}}.get(comma or "", {})
    keys: dict[str, str | int] = {"count": count}
    if count > 1:
        keys = {"separator": separator, **keys}
    series = []
    for k in numeric[:MOST_NUMBERS]:
        texts = tuple(c.replace(",", ".") if comma == DECIMAL else c for c in columns[k])
        candidate: Keys = {"format": "columns", "column": k + 1, **keys, **decimal}
        series.append(
            NumberSeries(
                place=f"column {k + 1}",
                texts=texts,
                unit=None,
                candidates=(candidate,),
                time_keys={"time_column": k + 1},
            )
        )
    return series


def _separator(rows: Sequence[str], comma: str | None) -> str | None:
    """What separates the columns; "" where each line is one number; None if the lines are no table."""
    if comma == THOUSANDS:
        return None
    for separator in _SEPARATORS:
        if all(separator in row for row in rows):
            return separator
    if (comma == SEPARATOR and any("," in row for row in rows)) or (
        comma is None and all(re.search(r",\s*[-+]?[0-9]", r) for r in rows)
    ):
        return ","
    if all(_NUMBER.fullmatch(row) for row in rows):
        return " "
    if all(len(row.split()) > 1 and all(map(_NUMBER.fullmatch, row.split())) for row in rows):
        return " "
    return None


# -- text ------------------------------------------------------------------------------------------
def _text(lines: Sequence[bytes], marks: dict[str, str]) -> tuple[list[NumberSeries], list[Remark]]:
    """The numbers of lines of text, by their label or by their place."""
    rows = [numbers_of(line, marks.get("decimal"), marks.get("thousands")) for line in lines]
    kinds: dict[tuple[object, ...], list[int]] = {}
    for number, tokens in enumerate(rows):
        kind = tuple((t.label, t.unit, t.other) for t in tokens if not t.joined)
        if kind:
            kinds.setdefault((len(tokens), *kind), []).append(number)
    common = [where for where in kinds.values() if len(where) >= LEAST_SHARE * len(lines)]
    series: list[NumberSeries] = []
    for where in common:
        group = [rows[number] for number in where]
        whole = [lines[number] for number in where]
        stations = _stations(group, whole)
        if stations:
            series += _of_stations(group, whole, stations, marks)
            continue
        for k, token in enumerate(group[0][:MOST_NUMBERS]):
            if any(tokens[k].joined for tokens in group):
                continue
            column = [tokens[k] for tokens in group]
            series.append(_one(token, column, whole, len(common) == 1, marks))
    return _told_apart(series)


def _stations(group: Sequence[Sequence[NumberToken]], lines: Sequence[bytes]) -> list[str]:
    """What stands before the number in the lines of each station of a bus, such as "@01"; [] where the
    lines are not of several stations.

    An address is a whole number before all others that is another one from line to line.
    """
    if len(group) < LEAST_LINES or len(group[0]) < 2:
        return []
    texts = [tokens[0].text for tokens in group]
    changes = sum(a != b for a, b in pairwise(texts))
    plain = all(
        text.isdigit() and tokens[0].unit is None for text, tokens in zip(texts, group, strict=True)
    )
    if not plain or not 2 <= len(set(texts)) <= MOST_STATIONS or 2 * changes < len(texts):
        return []
    if len(set(texts)) * 3 > len(texts):  # each comes again, as no course of a number does
        return []
    heads = [re.match(r"([^0-9]*)([0-9]+)", line.decode("latin-1")) for line in lines]
    return [(head[1].split() or [""])[-1] + head[2] if head else "" for head in heads]


def _of_stations(
    group: Sequence[Sequence[NumberToken]],
    lines: Sequence[bytes],
    stations: Sequence[str],
    marks: dict[str, str],
) -> list[NumberSeries]:
    """The first number behind the address of each station; stations: of each line."""
    series = []
    for station in sorted(set(stations)):
        column = [tokens[1] for tokens, one in zip(group, stations, strict=True) if one == station]
        token = column[0]
        series.append(
            NumberSeries(
                place=f'the number behind "{station}"',
                texts=tuple(one.text for one in column),
                unit=token.unit,
                candidates=({"format": "text", "after": station, **marks},) if station else (),
                other=token.other,
            )
        )
    return series


def _one(
    token: NumberToken,
    column: Sequence[NumberToken],
    lines: Sequence[bytes],
    alone: bool,
    marks: dict[str, str],
) -> NumberSeries:
    """The series of one number; alone: whether all lines of the device are of one kind."""
    base: dict[str, str | int | float | bool] = {"format": "text"}
    label = token.label
    if label and any(line.decode("latin-1").count(label) != 1 for line in lines):
        label = ""
    word = token.word if all(one.word == token.word for one in column) else ""
    candidates: list[Keys] = []
    if label:
        candidates.append({**base, "after": label, **marks})
    if alone:
        number: Keys = {"number": token.place} if token.place > 1 else {}
        candidates.append({**base, **number, **marks})
    elif word and not label:
        candidates.append({**base, "after": word, **marks})
    name = label or (word if not alone else "")
    place = f'the number behind "{name}"' if name else f"number {token.place}"
    return NumberSeries(
        place=place,
        texts=tuple(one.text for one in column),
        unit=token.unit,
        candidates=tuple(candidates),
        other=token.other,
        hint=label or "",
        time_keys={"time_after": label} if label else {},
    )


def _told_apart(series: list[NumberSeries]) -> tuple[list[NumberSeries], list[Remark]]:
    """The series that have a place of their own; the others are told."""
    places = Counter(one.place for one in series)
    apart = [one for one in series if places[one.place] == 1 and one.candidates]
    mixed = [one for one in series if places[one.place] > 1 or not one.candidates]
    remarks = [
        Remark("kinds", {"number": one.last, "place": one.place}, one.place) for one in mixed
    ]
    return apart, remarks[:1]
