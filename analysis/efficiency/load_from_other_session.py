"""The load force from another session: one cell first in line with the load, then at the haul.

Most crews have one cell.  Put first between load and rig (or at a plain 1:1 tow) it tells what the
load resists; put at the haul in a second session over the same ground it tells the advantage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.efficiency.load_estimators import FEW, LoadEstimator, cell_u, observations
from analysis.efficiency.uncertainty import Component, type_a
from analysis.mechanics.model import load_from_cell, model
from analysis.messages.message import message
from analysis.rig.rig import Rig
from analysis.signals.channel_roles import Roles, roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.result import Result
from logger.channels.channel import Channel
from logger.errors import SessionFault


@dataclass(frozen=True)
class EarlierSession:
    """What an earlier session tells of the load: force, scatter of its mean (with degrees of
    freedom), the cell and load force / cell force, how far the load went."""

    name: str
    force_N: float
    scatter: Component
    cell: Channel
    gain: float
    lag_u: float  # relative
    way_m: float
    strokes: int


def load_from(path: str | Path) -> EarlierSession:
    """Reads the earlier session; raises SessionFault where it does not tell the load's force."""
    from analysis.rig_file.load import parse_rig
    from logger.session.reader import open_session, read_all

    info = open_session(path)
    rig = parse_rig(info.rig_text, str(info.rig_file))
    channel_roles = roles(rig, info.sensors)
    found = in_line(rig, channel_roles)
    if found is None:
        raise SessionFault(
            str(path), "has no cell in line with the load",
            "take a session with a cell at the load, or a plain tow without pulleys",
        )  # fmt: skip
    cell, gain = found
    block = read_all(path)
    analyser = Analyser(roles=replace(channel_roles, haul_force=cell, forces=(cell,), levels=()))
    analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
    before = told(str(path), rig, analyser.result(), cell, gain)
    if before is None:
        raise SessionFault(
            str(path), f"{cell.name} tells no steady haul in it", "take a session with a stroke"
        )
    return before


def in_line(rig: Rig, channel_roles: Roles) -> tuple[Channel, float] | None:
    """A cell whose force is the load's, times a number that no pulley changes."""
    best = None
    for channel in channel_roles.forces:
        if channel is channel_roles.haul_force:
            turned = any(
                rig.stations[s].efficiency < 1 or rig.stations[s].kind == "pulley"
                for s in rig.turns
            )
            pair = None if turned else (model(rig).ideal_ma, 0.0)
        else:
            pair = load_from_cell(rig, channel.at)
        if pair is not None and pair[1] == 0.0:
            u = channel.u_si(1000.0)
            if best is None or u < best[2]:
                best = (channel, pair[0], u)
    return None if best is None else best[:2]


def told(name: str, rig: Rig, result: Result, cell: Channel, gain: float) -> EarlierSession | None:
    """The load force of a session that was analysed with this cell in the haul cell's place."""
    haul = [s for s in result.strokes if s.direction == "haul"]
    seen = observations(haul, result.lags)
    if seen is None:
        return None
    mean, scatter = type_a(seen.force_N[:, 0], seen.distance_m)
    if len([s for s in haul if s.steady is not None]) < FEW:
        # pieces of a stroke do not tell how strokes differ: the ground's repeatability is
        # taken as their standard deviation and not that of their mean
        scatter = replace(scatter, u=scatter.u * math.sqrt(max(1, len(seen))))
    way = sum(s.load_travel_m or s.haul_travel_m / model(rig).travel_ratio for s in haul)
    ground = Component("load in the earlier session: scatter", gain * scatter.u, scatter.degrees)
    return EarlierSession(
        name=name,
        force_N=gain * mean,
        scatter=ground,
        cell=cell,
        gain=gain,
        lag_u=seen.lags[0].factor_u,
        way_m=way,
        strokes=len(haul),
    )


def same_cell(one: Channel, other: Channel) -> bool:
    """Whether two channels are taken for one and the same cell: by name or id, and all it states."""
    named = one.name == other.name or (one.id is not None and one.id == other.id)
    stated = ("unit", "scale", "u_percent", "u", "capacity", "calibration")
    return named and all(getattr(one, key) == getattr(other, key) for key in stated)


def estimator_from_earlier_session(before: EarlierSession, result: Result) -> LoadEstimator:
    """The load force of the earlier session as this session's way of knowing it.

    One cell in both: its scale stands in load force and haul force alike and leaves their ratio;
    its zero leaves what the two forces differ.
    """
    haul = result.roles.haul_force
    mean = before.force_N / before.gain
    scale_u, zero_u = cell_u(before.cell, mean)
    terms = [before.scatter]
    if before.lag_u:
        terms.append(Component("lag in the earlier session", before.force_N * before.lag_u))
    gain_N = zero = 0.0
    one = haul is not None and same_cell(before.cell, haul)
    if one:
        gain_N, zero = before.force_N, before.gain
    else:
        terms += [
            Component(f"{before.cell.name} in the earlier session: scale", before.gain * scale_u),
            Component(f"{before.cell.name} in the earlier session: zero", before.gain * zero_u),
        ]
    values = {"load_N": before.force_N, "session": before.name, "cell": before.cell.name,
              "way_m": before.way_m}  # fmt: skip
    said = (
        message("load_by_same_cell", **values) if one else message("load_by_other_cell", **values)
    )
    return LoadEstimator(
        method="cell", share=np.zeros(len(result.roles.forces)), constant_N=before.force_N, terms=tuple(t for t in terms if t.u > 0),
        same_gain_N=gain_N, same_zero=zero, warnings=(said,),
    )  # fmt: skip
