"""Rope hauled in without the load moving, because the rope stretches under its tension.

A strand of length L under tension T is longer by L s T / T_ref, with s the rope's elongation at
T_ref (linear; labels give one point).  The hand takes in sum k_i dL_i, where k_i is the strand's
frictionless tension for a haul tension of 1 (principle of virtual work).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.model import Model
from analysis.mechanics.tension import hold
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig


@dataclass(frozen=True)
class TakeUp:
    """Metres of rope at the hand: at the first pull, and after a reset in which each capture held
    (only the strands that went slack stretch again); None with the reason where not known."""

    first_m: float | None
    after: dict[str, float]
    why: Message | None = None


def elongation_m(length_m: float, tension_N: float, stretch: float, stretch_at_N: float) -> float:
    """How much longer a strand is under tension."""
    return length_m * stretch * tension_N / stretch_at_N


def take_up(known: Model) -> TakeUp:
    """At the predicted haul force, with the strands as long as where the model was asked."""
    rig = known.rig
    if known.haul_force_N is None or known.load_force_N is None:
        return TakeUp(None, {}, message("haul_force_not_known"))
    for rope in rig.ropes:
        if rope.stretch is None:
            return TakeUp(None, {}, message("stretch_not_stated", rope=rope.name))
    pull = known.tension * known.haul_force_N
    lengths = strand_lengths(rig, rig.start_m)
    after = {}
    for held in known.held:
        still = hold(rig, known.motion, known.system.toward, held.station, known.load_force_N)
        if still is not None:
            after[held.name] = _at_hand(known, np.maximum(pull - still, 0.0), lengths)
    return TakeUp(_at_hand(known, pull, lengths), after)


def strand_lengths(rig: Rig, x_m: Floats) -> Floats:
    """Lengths of all strands, the haul strand to where the team stands, shape (strands,)."""
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


def _at_hand(known: Model, tension: Floats, lengths: Floats) -> float:
    total = 0.0
    for k, strand in enumerate(known.rig.strands):
        rope = known.rig.ropes[strand.rope]
        if rope.stretch is None or rope.stretch_at_N is None:
            continue
        longer = elongation_m(float(lengths[k]), float(tension[k]), rope.stretch, rope.stretch_at_N)
        total += float(known.ideal_tension[k]) * longer
    return total
