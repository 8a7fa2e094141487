"""Parses the tables of a session into values; a malformed row is counted and left out."""

from __future__ import annotations

import csv
import io
import math
import mmap
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.session.records import ChannelReadings, ClockRow, Event

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    _Floats = npt.NDArray[np.float64]
    _Codes = npt.NDArray[np.integer[Any]]
    _Columns = dict[str, tuple[_Floats, _Floats]]

_FEW = 20_000  # bytes; speed only: below, a loop is faster than loading pandas
_ROWS = 1 << 19  # rows split by channel at a time; memory only
_NUMBER = r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_ROW = re.compile(rf'^({_NUMBER}),("(?:[^"\n]|"")*"|[^",\n]*),({_NUMBER})$', re.MULTILINE)
_ID = re.compile(r"[A-Za-z0-9_.-]{1,80}")


class ReadingsParser:
    """Parses readings.csv piece by piece.

    It keeps the last time of each channel, so that a row that goes back in time counts as
    malformed, wherever the file is cut into pieces.

    names: the session's channels; malformed: malformed rows so far
    """

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self._last = dict.fromkeys(self.names, -math.inf)
        self.malformed = 0

    def parse(self, data: bytes) -> dict[str, ChannelReadings]:
        """The readings in `data`, for every channel; `data` ends with a line feed or is empty."""
        columns = None if len(data) < _FEW else self._fast(data)
        return self._in_order(self._slow(data) if columns is None else columns)

    def parse_file(self, path: Path, size: int) -> Iterator[dict[str, ChannelReadings]] | None:
        """The readings of a whole file, a few hundred thousand rows at a time; None if a row is not
        plain or the file has grown, so that `parse` has to read it.  Raises OSError.

        size: bytes of the file: a header and complete lines.

        pandas reads a whole file with several threads, but a buffer with one.  Few rows are split
        by channel at a time, because allocating new memory takes the system longer than the rest of
        the work on it.
        """
        import numpy as np

        with (
            path.open("rb") as file,
            mmap.mmap(file.fileno(), size, access=mmap.ACCESS_READ) as data,
        ):
            lines = _plain_lines(data)
        columns = None if lines is None else self._columns(path, 1, lines - 1)
        if columns is None:
            return None
        np.empty(1 << 22)  # freed at once: from then on the C library reuses arrays up to this size
        time_s, reading, place = columns
        pieces = (slice(k, k + _ROWS) for k in range(0, len(time_s), _ROWS))
        return (self._in_order(self._by_channel(time_s[p], reading[p], place[p])) for p in pieces)

    def _in_order(self, columns: _Columns) -> dict[str, ChannelReadings]:
        """The columns without rows earlier than a row of the same channel before; counts those."""
        import numpy as np

        out: dict[str, ChannelReadings] = {}
        for name in self.names:
            time_s, reading = columns[name]
            if time_s.size and not (
                time_s[0] >= self._last[name] and (time_s[1:] >= time_s[:-1]).all()
            ):
                back = np.maximum.accumulate(np.concatenate(([self._last[name]], time_s)))[:-1]
                good = time_s >= back
                if not good.all():
                    self.malformed += int((~good).sum())
                    time_s, reading = time_s[good], reading[good]
            if time_s.size:
                self._last[name] = float(time_s[-1])
            out[name] = ChannelReadings(time_s, reading)
        return out

    def _fast(self, data: bytes) -> _Columns | None:
        """Parse with pandas; None if a row is not three plain cells."""
        lines = _plain_lines(data)
        columns = None if lines is None else self._columns(io.BytesIO(data), 0, lines)
        return None if columns is None else self._by_channel(*columns)

    def _columns(
        self, source: io.BytesIO | Path, skip: int, lines: int
    ) -> tuple[_Floats, _Floats, _Codes] | None:
        """Times in s, readings and channels (index into `names`) of `lines` rows after the first
        `skip`; None if they are not all valid."""
        import numpy as np
        import pandas as pd

        try:
            table = pd.read_csv(
                source,
                header=None,
                names=["time_s", "channel", "reading"],
                skiprows=skip,
                dtype={"time_s": np.float64, "channel": "category", "reading": np.float64},
                na_filter=False,
                skip_blank_lines=False,
                index_col=False,
                engine="c",
                **_float_precision(pd.__version__),
            )
        except (ValueError, OverflowError, UnicodeDecodeError):
            return None
        if len(table) != lines:
            return None
        time_s, reading = table["time_s"].to_numpy(), table["reading"].to_numpy()
        ends = [f(x) for x in (time_s, reading) for f in (np.min, np.max)] if lines else []
        if not np.isfinite(ends).all():
            return None
        channel = table["channel"].cat
        if not set(channel.categories) <= set(self.names):
            return None
        place = np.array([self.names.index(name) for name in channel.categories], np.intp)
        codes = channel.codes.to_numpy()
        # usually the categories are in the order of `names` already
        return time_s, reading, codes if (place == np.arange(len(place))).all() else place[codes]

    def _by_channel(self, time_s: _Floats, reading: _Floats, place: _Codes) -> _Columns:
        import numpy as np

        if len(self.names) == 1:
            return {self.names[0]: (time_s, reading)}
        columns = {}
        for k, name in enumerate(self.names):
            mine = np.flatnonzero(place == k)
            columns[name] = (time_s.take(mine), reading.take(mine))
        return columns

    def _slow(self, data: bytes) -> _Columns:
        import numpy as np

        text = data.decode("utf-8", "replace").replace("\r\n", "\n")
        columns: dict[str, tuple[list[float], list[float]]] = {n: ([], []) for n in self.names}
        good = 0
        for time_text, name, reading_text in _ROW.findall(text):
            if name.startswith('"'):
                name = name[1:-1].replace('""', '"')
            column = columns.get(name)
            time_s, reading = float(time_text), float(reading_text)
            if column is None or not (math.isfinite(time_s) and math.isfinite(reading)):
                continue
            good += 1
            column[0].append(time_s)
            column[1].append(reading)
        self.malformed += text.count("\n") - good
        return {
            n: (np.array(t, dtype=float), np.array(r, dtype=float)) for n, (t, r) in columns.items()
        }


def _plain_lines(data: bytes | mmap.mmap) -> int | None:
    """The number of lines if there are two commas for each and no quotes, else None."""
    import numpy as np

    if data.find(b'"') >= 0:
        return None
    codes, piece = np.frombuffer(data, np.uint8), 1 << 17  # in cache twice as fast as bytes.count
    lines, commas, view = 0, 0, codes
    for k in range(0, len(codes), piece):
        view = codes[k : k + piece]
        lines += int(np.count_nonzero(view == 10))
        commas += int(np.count_nonzero(view == 44))
    del codes, view  # a memory map with views cannot be closed
    return lines if commas == 2 * lines else None


def _float_precision(version: str) -> dict[str, Any]:
    """The option with which pandas of this version reads numbers to the last bit, as `float` does.

    A piece then gives the same numbers as rows read one by one.  From 3.1 on pandas always does so
    and warns of the option.
    """
    numbers = re.findall(r"[0-9]+", version)[:2]
    return {"float_precision": "round_trip"} if [int(n) for n in numbers] < [3, 1] else {}


def parse_events(data: bytes) -> tuple[tuple[Event, ...], int]:
    """The events in complete rows of events.csv, and the number of malformed rows."""
    events, malformed = [], 0
    for cells in _rows(data):
        if len(cells) != 6 or not cells[2]:
            malformed += 1
            continue
        time_s, value = _number(cells[0]), _number(cells[4]) if cells[4] else None
        if time_s is None or (cells[4] and value is None):
            malformed += 1
            continue
        events.append(
            Event(
                time_s=time_s,
                id=cells[1],
                kind=cells[2],
                channel=cells[3],
                value=value,
                text=cells[5],
            )
        )
    return tuple(events), malformed


def parse_clock(data: bytes, names: Sequence[str]) -> tuple[tuple[ClockRow, ...], int]:
    """The complete rows of clock.csv, and the number of malformed rows; names: the channels."""
    clock, malformed = [], 0
    for cells in _rows(data):
        time_s = _number(cells[0]) if cells else None
        counts = cells[2:]
        if (
            time_s is None
            or len(counts) != 2 * len(names)
            or not all(c.isascii() and c.isdigit() and len(c) < 16 for c in counts)
        ):
            malformed += 1
            continue
        values = [int(c) for c in counts]
        clock.append(
            ClockRow(
                time_s,
                cells[1],
                dict(zip(names, values[::2], strict=True)),
                dict(zip(names, values[1::2], strict=True)),
            )
        )
    return tuple(clock), malformed


def _rows(data: bytes) -> list[list[str]]:
    rows = []
    # one line at a time: a stray quote must not swallow the rows below it
    for line in data.decode("utf-8", "replace").split("\n")[:-1]:
        try:
            rows.append(next(csv.reader([line.rstrip("\r")]), []))
        except csv.Error:
            rows.append([])
    return rows


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
