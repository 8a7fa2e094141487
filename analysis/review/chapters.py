"""Divides a session into chapters, one for each rig, each with the measurement of its own strokes.

A `rig` event begins a chapter.  Strokes, resets, peaks, limits and prediction of a chapter are those of its
rig; the load's progress runs through all chapters in one line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from analysis.efficiency.calibration_range_check import uncalibrated
from analysis.efficiency.estimate import Estimates, estimate
from analysis.efficiency.load_from_other_session import (
    EarlierSession,
    estimator_from_earlier_session,
)
from analysis.efficiency.verdict import Agreement, agreement, changes
from analysis.mechanics.model import Model, model
from analysis.review.force_bounds import ForceBounds
from analysis.review.peaks import LoadNeed, Peak, chapter_peaks, need_before, needs
from analysis.rig.rig import Rig
from analysis.strokes.lag_correction import RigLags
from analysis.strokes.load_travel import by_rope
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import NOTHING_READ, in_order

# speed only: the models of a session's rigs are kept between reviews while it grows
CACHED_RIGS = 16


@dataclass(frozen=True)
class Chapter:
    """A part of a session with one rig."""

    number: int  # its index among the session's chapters
    name: str  # file of the rig in the session's folder
    from_s: float  # time from which the rig was in use; 0 for the first chapter
    to_s: float  # time of the next `rig` event, or end of the session
    rig: Rig  # the rig
    rig_model: Model  # its model
    result: Result  # of the session, with strokes, resets, events and highest values of this chapter alone
    estimates: Estimates  # the measured values
    agreement: Agreement  # measured against predicted
    strokes: tuple[int, ...]  # indices of its strokes among those of the session
    load_from_m: float | None  # load's net way since the session began, at from_s; None: not known
    load_to_m: float | None  # the same at to_s
    peaks: tuple[Peak, ...]  # highest force on every part
    rest: tuple[LoadNeed, ...]  # load needs, of the last stroke before and of its own

    @property
    def first_s(self) -> float:
        """First whole second of its readings; -inf for the first chapter."""
        return math.ceil(self.from_s) if self.number else -math.inf


@dataclass(frozen=True)
class SessionTotals:
    """Travel and work of all haul strokes of a session; None where they were not measured."""

    haul_m: float | None  # rope at the haul
    load_m: float | None  # load travel
    method: str  # of load_m: counter or model
    in_J: float | None  # work of the team
    out_J: float | None  # work done on the load


def chapters(
    rig: Rig, rig_model: Model, result: Result, before: EarlierSession | None = None
) -> tuple[Chapter, ...]:
    """The chapters of a session in order of time.

    rig, rig_model: of the first; before: a session that gives the load force.
    """
    order = in_order(result.rigs) or [0]
    made: list[Chapter] = []
    need: LoadNeed | None = None
    for number, k in enumerate(order):
        span = result.rigs[k] if result.rigs else None
        own_rig = rig if span is None or span.rig is None else span.rig
        own_model = rig_model if own_rig is rig else _model(own_rig)
        from_s = 0.0 if span is None or not made else max(span.time_s, made[-1].from_s)
        to_s = result.end_s
        if number + 1 < len(order):
            to_s = max(from_s, result.rigs[order[number + 1]].time_s)
        own, numbers = _own(result, k, from_s, to_s)
        given = estimator_from_earlier_session(before, own) if before is not None else None
        estimates = estimate(own_rig, own_model, own, given)
        own_needs = needs(own_model, own, estimates)
        first_need = need_before(need, own, from_s)
        load_from_m = made[-1].load_to_m if made else 0.0
        made.append(
            Chapter(
                number=number,
                name=span.name if span is not None and made else Path(rig.file).name,
                from_s=from_s,
                to_s=to_s,
                rig=own_rig,
                rig_model=own_model,
                result=own,
                estimates=estimates,
                agreement=agreement(
                    own_model,
                    estimates.actual_ma,
                    estimates.method,
                    changes(list(own.strokes)),
                    [*uncalibrated(own)],
                    estimates.refused,
                ),
                strokes=numbers,
                load_from_m=load_from_m,
                load_to_m=_load_to_m(own, k, load_from_m),
                peaks=chapter_peaks(force_bounds(own_model), own, own_needs, first_need, number),
                rest=(*([first_need] if first_need else []), *own_needs),
            )
        )
        need = own_needs[-1] if own_needs else need
    return tuple(made)


@lru_cache(maxsize=CACHED_RIGS)
def _model(rig: Rig) -> Model:
    """The model of a rig that was built during a session."""
    return model(rig)


@lru_cache(maxsize=CACHED_RIGS)
def force_bounds(rig_model: Model) -> ForceBounds:
    """What the parts of a rig carry at most."""
    return ForceBounds(rig_model)


def _own(result: Result, k: int, from_s: float, to_s: float) -> tuple[Result, tuple[int, ...]]:
    """The result with what belongs to rig k alone, and the indices of its strokes.

    from_s, to_s: time in which it was in use.
    """
    if len(result.rigs) < 2:
        return result, tuple(range(len(result.strokes)))
    numbers = tuple(i for i, s in enumerate(result.strokes) if s.rig == k)
    lags = result.rig_lags[k] if k < len(result.rig_lags) else RigLags()
    read = result.read[k] if k < len(result.read) else NOTHING_READ
    channels = {}
    for name, summary in result.channels.items():
        highest, highest_s = read.highest.get(name, (None, None))
        channels[name] = replace(summary, highest=highest, highest_s=highest_s)
    own = replace(
        result,
        strokes=tuple(result.strokes[i] for i in numbers),
        roles=result.rigs[k].roles,
        reset_list=tuple(r for r in result.reset_list if r.rig == k),
        channels=channels,
        read=(read,),
        rig_lags=(lags,),
        lags=lags.lags,
        work_lags=lags.work,
        lowering_lags=lags.lowering_lags,
        derived_events=tuple(
            e for e in result.derived_events
            if e.time_s < to_s and (e.end_s is None or e.end_s > from_s)
        ),
    )  # fmt: skip
    return replace(own, resets=len(own.reset_list)), numbers


def _load_to_m(own: Result, k: int, load_from_m: float | None) -> float | None:
    """The load's net way at the end of a chapter, m; None where it is not known.

    own: the result of the chapter; k: index of its rig; load_from_m: the net way at its beginning.
    """
    load = own.roles.load_length
    if load is not None and own.channels[load.name].readings > 0:
        read = own.read[0].load_m if own.read else None
        return load_from_m if read is None else read
    travel = by_rope(own)
    if load_from_m is None or travel.net_m is None:
        return None
    return load_from_m + travel.net_m


def session_totals(every: Sequence[Chapter]) -> SessionTotals:
    """Travel and work over all chapters; a chapter without a haul stroke adds nothing."""
    hauled = [c for c in every if any(s.direction == "haul" for s in c.result.strokes)]
    first = every[0].estimates
    if not hauled:
        return SessionTotals(
            haul_m=first.totals.haul_m,
            load_m=first.totals.load_m,
            method=first.totals.method,
            in_J=first.totals.in_J,
            out_J=first.work_out_J,
        )
    each = [c.estimates.totals for c in hauled]
    return SessionTotals(
        haul_m=_sum([t.haul_m for t in each]),
        load_m=_sum([t.load_m for t in each]),
        method=each[0].method,
        in_J=_sum([t.in_J for t in each]),
        out_J=_sum([c.estimates.work_out_J for c in hauled]),
    )


def _sum(values: Sequence[float | None]) -> float | None:
    """The sum; None where a value is missing."""
    present = [v for v in values if v is not None]
    return sum(present) if len(present) == len(values) else None
