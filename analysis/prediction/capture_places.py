"""Judges a progress capture on each strand of a rig: whether it holds, what it carries, what it covers and costs.

A capture is put on the body at either end of a strand and judged alone, whatever captures the rig has.  Held:
the haul is slack, no friction.  Setting: the load runs back on to it, friction helps to hold.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.mechanics.kinematics import TINY
from analysis.mechanics.load_resistance import resistance
from analysis.mechanics.model import Model, model
from analysis.mechanics.tension import efficiencies, hold, loaded_side
from analysis.mechanics.travel import Job, job
from analysis.messages.message import Message, message, text_of
from analysis.rig.rig import Rig
from analysis.rig_file.load import check
from analysis.rig_file.parser import read_rig
from logger.errors import RigFault

# load lost each time, of a capture that is not there and where the rig states none; chosen by us: a hitch or a
# cam takes some centimetres of rope before it bites
USUAL_SETBACK_M = 0.05
NEW = "capture?"  # name of the capture that is tried


@dataclass(frozen=True)
class CapturePlace:
    """A capture on one strand, at the body at one end of it."""

    rope: str  # name of the rope
    start: str  # station at which the strand starts in rope order
    end: str  # station at which it ends
    on: str  # body that the capture acts on
    holds: bool  # whether it holds the load alone
    held: float | None  # its force while held / load force; None: it does not hold
    setting: float | None  # its force while the load runs back on to it / load force
    held_N: float | None  # its force while held; None: not known
    setting_N: float | None  # its force while it sets; None: not known
    covers_resets: tuple[str, ...]  # grabs that can be slid while it holds
    setback_m: float  # load travel lost each time it sets
    resets: int | None  # resets of the job that it covers; None: the job is not known
    lost_m: float | None  # load travel that these cost; None: not known
    haul_more_m: float | None  # rope to haul again for it; None: not known
    why: Message | None  # why it does not hold, or why the cost is not known

    def json(self) -> dict[str, Any]:
        """The place as JSON."""
        row = {"rope": self.rope, "from": self.start, "to": self.end}
        rest = {
            key: value for key, value in vars(self).items() if key not in ("rope", "start", "end")
        }
        return row | rest | {"covers_resets": list(self.covers_resets), "why": text_of(self.why)}


def capture_places(rig: Rig, document: Mapping[str, Any]) -> tuple[CapturePlace, ...]:
    """A capture on each strand of a rig, at each end of the strand that is on a body.

    document: the rig file as values.
    """
    setback_m = max((rig.stations[s].setback_m for s in rig.captures), default=0.0)
    setback_m = setback_m or USUAL_SETBACK_M
    plain = model(rig)
    base = _jobs(rig, {})
    result = []
    for strand in rig.strands:
        rope = rig.ropes[strand.rope]
        at = rope.stations.index(strand.end)
        ends = [rig.stations[s] for s in (strand.start, strand.end)]
        # a capture on a grab would act on the strand that the grab itself holds
        bodies = [rig.bodies[s.body].name for s in ends if s.body is not None and s.kind != "grab"]
        for on in dict.fromkeys(bodies):
            made = _with_capture(rig, document, strand.rope, at, on)
            row: dict[str, Any] = {
                "rope": rope.name,
                "start": ends[0].name,
                "end": ends[1].name,
                "on": on,
            }
            result.append(_judged(plain, made, row, setback_m, base))
    return tuple(result)


def _with_capture(
    rig: Rig, document: Mapping[str, Any], rope: int, place: int, on: str
) -> Rig | RigFault:
    """The rig with one more capture before a station, or why it would not work."""
    data = copy.deepcopy(dict(document))
    data["rope"][rope]["path"].insert(place, {"capture": NEW, "on": on})
    try:
        made = read_rig(data, rig.file)
        check(made)
    except RigFault as fault:
        return fault
    return made


def _jobs(rig: Rig, setbacks: Mapping[str, float]) -> Job:
    return job(rig, "each", setbacks)


def _judged(
    plain: Model, made: Rig | RigFault, row: dict[str, Any], setback_m: float, base: Job
) -> CapturePlace:
    """One capture judged; row: where it is; base: the job without setback."""
    none: dict[str, Any] = {
        "holds": False, "held": None, "setting": None, "held_N": None, "setting_N": None,
        "covers_resets": (), "setback_m": setback_m, "resets": None, "lost_m": None, "haul_more_m": None,
    }  # fmt: skip
    if isinstance(made, RigFault):
        return CapturePlace(**row, **none, why=message("capture_no_room", fault=made.fault))
    tried = model(made)
    held = next(one for one in tried.held if one.name == NEW)
    if held.ideal is None:
        runs = abs(tried.motion.flow[held.station]) > TINY
        why = message("capture_would_not_hold") if runs else message("capture_no_run")
        return CapturePlace(**row, **none, why=why)
    e = efficiencies(made, hauling=False)
    back = hold(made, tried.motion, tried.system.toward, held.station, 1.0, e)
    source, pull = loaded_side(made, tried.motion, held.station)
    share = held.ideal / tried.ideal_ma
    setting = None if back is None else float(back[source] - back[pull])
    load_N = resistance(made.load).force_N
    cost_why, resets, more = base.why_not, None, None
    if base.why_not is None:
        resets = sum(base.resets[name] for name in held.covers)
        with_it = _jobs(plain.rig, dict.fromkeys(held.covers, setback_m))
        cost_why, more = with_it.why_not, None
        if with_it.why_not is None:
            resets = sum(with_it.resets[name] for name in held.covers)
            more = with_it.haul_m - base.haul_m
    lost = None if more is None else more / plain.travel_ratio
    return CapturePlace(
        **row,
        holds=True,
        held=share,
        setting=setting,
        held_N=None if load_N is None else share * load_N,
        setting_N=None if load_N is None or setting is None else setting * load_N,
        covers_resets=held.covers,
        setback_m=setback_m,
        resets=resets,
        lost_m=lost,
        haul_more_m=more,
        why=cost_why,
    )


def best_first(places: tuple[CapturePlace, ...]) -> list[CapturePlace]:
    """Captures that hold, those that cover most resets and carry least first."""
    holding = [one for one in places if one.holds and one.held is not None]
    return sorted(
        holding, key=lambda one: (-len(one.covers_resets), float(np.round(one.held or 0.0, 9)))
    )
