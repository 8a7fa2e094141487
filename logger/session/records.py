"""What a session holds, as plain values."""

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

    time_s: float
    id: str
    kind: str
    channel: str
    value: float | None
    text: str


@dataclass(frozen=True)
class ChannelReadings:
    """Readings of one channel: time_s (n, not decreasing) and reading (n, in its unit)."""

    time_s: npt.NDArray[np.float64]
    reading: npt.NDArray[np.float64]


@dataclass(frozen=True)
class ClockRow:
    """How far the recording was at time_s: each channel's readings and drops so far."""

    time_s: float
    utc: str
    readings: dict[str, int]
    drops: dict[str, int]


@dataclass(frozen=True)
class Block:
    """A piece of a session, or all of it.  readings: every channel of the session, with empty
    arrays where there is nothing; malformed: rows that could not be read and are left out."""

    readings: dict[str, ChannelReadings]
    events: tuple[Event, ...] = ()
    clock: tuple[ClockRow, ...] = ()
    malformed: int = 0


@dataclass(frozen=True)
class SessionInfo:
    """A session as its folder says.  state: growing, cut short, sealed or changed; rigs: from
    which time on which rig file holds, the first from the start."""

    path: Path
    descriptor: dict[str, Any]
    state: str
    started_at: str
    sensors: Sensors
    rig_text: str
    rig_file: Path
    simulation_true: dict[str, Any] | None = None
    rigs: tuple[tuple[float, Path], ...] = field(default=())
