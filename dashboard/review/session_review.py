"""The data of one session for its review page: review, what-ifs, readings of any window of time.

A session is read once, then only the rows that are new.  Analyser and `review_all` are those of
`haul review` and of the live page, so that all three give the same numbers.  Nothing here changes a
session or a rig file.
"""

from __future__ import annotations

import math
import threading
import time
from bisect import bisect_left, bisect_right
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from analysis.efficiency.estimate import Estimates
from analysis.mechanics.model import Model, model
from analysis.mechanics.what_if import what_if
from analysis.messages.message import Message, message
from analysis.review.review import Reviewed, review_all, rows_left_out
from analysis.review.reviewed_session import whole_session
from analysis.review.si_series import haul_gains
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import Roles, roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import rigs_of
from dashboard.figures.session_figures import MARKED
from dashboard.review.windowed_series import Series
from logger.errors import UserFault, one_line
from logger.session.reader import Follower, open_session
from logger.session.records import Block, SessionInfo

REREAD_S = 1.0  # least time between two readings of a growing session
MOST_FORCES = 4  # channels in the plot of forces
MOST_MARKS = 500  # events marked in one plot
MOST_WHAT_IFS = 16  # whose review is kept
MOST_OPEN = 2  # sessions whose readings are kept: 16 bytes a reading


@dataclass(frozen=True, eq=False)
class ReviewNow:
    """The review of a session at one moment, of the rig that it shows: a session may have had
    several."""

    reviewed: Reviewed  # the review, by rig and as a whole
    assumptions: tuple[Message, ...] = ()  # of a what-if: what differs from the record

    @property
    def info(self) -> SessionInfo:
        """What the session's folder says about itself."""
        return self.reviewed.info

    @property
    def result(self) -> Result:
        """Strokes, resets and events of the session."""
        return self.reviewed.result

    @property
    def rig(self) -> Rig:
        """The rig that the review shows."""
        return self.reviewed.main.rig

    @property
    def rig_model(self) -> Model:
        """The model of that rig."""
        return self.reviewed.main.rig_model

    @property
    def estimates(self) -> Estimates:
        """The measured quantities of that rig with their budgets."""
        return self.reviewed.main.estimates

    @property
    def review(self) -> dict[str, Any]:
        """The object of `haul review --json`."""
        return self.reviewed.json

    @cached_property
    def _marked(self) -> tuple[list[float], list[str]]:
        """Times (s) and numbers in the list of all events that the plots mark."""
        rows = [
            (e["time_s"], str(k))
            for k, e in enumerate(self.review["events"], 1)
            if e["kind"] in MARKED
        ]
        return [t for t, _ in rows], [k for _, k in rows]

    def marks(self, begin_s: float, end_s: float) -> list[tuple[float, str]]:
        """(time_s, number in the list of events) of the events to mark between two times, in order.

        Where there are more than MOST_MARKS, every second, every third ... is returned.
        """
        times, numbers = self._marked
        inside = range(bisect_left(times, begin_s), bisect_right(times, end_s))
        return [(times[k], numbers[k]) for k in inside[:: 1 + len(inside) // MOST_MARKS]]

    @cached_property
    def resets(self) -> list[tuple[float, float]]:
        """(begin, end) of each reset, s."""
        return [
            (e["time_s"], self.result.end_s if e["end_s"] is None else e["end_s"])
            for e in self.review["events"] if e["kind"] == "reset"
        ]  # fmt: skip


@dataclass(frozen=True, eq=False)
class PlottedChannel:
    """A channel in the plots."""

    name: str  # written beside its line
    quantity: str  # force or length
    series: Series  # its readings, in SI


class SessionReview:
    """A session that is reread while it grows, its review and its what-ifs.  Safe for several
    threads.

    path: the session's folder; rigs: rig files that a what-if may take.  Raises UserFault where the
    session cannot be read.
    """

    def __init__(self, path: Path, rigs: Sequence[Path] = ()) -> None:
        self.path, self.rigs = path, tuple(rigs)
        self.lock = threading.RLock()
        self._due = -math.inf
        self._start()

    def _start(self) -> None:
        """Forget all readings and begin at the session's first row."""
        self.version = 0
        self._stamp: object = None
        self.info = open_session(self.path)
        self.rig = parse_rig(self.info.rig_text, str(self.info.rig_file))
        self.roles: Roles = roles(self.rig, self.info.sensors)
        self._analyser = Analyser(roles=self.roles, later=rigs_of(self.path, self.info.sensors))
        self._follower = Follower(self.path)
        self._malformed = 0
        self._now: ReviewNow | None = None
        self._what_ifs: OrderedDict[object, ReviewNow] = OrderedDict()
        self.forces = [
            PlottedChannel(c.name, "force", Series(c)) for c in self.roles.forces[:MOST_FORCES]
        ]
        self.rope = self.load = None
        counter = self.roles.progress
        if counter is not None:
            name = "rope at the haul"
            if counter is not self.roles.haul_length:
                name += f", from {counter.name}"
            self.rope = PlottedChannel(name, "length", Series(counter, self.roles.progress_gain))
        if self.roles.load_length is not None:
            self.load = PlottedChannel("load", "length", Series(self.roles.load_length))
        self.series = [*self.forces, *(s for s in (self.rope, self.load) if s is not None)]

    # -- reading -------------------------------------------------------------------------------
    def refresh(self) -> None:
        """Read the rows that are new in the folder; fast where there are none.  Raises
        SessionFault."""
        with self.lock:
            mono_s = time.monotonic()
            if mono_s < self._due:
                return
            stamp = self._file_stamps()
            if stamp == self._stamp and self.info.state != "growing":
                return
            try:
                self._push(self._follower.read())
                self.info = open_session(self.path)
            except UserFault:
                if self._stamp is None:
                    raise
                self._start()  # another session lies there, or its files became shorter
                self._push(self._follower.read())
            self._stamp = stamp
            self._due = time.monotonic() + REREAD_S if self.info.state == "growing" else -math.inf

    def _file_stamps(self) -> object:
        """Size, time of change and inode of each file of the session; two that are equal mean no
        change."""
        stamps: list[object] = []
        for name in ("datapackage.json", "readings.csv", "events.csv", "SHA256SUMS"):
            try:
                status = (self.path / name).stat()
                stamps += [status.st_size, status.st_mtime_ns, status.st_ino]
            except OSError:
                stamps.append(None)
        return tuple(stamps)

    def _push(self, block: Block) -> None:
        """Hand new rows to the analyser and to the plotted channels; the reviews so far are
        dropped."""
        for event in block.events:
            if event.kind in ("zero", "undo") and event.value is not None:
                for plotted in self.forces:
                    if plotted.series.channel.name == event.channel:
                        plotted.series.zero(event.time_s, event.value)
        for plotted in self.series:
            rows = block.readings.get(plotted.series.channel.name)
            if rows is not None and len(rows.time_s):
                plotted.series.push(rows)
        self._malformed += block.malformed
        self._analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
        self.version += 1
        self._now = None
        self._what_ifs.clear()

    # -- reviews ------------------------------------------------------------------------------
    def reviewed(self, e: float | None = None, rig: int | None = None) -> ReviewNow:
        """The review of the record, or of a what-if.  Raises UserFault, IndexError.

        e: efficiency of every pulley in the what-if, None: as in the rig file; rig: index in `rigs`
        of the rig file to take in place of the recorded one, None: the recorded one.
        """
        with self.lock:
            self.refresh()
            if e is None and rig is None:
                if self._now is None:
                    result = self._analyser.result()
                    if self.rope is not None and len(result.rigs) > 1:
                        self.rope.series.follow(haul_gains(result.rigs))
                    self._now = self._made(self.info, self.rig, result)
                return self._now
            key = (e, rig, self._rig_stamp(rig))
            if key not in self._what_ifs:
                self._what_ifs[key] = self._what_if(e, rig)
                while len(self._what_ifs) > MOST_WHAT_IFS:
                    self._what_ifs.popitem(last=False)
            return self._what_ifs[key]

    def named(self, rig: int) -> str:
        """Folder and file name of the rig file with this index in `rigs`.

        The folder is included because the rig of every session is called rig.toml.
        """
        return one_line("/".join(self.rigs[rig].absolute().parts[-2:]), 120)

    def _rig_stamp(self, rig: int | None) -> object:
        """Size and time of change of a rig file, so that an edited file is reviewed again."""
        if rig is None:
            return None
        try:
            status = self.rigs[rig].stat()
        except OSError:
            return None
        return status.st_size, status.st_mtime_ns

    def _what_if(self, e: float | None, rig: int | None) -> ReviewNow:
        """The review of a what-if; e, rig: as in `reviewed`."""
        assumptions: tuple[Message, ...] = ()
        if rig is None:
            base = self.reviewed()
        elif e is not None:
            base = self.reviewed(None, rig)
        else:
            # another rig has other strokes: the session is analysed again from its files
            base = ReviewNow(whole_session(self.path, self.rigs[rig]).reviewed)
        if rig is not None:
            assumptions = (message("what_if_rig", rig=self.named(rig)),)
        if e is None:
            return replace(base, assumptions=assumptions)
        assumptions += (message("what_if_efficiency", efficiency=e),)
        # the first rig of the session; later ones are in the result
        first = base.rig if rig is not None else self.rig
        spans = tuple(
            replace(span, rig=None if span.rig is None else what_if(span.rig, e))
            for span in base.result.rigs
        )
        result = replace(base.result, rigs=spans)
        return replace(self._made(base.info, what_if(first, e), result), assumptions=assumptions)

    def _made(self, info: SessionInfo, rig: Rig, result: Result) -> ReviewNow:
        """The review of an analysed session with this rig."""
        more = rows_left_out(self._malformed)
        return ReviewNow(review_all(info, rig, result, model(rig), more))

    def span(self) -> tuple[float, float]:
        """Begin and end of the session, s; at least one second apart."""
        result = self.reviewed().result
        return result.start_s, max(result.end_s, result.start_s + 1.0)

    def peak_N(self) -> float:
        """The highest force of all plotted channels: it decides the unit of force of all plots."""
        tops = [self.reviewed().result.channels[s.series.channel.name].highest for s in self.forces]
        return max((abs(top) for top in tops if top is not None), default=0.0)

    def travel_at(self, time_s: Any) -> Any:
        """Rope hauled (n,), m, at the times time_s (n,); NaN where there is no reading."""
        times = np.asarray(time_s, float)
        return np.full(len(times), np.nan) if self.rope is None else self.rope.series.at(times)


class Reviews:
    """The sessions whose review pages are open: the MOST_OPEN that were asked for last.

    rigs: rig files that a what-if may take.
    """

    def __init__(self, rigs: Sequence[Path] = ()) -> None:
        self.rigs = tuple(rigs)
        self._lock = threading.Lock()
        self._open: OrderedDict[str, SessionReview] = OrderedDict()

    def session(self, path: Path) -> SessionReview:
        """The session in this folder, with its newest rows.  Raises UserFault where it cannot be
        read."""
        key = str(path)
        with self._lock:
            if key not in self._open:
                self._open[key] = SessionReview(path, self.rigs)
                while len(self._open) > MOST_OPEN:
                    self._open.popitem(last=False)
            self._open.move_to_end(key)
            session = self._open[key]
        session.refresh()
        return session
