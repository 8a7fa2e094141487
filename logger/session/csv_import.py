"""Imports a CSV table as a sealed session: a column `time_s` and one column for each channel."""

from __future__ import annotations

import csv
import math
import os
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from operator import le
from pathlib import Path
from typing import Any

from logger.channels.channel import Sensors
from logger.channels.sensors_file import load_sensors
from logger.clock import utc_text
from logger.errors import RigFault, SessionFault, one_line
from logger.formats.base import NUMBER
from logger.session.descriptor import csv_line
from logger.session.writer import SessionWriter, check_out
from logger.spelling import likely
from logger.toml_tables import read_text

_PIECE = 4 << 20  # bytes read at once; memory only
_MOST_LINE = 65536  # bytes of the heading; memory only
_NUMBER = re.compile(NUMBER.decode("ascii"))


def import_table(
    csv_path: str | os.PathLike[str],
    rig_path: str | os.PathLike[str],
    sensors_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    simulation_true: Mapping[str, Any] | None = None,
) -> Path:
    """Make a sealed session in the folder `out` from a CSV table; returns `out`.

    A cell is a reading in its channel's unit, an empty cell none.  The rig file is copied without a
    check.  simulation_true: true values of a simulation, for the descriptor.  Raises UserFault with
    the line, and removes what it made.
    """
    sensors = load_sensors(sensors_path)
    rig = read_text(Path(rig_path), RigFault).encode("utf-8")
    target = Path(out)
    check_out(target)
    table = _Table(Path(csv_path), sensors)
    pieces = table.pieces()
    # the first piece is read before the folder is made, so that a bad table leaves nothing behind
    first = next(pieces, b"")
    existed = target.exists()
    writer = SessionWriter.create(
        target, rig, sensors, source="import", simulation_true=simulation_true
    )
    try:
        writer.event(table.first_s, "start", text=f"imported from {Path(csv_path).name}")
        writer.readings(first)
        for rows in pieces:
            writer.readings(rows)
        for time_s in (table.first_s, table.last_s):
            done = time_s == table.last_s
            counts = [n for name in table.names for n in (table.counts[name] if done else 0, 0)]
            start = datetime.fromisoformat(writer.descriptor["started_at"]).astimezone(UTC)
            try:
                utc = utc_text(start + timedelta(seconds=time_s))
            except OverflowError:
                utc = ""
            writer.clock(time_s, utc, counts)
        writer.event(table.last_s, "stop", text="end of the table")
        writer.seal()
    except BaseException as error:
        _take_back(writer, target, existed)
        if isinstance(error, OSError):
            raise SessionFault(
                target, f"cannot be written ({error.strerror or error})", "give another --out"
            ) from None
        raise
    return target


def _take_back(writer: SessionWriter, target: Path, existed: bool) -> None:
    """Remove what this import wrote; the folder was empty or missing before."""
    import shutil

    writer.abandon()
    shutil.rmtree(target, ignore_errors=True)
    if existed:
        target.mkdir(exist_ok=True)


class _Table:
    """Converts the table to rows of readings.csv.

    first_s, last_s: time of the first and the last row so far, s
    counts: readings so far, by channel
    """

    def __init__(self, path: Path, sensors: Sensors) -> None:
        self.path = path
        self.names = [channel.name for channel in sensors.channels]
        self.counts = dict.fromkeys(self.names, 0)
        self.first_s = 0.0
        self.last_s = -math.inf
        self._line = 1
        self._columns: list[str] = []
        self._labels: list[str] = []
        self._plain = re.compile("")

    def pieces(self) -> Iterator[bytes]:
        """Rows of readings.csv, a few megabytes at a time; raises SessionFault."""
        try:
            with self.path.open("rb") as file:
                self._header(file.readline(_MOST_LINE))
                rest = b""
                while data := file.read(_PIECE):
                    data = rest + data
                    end = data.rfind(b"\n") + 1
                    rest = data[end:]
                    if end:
                        yield self._piece(data[:end])
                    elif len(rest) > 2 * _PIECE:
                        raise self._fault(self._line + 1, "is longer than 8 MB", "give a CSV table")
                if rest.strip():
                    yield self._piece(rest + b"\n")
        except FileNotFoundError:
            raise SessionFault(
                self.path, "there is no such file", "give the path of a CSV table"
            ) from None
        except OSError as error:
            raise SessionFault(
                self.path, f"cannot be read ({error.strerror})", "give a readable CSV table"
            ) from None
        if self.last_s == -math.inf:
            raise SessionFault(self.path, "holds no rows", "give at least one row below the header")

    def _fault(self, line: int, what: str, cure: str) -> SessionFault:
        return SessionFault(self.path, one_line(what, 200), cure, f"line {line}")

    def _header(self, line: bytes) -> None:
        cure = "the first line must be time_s and the channels' names, with commas between them"
        try:
            text = line.decode("utf-8-sig")
            columns = [cell.strip() for cell in next(csv.reader([text.rstrip("\r\n")]), [])]
        except (UnicodeDecodeError, csv.Error):
            raise self._fault(1, "is not text", cure) from None
        if not line:
            raise SessionFault(self.path, "is empty", cure)
        if "time_s" not in columns:
            near = next((column for column in columns if likely(column, ["time_s"])), None)
            what = f'; rename "{near}"' if near else ""
            raise self._fault(1, "there is no column time_s", cure + what)
        for column in columns:
            if columns.count(column) > 1:
                raise self._fault(1, f'there are two columns "{column}"', "keep one")
            if column != "time_s" and column not in self.counts:
                near = likely(column, self.names)
                rename = f'rename it "{near}"' if near else "channels: " + ", ".join(self.names)
                raise self._fault(
                    1, f'column "{column}" is not a channel of the sensors file', rename
                )
        for name in self.names:
            if name not in columns:
                raise self._fault(
                    1,
                    f'there is no column for channel "{name}"',
                    "add it (cells may be empty) or take the channel out of the sensors file",
                )
        self._columns = columns
        # possessive quantifiers (++, ?+), so that matching four megabytes keeps no backtracking
        # state
        cell = NUMBER.decode("ascii")
        shape = ",".join(cell if column == "time_s" else f"(?:{cell})?+" for column in columns)
        self._plain = re.compile(f"(?:{shape}\n)++")
        self._labels = [csv_line([column]).decode("utf-8")[:-1] for column in columns]

    def _piece(self, data: bytes) -> bytes:
        try:
            text = data.decode("utf-8").replace("\r\n", "\n")
        except UnicodeDecodeError as error:
            line = self._line + 1 + data.count(b"\n", 0, error.start)
            raise self._fault(line, "is not UTF-8 text", "save the table as UTF-8") from None
        rows = self._fast(text)
        if rows is None:
            rows = self._slow(text)
        self._line += text.count("\n")
        return rows.encode("utf-8")

    def _fast(self, text: str) -> str | None:
        """The rows of a whole piece at once; None if a cell is not plain or a time goes back."""
        if not self._plain.fullmatch(text):
            return None
        width = len(self._columns)
        cells = text.replace("\n", ",").split(",")
        columns = [cells[i:-1:width] for i in range(width)]
        times = columns[self._columns.index("time_s")]
        seconds = list(map(float, times))
        if seconds[0] < self.last_s or not all(map(le, seconds, seconds[1:])):
            return None
        if self.last_s == -math.inf:
            self.first_s = seconds[0]
        self.last_s = seconds[-1]
        empty = 0
        for name, column in zip(self._columns, columns, strict=True):
            if name != "time_s":
                none = column.count("")
                empty += none
                self.counts[name] += len(column) - none
        # row by row of the table, so that times in readings.csv rise
        return "".join(self._in_order(times, columns) if empty else self._full(times, columns))

    def _full(self, times: list[str], columns: list[list[str]]) -> list[str]:
        names = zip(self._columns, self._labels, strict=True)
        labels = [label.replace("%", "%%") for name, label in names if name != "time_s"]
        row = "".join(f"%s,{label},%s\n" for label in labels)
        cell_columns: list[list[str]] = []
        for name, column in zip(self._columns, columns, strict=True):
            if name != "time_s":
                cell_columns += [times, column]
        return [row % cells for cells in zip(*cell_columns, strict=True)]

    def _in_order(self, times: list[str], columns: list[list[str]]) -> Iterator[str]:
        values = [
            (f",{label},", column)
            for name, label, column in zip(self._columns, self._labels, columns, strict=True)
            if name != "time_s"
        ]
        for i, t in enumerate(times):
            for label, column in values:
                if column[i]:
                    yield f"{t}{label}{column[i]}\n"

    def _slow(self, text: str) -> str:
        out: list[str] = []
        place = self._columns.index("time_s")
        for number, line in enumerate(text.split("\n")[:-1], self._line + 1):
            if not line.strip(", \t"):
                continue
            try:
                cells = [cell.strip() for cell in next(csv.reader([line], strict=True), [])]
            except csv.Error as error:
                raise self._fault(number, f"is not CSV ({error})", "correct the line") from None
            if len(cells) != len(self._columns):
                raise self._fault(
                    number,
                    f"has {len(cells)} cells, but the header has {len(self._columns)}",
                    "write one cell for each column, with a decimal point, not a comma",
                )
            for column, cell in zip(self._columns, cells, strict=True):
                if (cell or column == "time_s") and not _NUMBER.fullmatch(cell):
                    raise self._fault(
                        number,
                        f'{column}: "{one_line(cell, 40)}" is not a finite number',
                        "write a plain number"
                        + ("" if column == "time_s" else " or leave it empty"),
                    )
            time_s = float(cells[place])
            if time_s < self.last_s:
                raise self._fault(
                    number,
                    f"time_s goes back from {self.last_s:g} to {time_s:g}",
                    "sort the rows by time_s",
                )
            if self.last_s == -math.inf:
                self.first_s = time_s
            self.last_s = time_s
            for column, label, cell in zip(self._columns, self._labels, cells, strict=True):
                if cell and column != "time_s":
                    self.counts[column] += 1
                    out.append(f"{cells[place]},{label},{cell}\n")
        return "".join(out)
