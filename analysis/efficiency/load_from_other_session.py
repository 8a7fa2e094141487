"""Takes the load force from another session: one cell first in line with the load, then at the haul.

Most crews have one cell.  Between load and rig, or in a plain 1:1 tow, it measures the load force; at the
haul, in a second session over the same ground, it then gives the advantage.
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
    """The load force by an earlier session."""

    name: str  # path of the session
    force_N: float  # mean load force
    scatter: Component  # of this mean, N
    cell: Channel  # that measured it
    gain: float  # load force / force of the cell
    lag_u: float  # relative standard uncertainty by lags
    load_travel_m: float  # load travel of the haul strokes
    strokes: int  # number of haul strokes


def load_from(path: str | Path) -> EarlierSession:
    """Read the earlier session in this folder; raises SessionFault where it gives no load force."""
    from analysis.rig_file.load import parse_rig
    from logger.session.reader import open_session, read_all

    info = open_session(path)
    rig = parse_rig(info.rig_text, str(info.rig_file))
    channel_roles = roles(rig, info.sensors)
    in_line = cell_in_line(rig, channel_roles)
    if in_line is None:
        raise SessionFault(
            str(path), "has no cell in line with the load",
            "take a session with a cell at the load, or a plain tow without pulleys",
        )  # fmt: skip
    cell, gain = in_line
    block = read_all(path)
    analyser = Analyser(roles=replace(channel_roles, haul_force=cell, forces=(cell,), levels=()))
    analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
    session = load_of_session(str(path), rig, analyser.result(), cell, gain)
    if session is None:
        raise SessionFault(
            str(path), f"{cell.name} measured no steady haul", "take a session with a stroke"
        )
    return session


def cell_in_line(rig: Rig, channel_roles: Roles) -> tuple[Channel, float] | None:
    """The most accurate cell with a force that no pulley changes, and load force / force of this cell."""
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


def load_of_session(
    name: str, rig: Rig, result: Result, cell: Channel, gain: float
) -> EarlierSession | None:
    """The load force of a session; None without a steady part.

    result: analysed with `cell` in the role of the haul cell; gain: load force / force of the cell.
    """
    haul = [s for s in result.strokes if s.direction == "haul"]
    seen = observations(haul, result.lags)
    if seen is None:
        return None
    mean, scatter = type_a(seen.force_N[:, 0], seen.distance_m)
    if len([s for s in haul if s.steady is not None]) < FEW:
        # pieces of one stroke do not show how strokes differ, so the repeatability of the ground is their
        # standard deviation, not that of their mean
        scatter = replace(scatter, u=scatter.u * math.sqrt(max(1, len(seen))))
    moved = sum(s.load_travel_m or s.haul_travel_m / model(rig).travel_ratio for s in haul)
    ground = Component("load in the earlier session: scatter", gain * scatter.u, scatter.degrees)
    return EarlierSession(
        name=name,
        force_N=gain * mean,
        scatter=ground,
        cell=cell,
        gain=gain,
        lag_u=seen.lags[0].factor_u,
        load_travel_m=moved,
        strokes=len(haul),
    )


def same_cell(one: Channel, other: Channel) -> bool:
    """Whether two channels are the same cell: same name or id, and the same properties."""
    named = one.name == other.name or (one.id is not None and one.id == other.id)
    stated = ("unit", "scale", "u_percent", "u", "capacity", "calibration")
    return named and all(getattr(one, key) == getattr(other, key) for key in stated)


def estimator_from_earlier_session(before: EarlierSession, result: Result) -> LoadEstimator:
    """The load estimator of this session from the load force of the earlier one.

    With the same cell in both, an error of its scale cancels in load force / haul force, and an error of
    its zero enters by the difference of the two forces.
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
              "way_m": before.load_travel_m}  # fmt: skip
    said = (
        message("load_by_same_cell", **values) if one else message("load_by_other_cell", **values)
    )
    return LoadEstimator(
        method="cell", share=np.zeros(len(result.roles.forces)), constant_N=before.force_N, terms=tuple(t for t in terms if t.u > 0),
        same_gain_N=gain_N, same_zero=zero, warnings=(said,),
    )  # fmt: skip
