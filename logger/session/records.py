"""Defines the records of a session: events, readings, clock rows and what its folder says."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.channels.channel import Sensors

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True)
class Event:
    """One row of events.csv."""

    time_s: float  # s since the recording started
    id: str  # of the request that it answers, or "r" and a number
    kind: str  # e.g. "mark", "zero", "alarm", "disk"
    channel: str  # name of the channel that it is about; "" for none
    value: float | None  # in the channel's unit, or s, bytes, a count or %, by kind; None: no value
    text: str  # one line, in words; "" for none


@dataclass(frozen=True)
class ChannelReadings:
    """Readings of one channel."""

    time_s: npt.NDArray[np.float64]  # (n) s since the recording started, not decreasing
    reading: npt.NDArray[np.float64]  # (n) readings as sent, in the channel's unit


@dataclass(frozen=True)
class ClockRow:
    """One row of clock.csv: how many readings each channel has brought and lost so far."""

    time_s: float  # s since the recording started
    utc: str  # the computer's clock, RFC 3339
    readings: dict[str, int]  # readings so far, by channel
    drops: dict[str, int]  # lost readings so far, by channel


@dataclass(frozen=True)
class Block:
    """A piece of a session, or all of it."""

    readings: dict[str, ChannelReadings]  # by channel, every channel of the session, n may be 0
    events: tuple[Event, ...] = ()  # in the order of the file
    clock: tuple[ClockRow, ...] = ()  # in the order of the file
    malformed: int = 0  # rows that could not be read and are left out


@dataclass(frozen=True)
class SessionInfo:
    """What a session folder says about its session, without the rows."""

    path: Path  # the folder
    descriptor: dict[str, Any]  # datapackage.json
    state: str  # "growing", "cut short", "sealed" or "changed"; "" if not judged
    started_at: str  # RFC 3339, UTC
    sensors: Sensors  # channels, from the session's copy of the sensors file
    rig_text: str  # text of the first rig file
    rig_file: Path  # the session's copy of it
    simulation_true: dict[str, Any] | None = None  # true values of a simulation; None: a real haul
    rigs: tuple[tuple[float, Path], ...] = field(default=())  # (s from which it holds, rig file)
