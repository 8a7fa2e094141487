"""Makes all parts of the home page for the folder as it is now, as plain values."""

from __future__ import annotations

import time
from dataclasses import dataclass
from urllib.parse import quote

from dashboard.desk.chosen import chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import SensorsFile, SessionEntry, files_in, running, sessions
from dashboard.desk.strip import session_address
from dashboard.desk_server.next_step import NextStep, next_step
from dashboard.desk_server.rig_cards import RigCard, rig_card
from dashboard.desk_server.virtual_devices import virtual_missing
from dashboard.live.session_hub import Hub, sessions_in
from dashboard.sessions_page.folder_library import Library
from dashboard.text.local_time import local_time
from dashboard.text.units import Units, percent, plus_minus
from logger.channels.channel import Channel
from logger.session.descriptor import SUMS

MOST_NOW = 4  # numbers beside the next step while a haul is recorded; chosen by us: the button stays on a phone's screen
MOST_SESSIONS = 5  # on the home page; /sessions/ lists all
# after the end of a haul, in which its result comes before the next one; chosen by us: the crew still stands there
JUST_OVER_S = 900.0
STALE_S = 2.0  # a live number older than this is not shown as one; chosen by us: slower than any device here

Tracks = dict[
    str, tuple[Channel, str]
]  # channel and its number with its unit, by the channel's name


@dataclass(frozen=True)
class ChannelLine:
    """One channel of a sensors file."""

    name: str  # of the channel
    what: str  # force or length, and where
    value: str  # its number now with its unit; "" where nothing is recorded


@dataclass(frozen=True)
class SensorsLine:
    """One sensors file."""

    name: str  # of the file
    channels: tuple[ChannelLine, ...]  # empty where the file is at fault
    fault: str  # what is wrong; "" for nothing
    on: bool  # whether the next haul is with it


@dataclass(frozen=True)
class SessionLine:
    """One session."""

    name: str  # of its folder
    title: str  # of its rig
    started: str  # local time
    state: str  # growing, sealed ...
    advantage: str  # measured, with U95; a word where it isn't known
    worst: str  # worst share of a limit; a word where it isn't known
    over: bool  # whether a limit was passed
    growing: bool  # whether it is being recorded, so that it has no figures yet
    live: str  # address of its live page
    review: str  # address of its review


@dataclass(frozen=True)
class HomeView:
    """The home page for one state of the folder."""

    folder: str  # name of the folder
    step: NextStep  # what to do next
    now: tuple[
        ChannelLine, ...
    ]  # what the haul that is being recorded shows, those at the haul first
    rigs: tuple[RigCard, ...]  # of the folder
    sensors: tuple[SensorsLine, ...]  # of the folder
    sessions: tuple[SessionLine, ...]  # the newest
    more_sessions: int  # that are not in the list
    odd: tuple[tuple[str, str], ...]  # (file, fault) of files that are neither rig nor sensors


def home_view(desk: Desk, library: Library, hub: Hub, stand: bool = False) -> HomeView:
    """The page for the folder as it is now.  stand: whether this desk's virtual devices send."""
    files = files_in(desk.folder)
    now = chosen(desk, files)
    session = running(desk.folder)
    library.look()
    newest = sessions(desk.folder, MOST_SESSIONS)
    devices = "stand" if stand else "missing" if virtual_missing(desk) else ""
    step = next_step(
        files, now, session, newest[0].name if newest else None, devices,
        bool(newest) and _just_over(newest[0]),
    )  # fmt: skip
    tracks = {} if session is None else _tracks(session, hub, desk.units)
    at_haul_first = sorted(tracks.values(), key=lambda one: one[0].at != "haul")[:MOST_NOW]
    return HomeView(
        folder=desk.folder.name,
        step=step,
        now=tuple(ChannelLine(one.name, _what(one), value) for one, value in at_haul_first),
        rigs=tuple(
            rig_card(one, now.rig == one, desk.units)
            for one in sorted(files.rigs, key=lambda one: one != now.rig)
        ),
        sensors=tuple(_sensors_line(one, one == now.sensors, tracks) for one in files.sensors),
        sessions=tuple(_session(one, library, desk.units) for one in newest),
        more_sessions=max(0, len(sessions_in(desk.folder)) - len(newest)),
        odd=tuple((one.name, one.fault) for one in files.odd),
    )


def _just_over(last: SessionEntry) -> bool:
    """Whether a session was sealed a short time ago."""
    try:
        sealed_s = (last.path / SUMS).lstat().st_mtime
    except OSError:  # not sealed, or gone
        return False
    return 0 <= time.time() - sealed_s < JUST_OVER_S


def _sensors_line(file: SensorsFile, on: bool, tracks: Tracks) -> SensorsLine:
    channels = () if file.sensors is None else file.sensors.channels
    lines = tuple(
        ChannelLine(one.name, _what(one), _value_now(one, tracks) if on else "") for one in channels
    )
    return SensorsLine(file.name, lines, file.fault, on)


def _value_now(channel: Channel, tracks: Tracks) -> str:
    """The number of a channel of a file, if it is the one that is being recorded; "" otherwise."""
    recorded, value = tracks.get(channel.name, (None, ""))
    if recorded is None:
        return ""
    same = all(
        getattr(recorded, key) == getattr(channel, key) for key in ("port", "quantity", "at")
    )
    return value if same else ""


def _what(channel: Channel) -> str:
    return f"{channel.quantity} at {channel.at}"


def _tracks(session: str, hub: Hub, units: Units) -> Tracks:
    """The channels of a session that is being recorded, each with its number, "no reading" for a silent one."""
    watch = hub.get(session)
    if watch is None:
        return {}
    now_s = watch.time_s()
    out = {}
    for name, track in watch.live.tracks.items():
        fresh = track.last_s is not None and now_s - track.last_s <= STALE_S
        write = units.force if track.channel.quantity == "force" else units.length
        out[name] = (track.channel, write(track.value) if fresh else "no reading")
    return out


def _session(one: SessionEntry, library: Library, units: Units) -> SessionLine:
    row = library.row(one.name)
    growing = one.state == "growing"
    advantage = worst = "being recorded" if growing else "is read now"
    over = False
    if row is not None and not growing:
        advantage = worst = "not known"
        if row["fault"]:
            advantage = worst = "cannot be reviewed"
        if row["actual_ma"] is not None:
            advantage = f"{plus_minus(row['actual_ma'], row['actual_ma_U95'])} : 1"
        if row["highest_use"] is not None:
            worst = percent(row["highest_use"])
            over = row["highest_use"] > 1
    return SessionLine(
        name=one.name, title=one.title, started=local_time(one.started_at) or one.started_at,
        state=one.state, advantage=advantage, worst=worst, over=over, growing=growing,
        live=session_address(one.name), review=f"/result/{quote(one.name, safe='')}/",
    )  # fmt: skip
