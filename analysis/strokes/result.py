"""What the analyser says of all that was pushed."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.messages.message import Message
from analysis.signals.channel_roles import Roles
from analysis.signals.lag_from_ripple import ChannelLag
from analysis.strokes.derived_events import Found
from analysis.strokes.rig_changes import RigSpan
from analysis.strokes.segmentation import Reset
from analysis.strokes.stroke import Stroke
from logger.session.records import Event


@dataclass(frozen=True)
class Summary:
    """One channel: readings, their first and last time, highest value (SI) and its time, drops;
    late: out of order, not used; bad: no finite number; restarts: of a counter."""

    readings: int
    first_s: float | None
    last_s: float | None
    highest: float | None
    highest_s: float | None
    dropped: int
    late: int
    bad: int
    restarts: int


@dataclass(frozen=True)
class Result:
    """All that is known of what was pushed.

    strokes in order, the growing one last; found: derived events, in order of time; events: rows
    of events.csv; noise_N: standard deviation of the haul force over 1/32 s; floor_N: forces
    below it are taken for none; ran_back_m: the load's way back while nobody pulled.
    """

    roles: Roles
    start_s: float
    end_s: float
    channels: dict[str, Summary]
    strokes: tuple[Stroke, ...]
    resets: int
    found: tuple[Found, ...]
    events: tuple[Event, ...]
    noise_N: float | None
    floor_N: float
    highest_N: float | None
    steady_N: float | None
    ran_back_m: float
    unknown: tuple[str, ...]  # channels that the sensors file does not have
    untold: int  # events beyond what is kept
    rigs: tuple[RigSpan, ...] = ()  # Stroke.rig counts them; the first holds from the beginning
    notes: tuple[Message, ...] = ()  # warnings
    reset_facts: tuple[Reset, ...] = ()  # each reset, in order
    lag_s: float | None = None  # + where the rope counter is later than the haul cell
    lag_u_s: float | None = None
    lag_why_not: Message | None = None  # where it is not known
    lag_share: float = 0.0  # standard uncertainty of mean forces by the lag, share of them
    lags: tuple[ChannelLag, ...] = ()  # per force channel of the roles
    mean_N: float | None = None  # of all readings of the haul cell
