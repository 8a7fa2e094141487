"""Rows of a session's files to values; rows that cannot be read are counted, never guessed."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from logger.session_types import ChannelReadings, ClockRow, Event

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

_FEW = 20_000  # bytes below which a loop beats loading pandas
_NUMBER = r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_ROW = re.compile(rf'^({_NUMBER}),("(?:[^"\n]|"")*"|[^",\n]*),({_NUMBER})$', re.MULTILINE)
_ID = re.compile(r"[A-Za-z0-9_.-]{1,80}")


class ReadingsParser:
    """Whole rows of readings.csv, piece by piece.  Keeps the last time of each channel, so that
    a row that goes back in time is told, wherever the file is cut."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self._last = dict.fromkeys(self.names, -math.inf)
        self.malformed = 0

    def parse(self, data: bytes) -> dict[str, ChannelReadings]:
        """Every channel's readings in `data`, which ends with a line feed (or is empty)."""
        import numpy as np

        found = None if len(data) < _FEW else self._fast(data)
        if found is None:
            found = self._slow(data)
        out: dict[str, ChannelReadings] = {}
        for name in self.names:
            time_s, reading = found[name]
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

    def _fast(self, data: bytes) -> dict[str, tuple[Any, Any]] | None:
        """With pandas' parser; None where a row is not three plain cells."""
        import numpy as np
        import pandas as pd

        lines = _count(data, b"\n")
        if _count(data, b",") != 2 * lines or b'"' in data:
            return None
        try:
            table = pd.read_csv(
                io.BytesIO(data), header=None, names=["time_s", "channel", "reading"],
                dtype={"time_s": np.float64, "channel": "category",
                       "reading": np.float64},
                na_filter=False, skip_blank_lines=False, index_col=False, engine="c",
                **_exact(pd.__version__),
            )
        except (ValueError, OverflowError, UnicodeDecodeError):
            return None
        if len(table) != lines:
            return None
        time_s = table["time_s"].to_numpy()
        reading = table["reading"].to_numpy()
        if not (np.isfinite(time_s).all() and np.isfinite(reading).all()):
            return None
        channel = table["channel"].cat
        if not set(channel.categories) <= set(self.names):
            return None
        if len(self.names) == 1:
            return {self.names[0]: (time_s, reading)}
        codes, known = channel.codes.to_numpy(), list(channel.categories)
        found = {}
        for name in self.names:
            code = known.index(name) if name in known else -1
            mine = np.flatnonzero(codes == code)
            found[name] = (time_s[mine], reading[mine])
        return found

    def _slow(self, data: bytes) -> dict[str, tuple[npt.NDArray[np.float64], Any]]:
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
        return {n: (np.array(t, dtype=float), np.array(r, dtype=float))
                for n, (t, r) in columns.items()}


def _count(data: bytes, what: bytes) -> int:
    """How often one byte is in it; in pieces that stay in cache twice as fast as bytes.count."""
    import numpy as np

    codes, piece = np.frombuffer(data, np.uint8), 1 << 16
    return sum(
        int(np.count_nonzero(codes[k : k + piece] == what[0])) for k in range(0, len(codes), piece)
    )


def _exact(version: str) -> dict[str, Any]:
    """The option that makes pandas read numbers to the last bit, as `float` does, so that a piece
    read here equals one read line by line; from 3.1 on it always does and warns at the option."""
    parts = re.findall(r"[0-9]+", version)[:2]
    return {"float_precision": "round_trip"} if [int(p) for p in parts] < [3, 1] else {}


def parse_events(data: bytes) -> tuple[tuple[Event, ...], int]:
    """The events in whole rows, and how many rows were malformed."""
    found, malformed = [], 0
    for cells in _rows(data):
        if len(cells) != 6 or not cells[2]:
            malformed += 1
            continue
        time_s, value = _number(cells[0]), _number(cells[4]) if cells[4] else None
        if time_s is None or (cells[4] and value is None):
            malformed += 1
            continue
        found.append(Event(time_s, cells[1], cells[2], cells[3], value, cells[5]))
    return tuple(found), malformed


def parse_clock(data: bytes, names: Sequence[str]) -> tuple[tuple[ClockRow, ...], int]:
    """The clock's rows, and how many rows were malformed."""
    found, malformed = [], 0
    for cells in _rows(data):
        time_s = _number(cells[0]) if cells else None
        counts = cells[2:]
        if time_s is None or len(counts) != 2 * len(names) or not all(
            c.isascii() and c.isdigit() and len(c) < 16 for c in counts
        ):
            malformed += 1
            continue
        values = [int(c) for c in counts]
        found.append(ClockRow(
            time_s, cells[1], dict(zip(names, values[::2], strict=True)),
            dict(zip(names, values[1::2], strict=True)),
        ))
    return tuple(found), malformed


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
