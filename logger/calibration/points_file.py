"""Reads the CSV table of calibration points: applied values and the readings at them."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from logger.errors import SensorsFault, one_line
from logger.spelling import likely
from logger.toml_tables import read_text

COLUMNS = ("applied", "reading", "run", "applied_u")
MOST_POINTS = 10_000  # memory only
MOST_DIGITS = 60  # memory only
LEAST, MOST = 1e-30, 1e30  # rounding only: the squares of other values leave the range of a float
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
LEAST_STEP = 2.0**-52  # of a float, relative: by definition (IEEE 754)


@dataclass(frozen=True)
class Points:
    """Rows of the table in their order, which distinguishes loading from unloading."""

    applied: tuple[float, ...]  # (n) applied values, in the unit of the table
    reading: tuple[float, ...]  # (n) readings, in the device's unit
    run: tuple[str, ...] | None  # (n) name of each row's run; None without that column
    applied_u: tuple[float, ...] | None  # (n) standard uncertainties, unit of applied, or None
    resolution: float  # finest step in which the readings are written, in their unit


def read_points(path: str | Path) -> Points:
    """Read the columns `applied` and `reading` of a CSV, and `run` and `applied_u` if it has them.

    Raises SensorsFault with the line.
    """
    text = read_text(path, SensorsFault)
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    columns: dict[str, list[str]] = {}
    steps: list[float] = []
    try:
        header = _header(path, next(rows, []))
        for row in rows:
            where = f"line {rows.line_num}"
            if not any(cell.strip() for cell in row):
                continue
            if len(row) != len(header):
                count = "1 cell" if len(row) == 1 else f"{len(row)} cells"
                raise SensorsFault(
                    path, f"{count}, but the header has {len(header)}",
                    "write one cell for each column, a comma between cells, a point in numbers", where,
                )  # fmt: skip
            for name, cell in zip(header, row, strict=True):
                columns.setdefault(name, []).append(_checked(path, where, name, cell.strip()))
            steps.append(_step(row[header.index("reading")].strip()))
            if len(steps) > MOST_POINTS:
                raise SensorsFault(
                    path,
                    f"more than {MOST_POINTS} points",
                    "write one mean reading for each applied value",
                    where,
                )
    except csv.Error as error:
        raise SensorsFault(
            path, f"is not a CSV table ({error})", "write applied,reading and one point a line",
            f"line {rows.line_num}",
        ) from None  # fmt: skip
    if not steps:
        raise SensorsFault(
            path, "there are no points", "write one line below the header for each applied value"
        )
    reading = tuple(map(float, columns["reading"]))
    return Points(
        applied=tuple(map(float, columns["applied"])),
        reading=reading,
        run=tuple(columns["run"]) if "run" in columns else None,
        applied_u=tuple(map(float, columns["applied_u"])) if "applied_u" in columns else None,
        resolution=max(min(steps), LEAST_STEP * max(map(abs, reading))),
    )


def _header(path: str | Path, row: list[str]) -> list[str]:
    where, cure = "line 1", "the first line must be applied,reading (and may name run, applied_u)"
    header = [cell.strip() for cell in row]
    if not any(header):
        raise SensorsFault(path, "there is no header", cure, where)
    if all(NUMBER.fullmatch(cell) for cell in header):
        raise SensorsFault(path, "the first line holds numbers, not the header", cure, where)
    if len(header) == 1 and re.search(r"[;\t|]", header[0]):
        raise SensorsFault(
            path,
            "there is no comma between the columns",
            "write applied,reading and 12.5 for 12,5",
            where,
        )
    for cell in header:
        if cell not in COLUMNS:
            near = likely(cell, COLUMNS)
            raise SensorsFault(
                path,
                f'unknown column "{one_line(cell, 60)}"',
                f"write {near}" if near else cure,
                where,
            )
    for name in COLUMNS:
        if header.count(name) > 1 or (name in COLUMNS[:2] and name not in header):
            raise SensorsFault(
                path,
                f"there must be one column {name}, there are {header.count(name)}",
                cure,
                where,
            )
    return header


def _checked(path: str | Path, where: str, name: str, cell: str) -> str:
    """The cell, if it is valid in the column `name`; raises SensorsFault."""
    if not cell:
        raise SensorsFault(
            path, f"the cell of {name} is empty", "fill it or delete the line", where
        )
    if name == "run":
        return one_line(cell, 40)
    shown = f'{name} "{one_line(cell, 40)}"'
    if len(cell) > MOST_DIGITS or not NUMBER.fullmatch(cell):
        cure = "write a plain number"
        if re.fullmatch(r"[+-]?\d+,\d+", cell, re.ASCII):
            cure = "write " + cell.replace(",", ".")
        elif re.fullmatch(r"\S+\s*[A-Za-z%]+", cell):
            cure = "write a plain number without a unit"
        raise SensorsFault(path, f"{shown} is not a number", cure, where)
    value = float(cell)
    if value != 0.0 and not LEAST <= abs(value) <= MOST:
        what = "large" if abs(value) > MOST else "small"
        raise SensorsFault(
            path,
            f"{shown} is too {what}",
            "correct the value, or write it in another unit",
            where,
        )
    if name == "applied_u" and value < 0.0:
        raise SensorsFault(
            path, f"{shown} is negative", "write a standard uncertainty of at least 0", where
        )
    return cell


def _step(cell: str) -> float:
    """The value of one unit in the last digit of a number as written, e.g. 0.1 for "12.5"."""
    mantissa, _, exponent = cell.lower().partition("e")
    power = int(exponent or 0) - len(mantissa.partition(".")[2])
    return 10.0 ** max(min(power, 300), -300)
