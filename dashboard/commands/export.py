"""Readings as one table in SI for spreadsheets and other programs."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.errors import CallFault

if TYPE_CHECKING:
    from logger.session_types import Event

ROWS_AT_ONCE = 50_000
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write_readings(session: str | os.PathLike[str], file: str | os.PathLike[str]) -> None:
    """Write `time_s` and one column a channel, named with its SI unit; an empty cell: no reading.

    The zero in force at a reading's time is applied (the sensors file's, or one set while
    recording).  Raises SessionFault for the session, CallFault for the file.
    """
    import numpy as np

    from logger.session import open_session, read_all

    info = open_session(session)
    target = Path(file)
    if target.resolve().is_relative_to(Path(session).resolve()):
        raise CallFault(
            target, "lies in the session, which nobody may change", "write it somewhere else"
        )
    block = read_all(session)
    columns: list[tuple[str, Any, Any]] = []
    for channel in info.sensors.channels:
        rows = block.readings.get(channel.name)
        if rows is None or not len(rows.time_s):
            empty = np.empty(0)
            columns.append((_head(channel), empty, empty))
            continue
        zero = np.full(len(rows.time_s), channel.zero)
        for time_s, value in zeros(block.events, channel.name):
            zero[rows.time_s >= time_s] = value
        columns.append((_head(channel), rows.time_s, channel.si(rows.reading, zero)))
    try:
        with target.open("w", encoding="utf-8", newline="") as out:
            _write(out, columns)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(target, f"cannot be written ({reason})", "give another --csv") from None


def zeros(events: Iterable[Event], channel: str) -> list[tuple[float, float]]:
    """(from time_s on, zero) as the analysis takes them: undoing a zero tells the one that holds again."""
    return [
        (event.time_s, event.value)
        for event in events
        if event.kind in ("zero", "undo") and event.channel == channel and event.value is not None
    ]


def safe(text: str) -> str:
    """The text as a cell that no spreadsheet takes for a formula."""
    return "'" + text if text.startswith(FORMULA) else text


def _head(channel: Any) -> str:
    return safe(f"{channel.name} [{'N' if channel.quantity == 'force' else 'm'}]")


def _write(out: Any, columns: list[tuple[str, Any, Any]]) -> None:
    import numpy as np

    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time_s", *(head for head, _, _ in columns)])
    # a channel may have several readings at one time: the k-th of each go on the k-th row of it
    keys = [_keys(times) for _, times, _ in columns]
    every = np.unique(np.concatenate(keys)) if keys else np.empty(0)
    places = [np.searchsorted(every, k) for k in keys]
    for start in range(0, len(every), ROWS_AT_ONCE):
        part = every[start : start + ROWS_AT_ONCE]
        cells = [["" for _ in part] for _ in columns]
        for column, (place, (_, _, values)) in enumerate(zip(places, columns, strict=True)):
            low, high = np.searchsorted(place, [start, start + ROWS_AT_ONCE])
            for k, value in zip(place[low:high] - start, values[low:high], strict=True):
                cells[column][k] = f"{value:.9g}"
        times = [f"{t:.6f}" for t in part["time_s"]]
        writer.writerows(zip(times, *cells, strict=True))


def _keys(times: Any) -> Any:
    """(time_s, how many readings of the same time came before), as a sortable structured array."""
    import numpy as np

    result = np.zeros(len(times), dtype=[("time_s", "f8"), ("again", "i8")])
    result["time_s"] = times
    if len(times):
        index = np.arange(len(times))
        first = np.r_[True, times[1:] != times[:-1]]
        result["again"] = index - np.maximum.accumulate(np.where(first, index, 0))
    return result
