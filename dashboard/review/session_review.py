"""One session as its review page needs it: the review, what if, and any window of the readings.

Read once, then only what is new.  The same analyser and `review_all` as `haul review` and the live
page, so that all three say the same.  Reads only: nothing here changes a session or a rig file.
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

AGAIN_S = 1.0  # a growing session is looked at no more often
MOST_FORCES = 4  # channels in the plot of forces
MOST_MARKS = 500
KEPT = 16  # what-ifs whose answer is kept
MOST_OPEN = 2  # sessions whose readings are kept: 16 bytes a reading


@dataclass(frozen=True, eq=False)
class ReviewNow:
    """A session as reviewed at one moment; rig, rig_model, estimates: the rig that it shows (the session may
    have had several), its model, the quantities with their budgets.

    reviewed: the review.
    otherwise: what was taken otherwise than recorded.
    """

    reviewed: Reviewed
    otherwise: tuple[Message, ...] = ()

    @property
    def info(self) -> SessionInfo:
        return self.reviewed.info

    @property
    def result(self) -> Result:
        return self.reviewed.result

    @property
    def rig(self) -> Rig:
        return self.reviewed.main.rig

    @property
    def rig_model(self) -> Model:
        return self.reviewed.main.rig_model

    @property
    def estimates(self) -> Estimates:
        return self.reviewed.main.estimates

    @property
    def review(self) -> dict[str, Any]:
        """The object of `haul review --json`."""
        return self.reviewed.json

    @cached_property
    def _marked(self) -> tuple[list[float], list[str]]:
        rows = [
            (e["time_s"], str(k))
            for k, e in enumerate(self.review["events"], 1)
            if e["kind"] in MARKED
        ]
        return [t for t, _ in rows], [k for _, k in rows]

    def marks(self, begin_s: float, end_s: float) -> list[tuple[float, str]]:
        """(time_s, number in the list of events) of what the plots mark between two times, in order;
        of very many, evenly chosen ones."""
        times, numbers = self._marked
        found = range(bisect_left(times, begin_s), bisect_right(times, end_s))
        return [(times[k], numbers[k]) for k in found[:: 1 + len(found) // MOST_MARKS]]

    @cached_property
    def resets(self) -> list[tuple[float, float]]:
        """From and to of each reset, s."""
        return [
            (e["time_s"], self.result.end_s if e["end_s"] is None else e["end_s"])
            for e in self.review["events"] if e["kind"] == "reset"
        ]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Shown:
    """A channel in the plots.  name: as it is written beside the line."""

    name: str
    quantity: str
    series: Series


class SessionReview:
    """path: a session; rigs: files that a what-if may take.  Raises UserFault where it cannot be read."""

    def __init__(self, path: Path, rigs: Sequence[Path] = ()) -> None:
        self.path, self.rigs = path, tuple(rigs)
        self.lock = threading.RLock()
        self._due = -math.inf
        self._start()

    def _start(self) -> None:
        self.version = 0
        self._stamp: object = None
        self.info = open_session(self.path)
        self.rig = parse_rig(self.info.rig_text, str(self.info.rig_file))
        self.roles: Roles = roles(self.rig, self.info.sensors)
        self._analyser = Analyser(roles=self.roles, later=rigs_of(self.path, self.info.sensors))
        self._follower = Follower(self.path)
        self._malformed = 0
        self._now: ReviewNow | None = None
        self._others: OrderedDict[object, ReviewNow] = OrderedDict()
        self.forces = [Shown(c.name, "force", Series(c)) for c in self.roles.forces[:MOST_FORCES]]
        self.rope = self.load = None
        known = self.roles
        if known.progress is not None:
            name = "rope at the haul"
            if known.progress is not known.haul_length:
                name += f", from {known.progress.name}"
            self.rope = Shown(name, "length", Series(known.progress, known.progress_gain))
        if known.load_length is not None:
            self.load = Shown("load", "length", Series(known.load_length))
        self.series = [*self.forces, *(s for s in (self.rope, self.load) if s is not None)]

    # -- reading -------------------------------------------------------------------------------
    def refresh(self) -> None:
        """Take up what is new in the folder; cheap where nothing is.  Raises SessionFault."""
        with self.lock:
            mono_s = time.monotonic()
            if mono_s < self._due:
                return
            stamp = self._seen()
            if stamp == self._stamp and self.info.state != "growing":
                return
            try:
                self._take(self._follower.read())
                self.info = open_session(self.path)
            except UserFault:
                if self._stamp is None:
                    raise
                self._start()  # another session lies there, or its files became shorter
                self._take(self._follower.read())
            self._stamp = stamp
            self._due = time.monotonic() + AGAIN_S if self.info.state == "growing" else -math.inf

    def _seen(self) -> object:
        marks: list[object] = []
        for name in ("datapackage.json", "readings.csv", "events.csv", "SHA256SUMS"):
            try:
                found = (self.path / name).stat()
                marks += [found.st_size, found.st_mtime_ns, found.st_ino]
            except OSError:
                marks.append(None)
        return tuple(marks)

    def _take(self, block: Block) -> None:
        for event in block.events:
            if event.kind in ("zero", "undo") and event.value is not None:
                for shown in self.forces:
                    if shown.series.channel.name == event.channel:
                        shown.series.zero(event.time_s, event.value)
        for shown in self.series:
            rows = block.readings.get(shown.series.channel.name)
            if rows is not None and len(rows.time_s):
                shown.series.push(rows)
        self._malformed += block.malformed
        self._analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
        self.version += 1
        self._now = None
        self._others.clear()

    # -- what follows --------------------------------------------------------------------------
    def reviewed(self, e: float | None = None, rig: int | None = None) -> ReviewNow:
        """The review; e: what if every pulley had this efficiency; rig: what if it had been this
        one of `rigs`.  Raises UserFault, IndexError."""
        with self.lock:
            self.refresh()
            if e is None and rig is None:
                if self._now is None:
                    self._now = self._made(self.info, self.rig, self._analyser.result())
                return self._now
            key = (e, rig, self._rig_stamp(rig))
            if key not in self._others:
                self._others[key] = self._otherwise(e, rig)
                while len(self._others) > KEPT:
                    self._others.popitem(last=False)
            return self._others[key]

    def named(self, rig: int) -> str:
        """What a what-if's rig file is called: with its folder, because every session has a rig.toml."""
        return one_line("/".join(self.rigs[rig].absolute().parts[-2:]), 120)

    def _rig_stamp(self, rig: int | None) -> object:
        if rig is None:
            return None
        try:
            found = self.rigs[rig].stat()
        except OSError:
            return None
        return found.st_size, found.st_mtime_ns

    def _otherwise(self, e: float | None, rig: int | None) -> ReviewNow:
        otherwise: tuple[Message, ...] = ()
        if rig is None:
            base = self.reviewed()
        elif e is not None:
            base = self.reviewed(None, rig)
        else:
            # another rig has other strokes: everything is judged anew, from the files
            base = ReviewNow(whole_session(self.path, self.rigs[rig]).reviewed)
        if rig is not None:
            otherwise = (message("what_if_rig", rig=self.named(rig)),)
        if e is None:
            return replace(base, otherwise=otherwise)
        otherwise += (message("what_if_efficiency", efficiency=e),)
        # the session's first rig; those that were built later stand in the result
        first = base.rig if rig is not None else self.rig
        spans = tuple(
            replace(span, rig=None if span.rig is None else what_if(span.rig, e))
            for span in base.result.rigs
        )
        result = replace(base.result, rigs=spans)
        return replace(self._made(base.info, what_if(first, e), result), otherwise=otherwise)

    def _made(self, info: SessionInfo, rig: Rig, result: Result) -> ReviewNow:
        more = rows_left_out(self._malformed)
        return ReviewNow(review_all(info, rig, result, model(rig), more))

    def span(self) -> tuple[float, float]:
        """First and last second of the session, a second apart at least."""
        result = self.reviewed().result
        return result.start_s, max(result.end_s, result.start_s + 1.0)

    def peak_N(self) -> float:
        """The highest force that is shown, which chooses the unit of all."""
        tops = [self.reviewed().result.channels[s.series.channel.name].highest for s in self.forces]
        known = [abs(top) for top in tops if top is not None]
        return max(known, default=0.0)

    def travel_at(self, time_s: Any) -> Any:
        """Rope at the haul (n,) at these times, m."""
        times = np.asarray(time_s, float)
        return np.full(len(times), np.nan) if self.rope is None else self.rope.series.at(times)


class Reviews:
    """The sessions whose review pages are open; the last asked for are kept."""

    def __init__(self, rigs: Sequence[Path] = ()) -> None:
        self.rigs = tuple(rigs)
        self._lock = threading.Lock()
        self._open: OrderedDict[str, SessionReview] = OrderedDict()

    def of(self, path: Path) -> SessionReview:
        """Raises UserFault where there is no session that can be read."""
        key = str(path)
        with self._lock:
            if key not in self._open:
                self._open[key] = SessionReview(path, self.rigs)
                while len(self._open) > MOST_OPEN:
                    self._open.popitem(last=False)
            self._open.move_to_end(key)
            found = self._open[key]
        found.refresh()
        return found
