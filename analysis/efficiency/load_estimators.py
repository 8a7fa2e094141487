"""Ways of knowing the load force: what strokes were observed, and what gives the load's force.

A way gives the load force of an observation as a sum over the force channels plus a constant, and
what is uncertain in it.  A cell, or several together, goes before what the rig file says; of what
is left the one with the smaller uncertainty is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.efficiency.uncertainty import Component
from analysis.mechanics.model import Model
from analysis.mechanics.tension import load_row, tensions
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.signals.lag_from_ripple import ChannelLag
from analysis.signals.time_cells import Floats
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

# strokes; with fewer, pieces of strokes are the independent observations.  chosen by us: two strokes leave
# one degree of freedom, t = 12.7, three leave two, t = 4.3
FEW = 3
DRAWS = 40  # sets of efficiencies; chosen by us: far more than cells, so that what fits all fits any losses
# standard uncertainties by which two cells may differ; chosen by us: normal errors pass it once in 370
AGREE = 3.0


@dataclass(frozen=True)
class Observations:
    """Independent observations: distance_m (n,) and mean forces (n, channels), haul cell first,
    with the lags between channels allowed for; lags: per channel."""

    distance_m: Floats
    force_N: Floats
    lags: tuple[ChannelLag, ...]

    def __len__(self) -> int:
        return len(self.distance_m)

    def mean(self, channel: int) -> float:
        return float(np.average(self.force_N[:, channel], weights=self.distance_m))


@dataclass(frozen=True)
class LoadEstimator:
    """How the load force F is known.

    method: as in interface section 6; share (channels,): dF / d force of each channel; constant_N:
    what comes on top, and terms: its budget, in N.  What the constant owes to the haul cell itself
    is not in there but in same_gain_N (dF / d relative error of its scale) and same_zero (dF / d its
    zero), so that it is counted once; warnings: to be said.
    """

    method: str
    share: Floats
    constant_N: float = 0.0
    terms: tuple[Component, ...] = ()
    same_gain_N: float = 0.0
    same_zero: float = 0.0
    warnings: tuple[Message, ...] = ()

    def force(self, forces_N: Floats) -> Floats:
        """Load force (n,) for forces (n, channels)."""
        used = np.flatnonzero(self.share)
        return np.asarray(forces_N[:, used] @ self.share[used] + self.constant_N)


def observations(
    strokes: list[Stroke], lags: tuple[ChannelLag, ...] = (), few: int = FEW
) -> Observations | None:
    """Strokes with a steady part; fewer than `few` give their batches instead."""
    parts = [s.steady for s in strokes if s.steady is not None]
    if not parts:
        return None
    rows = [np.array([[p.distance_m, *p.force_N]]) for p in parts]
    if len(parts) < few:
        rows = [p.batches for p in parts]
    # as the cells sent it: what lags do is found for all strokes together
    table = np.concatenate([
        np.column_stack((row[:, :1], row[:, 1:] / p.shifted_by))
        for p, row in zip(parts, rows, strict=True)
    ])  # fmt: skip
    table = table[np.isfinite(table[:, 1]) & (table[:, 0] > 0)]
    alive = np.isfinite(table).any(axis=0)  # a cell that fell silent for a while costs those pieces
    whole = np.isfinite(table[:, alive]).all(axis=1)
    if 2 * np.count_nonzero(whole) >= len(table):
        table = table[whole]
    if not len(table):
        return None
    lags = lags or (ChannelLag(),) * (table.shape[1] - 1)
    allowed = np.array(
        [lags[0].factor * lag.ratio if k else lag.factor for k, lag in enumerate(lags)]
    )
    return Observations(table[:, 0], table[:, 1:] * allowed, lags)


def estimator_from_cells(rig: Rig, rig_model: Model, result: Result, seen: Observations) -> LoadEstimator | None:
    """All cells together, where they give the load force whatever the pulleys lose.

    For random efficiencies the rig's equations give what each cell would read for a haul tension
    of 1, C (draws, cells), and the load force L (draws,).  Weights w with C w = L for all of them
    hold for this rig with any losses; of these the ones with the least variance w' U w are taken,
    U the cells' variances: the weighted least squares estimate (JCGM 102, Gauss-Markov).
    """
    forces = result.roles.forces
    usable = [0] + [
        j
        for j in range(1, len(forces))
        if np.all(np.isfinite(seen.force_N[:, j])) and _reads(rig, rig_model, forces[j]) is not None
    ]
    if len(usable) < 2:
        return None
    drawn = np.random.default_rng(1).uniform(0.4, 1.0, (DRAWS, len(rig.turns)))
    stacked = tensions(rig_model.system, drawn)
    loads = stacked @ load_row(rig, rig_model.system.toward)
    cells = np.column_stack(
        [np.ones(DRAWS)] + [_of_cell(rig, rig_model, forces[j], stacked, loads) for j in usable[1:]]
    )
    u = np.array([float(forces[j].u_si(seen.mean(j))) for j in usable])
    u = np.maximum(u, 1e-4 * u.max()) if u.max() > 0 else np.ones(len(u))
    weights = least_variance(cells, loads, u)
    if weights is None or not np.any(np.abs(weights[1:]) > 1e-9):
        return None
    share = np.zeros(len(forces))
    share[usable] = np.where(np.abs(weights) < 1e-9, 0.0, weights)
    mean = np.array([seen.mean(j) for j in usable])
    said = _disagree(cells, loads, u, [forces[j] for j in usable], mean, weights)
    return LoadEstimator("cell", share, warnings=said)


def least_variance(cells: Floats, loads: Floats, u: Floats) -> Floats | None:
    """Weights w (cells,) with cells @ w = loads and the least sum of (w u)^2; None if there are none."""
    scaled = (
        cells / u
    )  # in y = u w the least variance is the least norm, which the pseudo-inverse gives
    found = np.linalg.pinv(scaled, rcond=1e-9) @ loads
    if np.max(np.abs(scaled @ found - loads)) > 1e-7 * np.max(np.abs(loads)):
        return None
    return np.asarray(found / u)


def _disagree(
    cells: Floats, loads: Floats, u: Floats, channels: list[Channel], mean: Floats, weights: Floats
) -> tuple[Message, ...]:
    """Cells that give the load force by themselves, or with the haul cell, against all together."""
    lines = []
    best = float(weights @ mean)
    for k in range(1, len(channels)):
        alone = least_variance(cells[:, [0, k]], loads, u[[0, k]])
        others = [j for j in range(len(channels)) if j != k]
        rest = least_variance(cells[:, others], loads, u[others])
        if alone is None or rest is None:
            continue
        one, two = float(alone @ mean[[0, k]]), float(rest @ mean[others])
        sent = np.zeros(len(channels))
        sent[[0, k]] += alone
        sent[others] -= rest
        doubt = float(np.sqrt(np.sum((sent * u) ** 2)))
        if abs(one - two) > AGREE * doubt:
            lines.append(message("cells_disagree", cell=channels[k].name, one_N=one, others_N=two,
                                 taken_N=best))  # fmt: skip
    return tuple(lines)


def _reads(rig: Rig, rig_model: Model, channel: Channel) -> object | None:
    if channel.at == "load":
        return channel
    piece = next((p for p in rig_model.pieces if p.name == channel.at), None)
    return None if piece is None or piece.combine == "wrap" else piece


def _of_cell(rig: Rig, rig_model: Model, channel: Channel, stacked: Floats, loads: Floats) -> Floats:
    """What a cell reads for each row of strand tensions (draws, strands)."""
    if channel.at == "load":
        return loads
    piece = next(p for p in rig_model.pieces if p.name == channel.at)
    return np.array([piece.reading(t) for t in stacked])


def estimator_from_rig_file(rig_model: Model, channels: int) -> LoadEstimator | None:
    """What the rig file says of the load."""
    if rig_model.load_force_N is None or not rig_model.load_force_N > 0:
        return None
    u = Component("load in the rig file", rig_model.load_force_u_N or 0.0)
    return LoadEstimator("known", np.zeros(channels), rig_model.load_force_N, (u,))


def cell_u(channel: Channel, value: float) -> tuple[float, float]:
    """Standard uncertainty of a reading: (what grows with the force, what is there at nothing)."""
    whole, zero = float(channel.u_si(value)), float(channel.u_si(0.0))
    return math.sqrt(max(0.0, whole * whole - zero * zero)), zero


def cell_degrees(channel: Channel, value: float) -> tuple[float, float]:
    """Degrees of freedom of both parts of `cell_u`: a calibration's scatter is known from its few
    points only; `u_percent` and a stated `u` count as exact (JCGM 100, G.4.1 and G.4.2).

    Scatter has what a new reading (with a zero of its own: two) scatters and, of the curve, no more
    than another one (the leverage of a point within the range is 1 at most); the rest of a
    calibration's uncertainty is of the applied values and counts as exact too.
    """
    curve = channel.calibration
    if curve is None or curve.dof < 1 or not curve.residual_sd:
        return math.inf, math.inf
    scale, _ = cell_u(channel, value)
    by_curve = scale * scale - (channel.u_percent / 100.0 * value) ** 2

    def degrees(at: float, part: float, whole: float) -> float:
        """part: of the variance `whole`, by the calibration as it is at this force."""
        own = channel.u_si(at) ** 2 - (channel.u_percent / 100.0 * at) ** 2
        scatter = (3 if channel.zero else 2) * ((curve.residual_sd or 0.0) / curve.slope(at)) ** 2
        share = min(1.0, scatter / own) * part / whole if whole > 0 and own > 0 else 0.0
        return curve.dof / share**2 if share > 1e-3 else math.inf

    return degrees(value, max(0.0, by_curve), scale * scale), degrees(0.0, 1.0, 1.0)
