"""A stroke, and its computation from the sums and the distance profile of a `StrokeAccumulator`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signals.time_cells import RATE, Floats
from analysis.strokes.distance_profile import profiles
from analysis.strokes.steady_part import Steady, steady
from analysis.strokes.stroke_accumulator import StrokeAccumulator
from analysis.strokes.stroke_details import NO_DETAILS, StrokeDetails, stroke_details

# share of the travel with a force, below which silences of a cell are not filled; chosen by us: less of a stroke shows
# no mean force of it
LEAST_HEARD = 0.2


@dataclass(frozen=True)
class Stroke:
    """Rope hauled, or given back under tension, between two changes of direction."""

    direction: str  # "haul" or "lower"
    start_s: float  # its beginning, behind a pause under tension
    end_s: float  # when the rope was furthest
    haul_travel_m: float  # rope at the haul, positive in both directions
    load_travel_m: float | None  # load travel likewise; None without a load counter
    work_J: float  # integral of the haul force over its travel, with silences filled
    out_J: tuple[
        float, ...
    ]  # (f,) integral of each channel's force over the load's travel, likewise
    mean_force_N: float | None  # of the haul cell over the steady part
    peak_force_N: float  # of the haul cell
    peak_s: float  # time of the peak
    steady: Steady | None  # its steady part; None where there is none
    growing: bool = False  # whether the stroke goes on
    rig: int = 0  # index of the session's rig
    slack_m: float = 0.0  # rope that came in just before the tension
    load_rest_m: float | None = None  # load travel likewise, from rest to rest
    sunk_m: tuple[
        float, ...
    ] = ()  # rope given back between its furthest place and the load's rest, at each of REST_LAGS
    filled_J: float = 0.0  # what of work_J fills silences of the haul cell
    filled_out_J: tuple[float, ...] = ()  # (f,) what of out_J fills silences of each channel
    lagged_J: tuple[
        tuple[float, ...], ...
    ] = ()  # (1 + f, lags) work at each of WORK_LAGS without silences, J: haul cell over rope, then each channel over load
    details: StrokeDetails = NO_DETAILS  # take-up, break-away, drift, unfollowed rope


def strokes_of(
    grown: Sequence[StrokeAccumulator], ratio: float, counted: bool, growing: bool, rig: int
) -> list[Stroke]:
    """Compute strokes from accumulators.

    ratio: rope at the haul / load travel; counted: whether there is a load counter; growing: whether they
    go on; rig: index of the session's rig.
    """
    if not grown:
        return []
    table = profiles(
        [a.sums.rows for a in grown],
        [a.sums.tops for a in grown],
        [a.sums.block_m for a in grown],
        [a.travel / max(a.rope_cells, 1) for a in grown],
        [counted and a.by_load for a in grown],
    )
    means = steady(table, ratio, counted)
    details = stroke_details(table, ratio, counted, means)
    filled = [_filled_J(a, counted) for a in grown]
    return [
        Stroke(
            direction="haul" if a.sign > 0 else "lower",
            start_s=a.begin / RATE,
            end_s=(a.last + 1) / RATE,
            haul_travel_m=a.travel,
            load_travel_m=a.sign * (a.load_best - a.load0) if counted else None,
            slack_m=a.slack,
            sunk_m=a.sunk_m,
            load_rest_m=a.load_top - a.sign * a.load_rest if counted else None,
            work_J=float(a.sign * a.sums.work_best[0]) + fill[0],
            out_J=tuple((a.sign * a.sums.out_best + fill[1]).tolist()),
            filled_J=fill[0],
            filled_out_J=tuple(fill[1].tolist()),
            lagged_J=tuple(map(tuple, (a.sign * a.sums.lagged_best).tolist())) if counted else (),
            mean_force_N=None if mean is None or math.isnan(mean.force_N[0]) else mean.force_N[0],
            peak_force_N=a.peak,
            peak_s=(a.peak_cell + 0.5) / RATE,
            steady=mean,
            growing=growing,
            rig=rig,
            details=detail,
        )
        for a, mean, detail, fill in zip(grown, means, details, filled, strict=True)
    ]


def _filled_J(grown: StrokeAccumulator, counted: bool) -> tuple[float, Floats]:
    """Work during silences of the force channels: of the team, J, and by each channel on the load, (f,), J.

    A silent cell measures no work, and the rope goes on, so the mean force of the rest of the stroke counts there.  Where
    less than LEAST_HEARD of the travel has a force, nothing is filled.
    """
    sums = grown.sums
    travels = np.array([grown.travel, grown.sign * (grown.load_best - grown.load0)])
    silent = grown.sign * sums.silent_best
    if not silent.any():
        return 0.0, np.zeros(len(sums.work))
    heard = travels[:, None] - silent
    some = heard > LEAST_HEARD * np.abs(travels[:, None])
    share = np.where(some, silent / np.where(some, heard, 1.0), 0.0)
    out = share[1] * grown.sign * sums.out_best if counted else np.zeros(len(sums.work))
    return float(share[0, 0] * grown.sign * sums.work_best[0]), out
