"""Load estimators: the load force of each observation from the force channels, with its uncertainty.

An estimator gives the load force as a weighted sum of the force channels plus a constant.  One or more
cells are preferred to the rig file; otherwise the estimator with the smaller uncertainty is used.
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

# with fewer strokes, the pieces of strokes count as independent observations; chosen by us: two strokes leave
# one degree of freedom, t = 12.7, three leave two, t = 4.3
FEW = 3
# random sets of efficiencies; chosen by us: far more than cells, so that weights which fit all fit any losses
DRAWS = 40
# standard uncertainties by which two cells may differ; chosen by us: normal errors exceed it once in 370
AGREE = 3.0


@dataclass(frozen=True)
class Observations:
    """Independent observations of the steady haul, corrected for the lags between channels."""

    distance_m: Floats  # (n,) rope of each observation
    force_N: Floats  # (n, channels) mean forces, the haul cell first
    lags: tuple[ChannelLag, ...]  # of each channel
    by_pieces: bool = False  # whether pieces of strokes count, because there are too few strokes

    def __len__(self) -> int:
        return len(self.distance_m)

    def mean(self, channel: int) -> float:
        """Mean force of a channel, weighted by rope, N."""
        return float(np.average(self.force_N[:, channel], weights=self.distance_m))


@dataclass(frozen=True)
class LoadEstimator:
    """Gives the load force F as share @ forces + constant_N.

    Errors of the haul cell that are within the constant are in same_gain_N and same_zero, not in terms, so
    that they combine with those of the haul force.
    """

    method: str  # as interface section 6 names it
    share: Floats  # (channels,) dF / d force of each channel
    constant_N: float = 0.0  # load force that does not depend on this session's forces
    terms: tuple[Component, ...] = ()  # budget of constant_N, N
    same_gain_N: float = 0.0  # d constant_N / d relative error of the haul cell's scale
    same_zero: float = 0.0  # d constant_N / d error of the haul cell's zero
    warnings: tuple[Message, ...] = ()  # warnings about the load force

    def force(self, forces_N: Floats) -> Floats:
        """Load force, N, (n,), for forces_N (n, channels)."""
        used = np.flatnonzero(self.share)
        return np.asarray(forces_N[:, used] @ self.share[used] + self.constant_N)


def observations(
    strokes: list[Stroke], lags: tuple[ChannelLag, ...] = (), few: int = FEW
) -> Observations | None:
    """The observations of strokes: one for each steady part; None without any.

    lags: of each channel, none where empty; few: with fewer steady parts, their batches count instead.
    """
    parts = [s.steady for s in strokes if s.steady is not None]
    if not parts:
        return None
    rows = [np.array([[p.distance_m, *p.force_N]]) for p in parts]
    if len(parts) < few:
        rows = [p.batches for p in parts]
    # undo the strokes' own correction: here lags are corrected for all strokes alike
    table = np.concatenate([
        np.column_stack((row[:, :1], row[:, 1:] / p.shifted_by))
        for p, row in zip(parts, rows, strict=True)
    ])  # fmt: skip
    table = table[np.isfinite(table[:, 1]) & (table[:, 0] > 0)]
    alive = np.isfinite(table).any(
        axis=0
    )  # a cell that is silent for a while costs these pieces only
    whole = np.isfinite(table[:, alive]).all(axis=1)
    if 2 * np.count_nonzero(whole) >= len(table):
        table = table[whole]
    if not len(table):
        return None
    lags = lags or (ChannelLag(),) * (table.shape[1] - 1)
    correction = np.array(
        [lags[0].factor * lag.ratio if k else lag.factor for k, lag in enumerate(lags)]
    )
    return Observations(table[:, 0], table[:, 1:] * correction, lags, len(parts) < few)


def estimator_from_cells(
    rig: Rig, rig_model: Model, result: Result, seen: Observations
) -> LoadEstimator | None:
    """All cells together, where they give the load force whatever the pulleys lose; else None.

    For random efficiencies the rig's equations give the reading of each cell per haul tension, C (draws,
    cells), and the load force per haul tension, L (draws,).  Weights w with C w = L for all draws are valid
    for any losses.  Of these the weights with the least variance w' U w are used, U the variances of the
    cells: the weighted least squares estimate (JCGM 102, Gauss-Markov).
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
    """Weights w (cells,) with cells @ w = loads and the least sum of (w u)^2; None where there are none.

    cells: (draws, cells) and loads: (draws,) per haul tension; u: (cells,) standard uncertainties, N.
    """
    # for y = u w the least variance is the least norm, which the pseudo-inverse gives
    scaled = cells / u
    y = np.linalg.pinv(scaled, rcond=1e-9) @ loads
    if np.max(np.abs(scaled @ y - loads)) > 1e-7 * np.max(np.abs(loads)):
        return None
    return np.asarray(y / u)


def _disagree(
    cells: Floats, loads: Floats, u: Floats, channels: list[Channel], mean: Floats, weights: Floats
) -> tuple[Message, ...]:
    """Warn of a cell whose load force, with the haul cell's help, contradicts that of all the others.

    cells, loads, u: as for `least_variance`; mean: (cells,) mean readings, N; weights: (cells,).
    """
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
    """What the channel measures, the load or a piece of the model; None where its reading has no formula."""
    if channel.at == "load":
        return channel
    piece = next((p for p in rig_model.pieces if p.name == channel.at), None)
    return None if piece is None or piece.combine == "wrap" else piece


def _of_cell(
    rig: Rig, rig_model: Model, channel: Channel, stacked: Floats, loads: Floats
) -> Floats:
    """Reading of a cell per haul tension, (draws,); stacked: (draws, strands) tensions, loads: (draws,)."""
    if channel.at == "load":
        return loads
    piece = next(p for p in rig_model.pieces if p.name == channel.at)
    return np.array([piece.reading(t) for t in stacked])


def estimator_from_rig_file(rig_model: Model, channels: int) -> LoadEstimator | None:
    """The load force that the rig file states or implies; None where it does not.  channels: number."""
    if rig_model.load_force_N is None or not rig_model.load_force_N > 0:
        return None
    u = Component("load in the rig file", rig_model.load_force_u_N or 0.0)
    return LoadEstimator("known", np.zeros(channels), rig_model.load_force_N, (u,))


def cell_u(channel: Channel, value: float) -> tuple[float, float]:
    """Standard uncertainty at force `value`, N: (the part that grows with the force, that at zero force)."""
    whole, zero = float(channel.u_si(value)), float(channel.u_si(0.0))
    return math.sqrt(max(0.0, whole * whole - zero * zero)), zero


def cell_degrees(channel: Channel, value: float) -> tuple[float, float]:
    """Degrees of freedom of the two results of `cell_u` at force `value`, N.

    The scatter of a calibration comes from its few points; `u_percent` and a stated `u` count as exact
    (JCGM 100, G.4.1 and G.4.2).  The variance by scatter has one term for the new reading, one for its own
    zero if it has one, and at most one for the curve (the leverage of a point within the range is 1 at
    most).  The rest of the calibration's uncertainty is that of the applied forces and counts as exact.
    """
    curve = channel.calibration
    if curve is None or curve.dof < 1 or not curve.residual_sd:
        return math.inf, math.inf
    scale, _ = cell_u(channel, value)
    by_curve = scale * scale - (channel.u_percent / 100.0 * value) ** 2

    def degrees(at: float, by_calibration: float, whole: float) -> float:
        """at: force, N; by_calibration: the part of the variance `whole`, N^2, by the calibration."""
        own = channel.u_si(at) ** 2 - (channel.u_percent / 100.0 * at) ** 2
        scatter = (3 if channel.zero else 2) * ((curve.residual_sd or 0.0) / curve.slope(at)) ** 2
        share = min(1.0, scatter / own) * by_calibration / whole if whole > 0 and own > 0 else 0.0
        return curve.dof / share**2 if share > 1e-3 else math.inf

    return degrees(value, max(0.0, by_curve), scale * scale), degrees(0.0, 1.0, 1.0)
