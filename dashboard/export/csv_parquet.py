"""Writes readings and events of a session as CSV or Parquet in SI, and adds the options for that.

A sheet of a spreadsheet holds 1,048,576 rows: a longer table can be split into files, or thinned to
the mean, lowest and highest reading of each interval, so that no peak is lost.
"""

from __future__ import annotations

import argparse
import csv
import os
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.export.output_file import cannot_write, outside
from dashboard.text.console import positive
from dashboard.text.table_rows import CHAPTER, EVENTS, Column, csv_cells, event_rows, safe
from logger.errors import CallFault

if TYPE_CHECKING:
    from logger.session.records import SessionInfo

ROWS_AT_ONCE = 50_000  # formatted in one piece: memory only
SPREADSHEET_ROWS = 1_048_576  # of one sheet, header included; ISO/IEC 29500


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `haul review` that write files."""
    add = parser.add_argument
    add(
        "--html",
        metavar="FILE",
        help="also write the report: one file that opens offline and prints",
    )
    add("--csv", metavar="FILE", help="also write the readings in SI, a column for each channel")
    add("--csv-split", action="store_true",
        help="split --csv into FILE, FILE-2 ... of as many rows as a spreadsheet holds")  # fmt: skip
    add("--csv-every", metavar="S", type=positive("seconds"),
        help="thin --csv: mean, lowest and highest reading of every S seconds")  # fmt: skip
    add("--events-csv", metavar="FILE", help="also write the events as a table")
    add(
        "--parquet",
        metavar="FILE",
        help="also write the readings in SI as Parquet (needs the extra `parquet`)",
    )


def write_all(args: argparse.Namespace, review: dict[str, Any]) -> None:
    """Write every file that the options ask for.  review: the object of interface section 6.

    Raises UserFault.
    """
    if args.csv_split and args.csv_every is not None:
        raise CallFault(
            "review", "--csv-split and --csv-every are both given", "give one of the two"
        )
    for option, given in (
        ("--csv-split", args.csv_split),
        ("--csv-every", args.csv_every is not None),
    ):
        if given and not args.csv:
            raise CallFault("review", f"{option} is given without --csv", "add --csv FILE")
    if args.csv:
        write_readings(
            args.session, args.csv, split=args.csv_split, every_s=args.csv_every,
            begins_s=begins_s(review),
        )  # fmt: skip
    if args.events_csv:
        write_events(args.session, args.events_csv, review)
    if args.parquet:
        write_parquet(args.session, args.parquet, begins_s(review))
    if args.html:
        from dashboard.export.report_html import write_report
        from dashboard.text.console import units

        write_report(args.session, args.html, args.rig, units(args), args.load_from)


def begins_s(review: dict[str, Any]) -> list[float]:
    """When each chapter of a review begins, s; empty where the session has one."""
    every = review["chapters"]
    return [c["from_s"] for c in every] if len(every) > 1 else []


def write_readings(
    session: str | os.PathLike[str], file: str | os.PathLike[str], *, split: bool = False,
    every_s: float | None = None, most_rows: int = SPREADSHEET_ROWS,
    begins_s: Sequence[float] = (),
) -> list[Path]:  # fmt: skip
    """Write a CSV of `time_s` and one column a channel, named with its SI unit; an empty cell: no
    reading.

    The zero that was valid at the time of a reading is applied: the sensors file's, or one set
    while recording. split: into files of at most most_rows rows, header included; every_s: one row
    for each interval of this length (s), with mean, lowest and highest reading.  Returns the files
    written. Raises SessionFault for the session, CallFault for the file.
    """
    from logger.session.reader import open_session

    info = open_session(session)
    target = outside(session, file)
    columns = _columns(info)
    if every_s is None:
        head, rows, count = ["time_s", *(c.head for c in columns)], _rows(columns), _count(columns)
    else:
        head, rows, count = _thinned(columns, every_s)
    if begins_s:
        head, rows = [*head, "chapter"], _with_chapter(rows, begins_s)
    if not split:
        if count >= most_rows:
            _warn_too_long(target, count)
        _save(target, "--csv", lambda out: _write(out, head, rows))
        return [target]
    written: list[Path] = []
    left = count
    while left > 0 or not written:
        numbered_file = target.with_name(f"{target.stem}-{len(written) + 1}{target.suffix}")
        piece = numbered_file if written else target
        count_here = min(left, most_rows - 1)
        _save(piece, "--csv", lambda out, n=count_here: _write(out, head, rows, n))  # type: ignore[misc]
        written.append(piece)
        left -= count_here
    return written


def write_events(
    session: str | os.PathLike[str], file: str | os.PathLike[str], review: dict[str, Any]
) -> None:
    """Write the events of a review as CSV; a spreadsheet reads no text of theirs as a formula."""
    columns = (*EVENTS, replace(CHAPTER, title="")) if begins_s(review) else EVENTS
    target = outside(session, file, "--events-csv")
    write_table(target, "--events-csv", columns, event_rows(review))


def write_table(target: Path, option: str, columns: Sequence[Column], rows: Iterable[Any]) -> None:
    """Write rows as CSV in SI.  option: the one that names the file.  Raises CallFault in one line."""
    head, *body = csv_cells(columns, rows)
    _save(target, option, lambda out: _write(out, head, iter(body)))


def write_parquet(
    session: str | os.PathLike[str], file: str | os.PathLike[str], begins_s: Sequence[float] = ()
) -> None:
    """Write the same table as `write_readings` as Parquet; null: no reading.

    Raises CallFault where pyarrow is not installed.
    """
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise CallFault(
            "review", "--parquet needs pyarrow, which is not installed",
            "install the extra: pip install '.[parquet]'",
        ) from None  # fmt: skip
    import numpy as np

    from logger.session.reader import open_session

    info = open_session(session)
    target = outside(session, file, "--parquet")
    columns = _columns(info)
    every, places = _aligned(columns)
    arrays = [pyarrow.array(every["time_s"])]
    for column, place in zip(columns, places, strict=True):
        values, none = np.zeros(len(every)), np.ones(len(every), bool)
        values[place], none[place] = column.values, False
        arrays.append(pyarrow.array(values, mask=none))
    names = ["time_s", *(c.head for c in columns)]
    if begins_s:
        chapter = np.searchsorted(np.asarray(begins_s[1:]), every["time_s"], "right") + 1
        arrays.append(pyarrow.array(chapter))
        names.append("chapter")
    fields = [pyarrow.field(n, a.type) for n, a in zip(names, arrays, strict=True)]
    schema = pyarrow.schema(fields, metadata={"started_at": info.started_at})
    table = pyarrow.Table.from_arrays(arrays, schema=schema)
    try:
        pyarrow.parquet.write_table(table, str(target))
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, "--parquet") from None


@dataclass(frozen=True)
class _Column:
    """The readings of one channel in SI."""

    head: str  # title of the column, with the unit
    time_s: Any  # (n,) times
    values: Any  # (n,) readings, N or m


def _with_chapter(rows: Iterator[list[str]], begins_s: Sequence[float]) -> Iterator[list[str]]:
    """Rows that begin with a time, each with the number of its chapter, from 1, behind it."""
    for row in rows:
        yield [*row, str(max(1, bisect_right(begins_s, float(row[0]))))]


def _columns(info: SessionInfo) -> list[_Column]:
    from analysis.review.si_series import in_si
    from logger.session.reader import read_all

    block = read_all(info.path)
    return [
        _Column(safe(f"{c.name} [{'N' if c.quantity == 'force' else 'm'}]"), *in_si(block, c))
        for c in info.sensors.channels
    ]


def _save(target: Path, option: str, write: Callable[[Any], None]) -> None:
    try:
        with target.open("w", encoding="utf-8", newline="") as out:
            write(out)
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, option) from None


def _warn_too_long(target: Path, count: int) -> None:
    import sys

    print(
        f"haul: {target}: {count} rows, but a spreadsheet holds {SPREADSHEET_ROWS}: "
        "add --csv-split or --csv-every 1 to make it fit",
        file=sys.stderr,
    )


def _write(out: Any, head: list[str], rows: Iterator[list[str]], most: int | None = None) -> None:
    from itertools import islice

    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows if most is None else islice(rows, most))


def _aligned(columns: list[_Column]) -> tuple[Any, list[Any]]:
    """(keys, places): all rows of the table as sorted keys, and the row of each reading of each
    column.

    Where channels have several readings at one time, the k-th reading of each goes on the k-th row
    of that time.
    """
    import numpy as np

    keys = [_keys(c.time_s) for c in columns]
    every = np.unique(np.concatenate(keys)) if keys else np.empty(0)
    return every, [np.searchsorted(every, k) for k in keys]


def _count(columns: list[_Column]) -> int:
    return len(_aligned(columns)[0])


def _rows(columns: list[_Column]) -> Iterator[list[str]]:
    import numpy as np

    every, places = _aligned(columns)
    for start in range(0, len(every), ROWS_AT_ONCE):
        piece = every[start : start + ROWS_AT_ONCE]
        cells = [["" for _ in piece] for _ in columns]
        for k, (place, column) in enumerate(zip(places, columns, strict=True)):
            low, high = np.searchsorted(place, [start, start + ROWS_AT_ONCE])
            for at, value in zip(place[low:high] - start, column.values[low:high], strict=True):
                cells[k][at] = f"{value:.9g}"
        times = [f"{t:.6f}" for t in piece["time_s"]]
        yield from map(list, zip(times, *cells, strict=True))


def _thinned(columns: list[_Column], every_s: float) -> tuple[list[str], Iterator[list[str]], int]:
    """(head, rows, number of rows): one row for each interval that holds a reading, with its start
    as the time."""
    import numpy as np

    head = ["time_s"]
    for c in columns:
        name, unit = c.head[:-4], c.head[-4:]
        head += [f"{name} {what}{unit}" for what in ("mean", "least", "largest")]
    bins = [np.floor(c.time_s / every_s).astype(np.int64) for c in columns]
    every = np.unique(np.concatenate(bins)) if bins else np.empty(0, np.int64)
    table = [[f"{k * every_s:.6f}"] + [""] * (len(head) - 1) for k in every.tolist()]
    for j, (c, mine) in enumerate(zip(columns, bins, strict=True)):
        if not len(mine):
            continue
        first = np.flatnonzero(np.diff(mine, prepend=mine[0] - 1))
        count = np.diff(np.append(first, len(mine)))
        stats = (
            np.add.reduceat(c.values, first) / count,
            np.minimum.reduceat(c.values, first), np.maximum.reduceat(c.values, first),
        )  # fmt: skip
        for at, *three in zip(np.searchsorted(every, mine[first]).tolist(), *stats, strict=True):
            table[at][1 + 3 * j : 4 + 3 * j] = [f"{v:.9g}" for v in three]
    return head, iter(table), len(table)


def _keys(times: Any) -> Any:
    """Sortable keys (n,) of readings: time_s, and how many earlier readings have the same time."""
    import numpy as np

    result = np.zeros(len(times), dtype=[("time_s", "f8"), ("again", "i8")])
    result["time_s"] = times
    if len(times):
        index = np.arange(len(times))
        first = np.r_[True, times[1:] != times[:-1]]
        result["again"] = index - np.maximum.accumulate(np.where(first, index, 0))
    return result
