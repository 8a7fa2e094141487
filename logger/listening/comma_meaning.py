"""Says what a comma between digits can mean in all lines of a device: decimal mark, mark between
thousands, or separator.

Each meaning is tried on every line.  One that no device would write (a thousand of two digits, a
column with a changing number of decimals, a changing number of columns) is ruled out; if more than
one remains, a person must say.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

DECIMAL, THOUSANDS, SEPARATOR = "decimal", "thousands", "separator"
_RUN = re.compile(r"[0-9][0-9.,']*[0-9]|[0-9]")
_COMMA = re.compile(rb"[0-9],[0-9]")
_ONE_COMMA = re.compile(rb"(?<![0-9.,:])[0-9]+,[0-9]+(?![0-9.,:])")


def has_comma(lines: Sequence[bytes]) -> bool:
    """Whether a comma stands between two digits in any of the lines."""
    return any(_COMMA.search(line) for line in lines)


def meanings(lines: Sequence[bytes]) -> tuple[str, ...]:
    """What the commas of these lines can mean; more than one if the lines do not settle it.

    lines: of one kind, at least one with a comma between digits.
    """
    rows = [_RUN.findall(line.decode("latin-1")) for line in lines]
    if not has_comma(lines):
        return (DECIMAL, SEPARATOR)
    possible = [
        name
        for name, fits in ((DECIMAL, _decimal), (THOUSANDS, _thousands), (SEPARATOR, _separator))
        if fits(rows)
    ]
    if DECIMAL in possible and SEPARATOR in possible and _separated_otherwise(lines):
        possible.remove(SEPARATOR)
    return tuple(possible or (DECIMAL, SEPARATOR))


def _decimal(rows: Sequence[Sequence[str]]) -> bool:
    """Whether each number has one decimal comma, and points stand between thousands alone."""
    if not all(
        re.fullmatch(r"\d+(,\d+)?|\d{1,3}(\.\d{3})+(,\d+)?", run) for row in rows for run in row
    ):
        return False
    grouped = any("." in run for row in rows for run in row)
    if grouped and any(len(re.split(r"[.,]", run)[0]) > 3 for row in rows for run in row):
        return False
    return _constant_decimals([[run.partition(",")[2] for run in row] for row in rows])


def _thousands(rows: Sequence[Sequence[str]]) -> bool:
    """Whether commas stand between thousands, in every number that has so many."""
    shape = r"\d{1,3}(,\d{3})*(\.\d+)?"
    if not all(re.fullmatch(shape, run) for row in rows for run in row):
        return False
    return _constant_decimals([[run.partition(".")[2] for run in row] for row in rows])


def _separator(rows: Sequence[Sequence[str]]) -> bool:
    """Whether each comma separates two numbers, the same number of them in each line."""
    cells = [[cell for run in row for cell in run.split(",")] for row in rows]
    if not all(re.fullmatch(r"\d+(\.\d+)?", cell) for row in cells for cell in row):
        return False
    return _constant_decimals([[cell.partition(".")[2] for cell in row] for row in cells])


def _constant_decimals(rows: Sequence[Sequence[str]]) -> bool:
    """Whether all lines have as many numbers, each with as many decimals as in the other lines."""
    return len({tuple(len(decimals) for decimals in row) for row in rows}) <= 1


def _separated_otherwise(lines: Sequence[bytes]) -> bool:
    """Whether a semicolon or a tab, or blanks between two numbers with a comma each, separate
    numbers in every line, so that no comma needs to."""
    return all(b";" in line or b"\t" in line or len(_ONE_COMMA.findall(line)) > 1 for line in lines)
