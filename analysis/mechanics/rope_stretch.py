"""Computes the take-up: rope hauled in before the load moves, because the rope stretches.

A strand of length L under tension T is longer by L s T / T_ref, with s the rope's elongation at
T_ref (linear, because a rope's label gives one point).  The team hauls in sum k_i dL_i, where k_i is
the strand's frictionless tension per unit of haul tension (principle of virtual work).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.model import Model
from analysis.mechanics.tension import hold
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig

# elongation, m/m, of a rope whose stretch the rig file does not state, and the tension at which it has it;
# chosen by us: a nylon braid of 20 kN at a tenth of its strength (UFC 4-159-03, Table 6-8: 2.8 %, raised for its
# curve); other ropes that haul stretch less
ASSUMED_STRETCH, ASSUMED_AT_N = 0.05, 2000.0


@dataclass(frozen=True)
class TakeUp:
    """Rope that the team hauls in before the load moves; after a reset only slack strands stretch again."""

    first_m: float | None  # at the first pull; None: not known
    after: dict[str, float]  # by capture, m, after a reset that it held
    why: Message | None = None  # why it is not known


def elongation_m(length_m: float, tension_N: float, stretch: float, stretch_at_N: float) -> float:
    """How much longer a strand is under tension, m; stretch: the rope's elongation at stretch_at_N, m/m."""
    return length_m * stretch * tension_N / stretch_at_N


def take_up(rig_model: Model) -> TakeUp:
    """The take-up at the predicted haul force, with the strand lengths at the start of the job."""
    rig = rig_model.rig
    if rig_model.haul_force_N is None or rig_model.load_force_N is None:
        return TakeUp(None, {}, message("haul_force_not_known"))
    for rope in rig.ropes:
        if rope.stretch is None:
            return TakeUp(None, {}, message("stretch_not_stated", rope=rope.name))
    pull = rig_model.tension * rig_model.haul_force_N
    lengths = strand_lengths(rig, rig.start_m)
    after = {}
    for held in rig_model.held:
        still = hold(
            rig, rig_model.motion, rig_model.system.toward, held.station, rig_model.load_force_N
        )
        if still is not None:
            after[held.name] = _at_hand(rig_model, np.maximum(pull - still, 0.0), lengths)
    return TakeUp(_at_hand(rig_model, pull, lengths), after)


def spring_back(rig_model: Model) -> float:
    """Rope that comes back at the haul when its tension goes off, m per N of haul force.

    Strands are as long as at the start of the job.  A capture keeps what it holds; without one, every strand
    goes slack.  A rope without a stated stretch has ASSUMED_STRETCH at ASSUMED_AT_N.
    """
    rig = rig_model.rig
    lengths, pull = strand_lengths(rig, rig.start_m), rig_model.tension
    slack = []
    for held in rig_model.held:
        toward = rig_model.system.toward
        still = hold(rig, rig_model.motion, toward, held.station, rig_model.model_ma)
        if still is not None:
            slack.append(np.maximum(pull - still, 0.0))
    each = [_at_hand(rig_model, tension, lengths, assumed=True) for tension in slack or [pull]]
    return max(each)


def strand_lengths(rig: Rig, x_m: Floats) -> Floats:
    """Lengths of all strands, m, (strands,), with bodies at x_m, (bodies,).

    The haul strand ends where the team stands.
    """
    result = np.zeros(len(rig.strands))
    for k, strand in enumerate(rig.strands):
        ends = [rig.stations[s] for s in (strand.start, strand.end)]
        bodies = [s.body for s in ends if s.body is not None]
        if len(bodies) == 2:
            a, b = bodies
            result[k] = math.hypot(float(x_m[b] - x_m[a]), float(rig.side_m[b] - rig.side_m[a]))
        elif len(bodies) == 1 and "haul" in (ends[0].kind, ends[1].kind):
            result[k] = math.hypot(
                float(x_m[bodies[0]]) - rig.stand_m, float(rig.side_m[bodies[0]])
            )
    return result


def _at_hand(rig_model: Model, tension: Floats, lengths: Floats, assumed: bool = False) -> float:
    """Rope that the team hauls in, m, for strand tensions, N, (strands,), and lengths, m, (strands,).

    assumed: whether a rope without a stated stretch has ASSUMED_STRETCH; else it has none.
    """
    total = 0.0
    for k, strand in enumerate(rig_model.rig.strands):
        rope = rig_model.rig.ropes[strand.rope]
        stretch, at_N = rope.stretch, rope.stretch_at_N
        if stretch is None or at_N is None:
            if not assumed:
                continue
            stretch, at_N = ASSUMED_STRETCH, ASSUMED_AT_N
        longer = elongation_m(float(lengths[k]), float(tension[k]), stretch, at_N)
        total += float(rig_model.ideal_tension[k]) * longer
    return total
