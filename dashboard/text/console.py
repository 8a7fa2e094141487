"""Shared by the subcommands: options, checks of arguments, printing of JSON and of plain tables."""

from __future__ import annotations

import argparse
import json
import math
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dashboard.text.units import SYSTEMS, Units
from logger.errors import CallFault
from logger.file_keys import UNIT_SUFFIXES


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add the option --json."""
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object and nothing else"
    )


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add the option --units; `units` reads it."""
    parser.add_argument(
        "--units", choices=tuple(SYSTEMS), default="metric",
        help="units shown: metric (N, kN, m; the default) or us (lbf, ft); files stay in SI",
    )  # fmt: skip


def units(args: argparse.Namespace) -> Units:
    """The units that --units names."""
    return SYSTEMS[args.units]


def positive(unit: str) -> Callable[[str], float]:
    """An argparse type for a finite number above zero; unit: its name in the fault."""

    def read(text: str) -> float:
        """The number in an argument; raises ArgumentTypeError."""
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and value > 0):
            raise argparse.ArgumentTypeError(f"{text!r} is not a number of {unit} above 0")
        return value

    return read


SPOKEN_UNITS = {"N": "newtons", "kN": "kilonewtons", "m": "metres", "kg": "kilograms"}


def with_unit(quantity: str, unit: str, bare: bool = False) -> Callable[[str], float]:
    """An argparse type for a number above zero with its unit, such as "575lbf" or "330 ft".

    quantity: "force", "length" or "mass"; unit: the one that the number is converted to, a suffix of
    `file_keys.UNIT_SUFFIXES`; bare: take a number without a unit as one in `unit`.  Else it is refused,
    because it may mean two things.
    """
    sizes = UNIT_SUFFIXES[quantity]

    def read(text: str) -> float:
        """The number in an argument, in `unit`; raises ArgumentTypeError."""
        match = re.fullmatch(r"\s*([0-9.]+(?:[eE][+-]?[0-9]+)?)\s*([A-Za-z]*)\s*", text)
        number, written = (match[1], match[2]) if match else ("", "")
        try:
            value = float(number)
        except ValueError:
            value = math.nan
        if bare and not written:
            written = unit
        if not (math.isfinite(value) and value > 0 and written in sizes):
            units_listed = ", ".join(f"{number or 12}{each}" for each in sizes)
            what = (
                f"a number of {SPOKEN_UNITS[unit]} above 0"
                if bare
                else "a number above 0 with a unit"
            )
            raise argparse.ArgumentTypeError(
                f"{text!r} is not {what}; write such as {units_listed}"
            )
        return value * (sizes[written] / sizes[unit])

    return read


def add_quantity(
    group: argparse._MutuallyExclusiveGroup, option: str, quantity: str, help_text: str
) -> None:
    """Add an option with a unit in its name, and the one that takes a number with its unit.

    group: holds both, so that one alone may be given; option: with the unit, such as "--load-N", which
    names the attribute too; quantity: as for `with_unit`.
    """
    plain, _, unit = option.rpartition("-")
    name = option.removeprefix("--").replace("-", "_")
    spoken = SPOKEN_UNITS[unit]
    group.add_argument(option, metavar="X", type=positive(spoken), dest=name, help=help_text)
    group.add_argument(plain, metavar='"X UNIT"', type=with_unit(quantity, unit), dest=name,
                       help=f"the same with its unit: {', '.join(UNIT_SUFFIXES[quantity])}")  # fmt: skip


def print_json(value: dict[str, Any]) -> None:
    """Print one JSON object on standard output; raises ValueError for a number that is not finite."""
    print(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2))


def table(rows: Sequence[Sequence[str]], left: int = 1, indent: str = "  ") -> list[str]:
    """Lines with aligned columns: the first `left` columns flush left, the others flush right."""
    if not rows:
        return []
    width = [max(len(row[c]) for row in rows) for c in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            text.ljust(width[c]) if c < left else text.rjust(width[c]) for c, text in enumerate(row)
        ]
        lines.append((indent + "  ".join(cells)).rstrip())
    return lines


def pairs(rows: Sequence[tuple[str, str]], indent: str = "  ") -> list[str]:
    """Lines of `label  value` with all values in one column."""
    width = max((len(label) for label, _ in rows), default=0)
    return [f"{indent}{label.ljust(width)}  {value}".rstrip() for label, value in rows]


def new_folder(path: str | Path, option: str = "--out") -> Path:
    """The path, if nothing is there or an empty folder; raises CallFault otherwise."""
    folder = Path(path)
    try:
        taken = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(folder, f"cannot be used ({reason})", f"give another {option}") from None
    if taken:
        raise CallFault(
            folder, "exists and is not an empty folder; no session is overwritten",
            f"give {option} a new folder",
        )  # fmt: skip
    return folder
