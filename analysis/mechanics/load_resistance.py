"""Computes the force that the load resists with: while it moves, to break away, while it runs back.

Up the haul line  F = m g (sin s + c cos s), running back  F = m g (sin s - c cos s), with slope
angle s and c = rolling or sliding force / normal force; a hanging load resists with its weight.
To break away, the ground's share is b times its value while moving: F = m g (sin s + b c cos s).
Source: inclined plane with Coulomb or rolling resistance, any mechanics textbook.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.messages.message import Message, message
from analysis.rig.rig import Load

G = 9.80665  # m/s2, standard acceleration of free fall (ISO 80000-3)


@dataclass(frozen=True)
class Resistance:
    """Load forces along the haul line; None where not known."""

    force_N: float | None  # while the load moves toward the anchor
    force_u_N: float | None  # its standard uncertainty
    lower_N: float | None  # holds it while it runs back; None too: the ground alone holds it
    why: Message | None = None  # why force_N is not known
    lower_u_N: float | None = None  # standard uncertainty of lower_N
    start_N: float | None = None  # to break the load away
    start_u_N: float | None = None  # its standard uncertainty
    start_why: Message | None = None  # why start_N is not known
    lower_why: Message | None = None  # why lower_N is not known


def resistance(load: Load) -> Resistance:
    """Compute the load's resistance; uncertainties combine in quadrature (JCGM 100:2008, 5.1.2)."""
    unknown = _missing(load)
    if unknown:
        return Resistance(
            force_N=None,
            force_u_N=None,
            lower_N=None,
            why=unknown,
            start_why=unknown,
            lower_why=unknown,
        )
    if load.resistance_N is not None:
        force, u = load.resistance_N, load.resistance_u_N
        start, start_u, why = _start(load, 0.0, force, 0.0, u or 0.0)
        mixed = message("slope_and_ground_not_parted")
        return Resistance(
            force_N=force,
            force_u_N=u,
            lower_N=None,
            why=None,
            lower_u_N=None,
            start_N=start,
            start_u_N=start_u,
            start_why=why,
            lower_why=mixed,
        )
    weight = (load.mass_kg or 0.0) * G
    share = (load.mass_u_kg or 0.0) / (load.mass_kg or 1.0)  # relative uncertainty of the mass
    if load.kind == "hanging":  # no ground to break away from
        u = weight * share
        return Resistance(
            force_N=weight,
            force_u_N=u,
            lower_N=weight,
            why=None,
            lower_u_N=u,
            start_N=weight,
            start_u_N=u,
        )
    fall = weight * math.sin(load.slope_rad)
    normal = weight * math.cos(load.slope_rad)
    ground, ground_u = normal * (load.coefficient or 0.0), normal * (load.coefficient_u or 0.0)
    up, back = fall + ground, fall - ground
    if up <= 0:
        why = message("load_runs_to_the_anchor")
        return Resistance(
            force_N=None, force_u_N=None, lower_N=None, why=why, start_why=why, lower_why=why
        )
    start, start_u, why = _start(load, fall, ground, share, ground_u)
    return Resistance(
        force_N=up, force_u_N=math.hypot(up * share, ground_u), lower_N=back if back > 0 else None, why=None,
        lower_u_N=math.hypot(back * share, ground_u) if back > 0 else None, start_N=start, start_u_N=start_u, start_why=why,
        lower_why=None if back > 0 else message("ground_holds_the_load"),
    )  # fmt: skip


def _missing(load: Load) -> Message | None:
    """The value that the rig file does not state and the resistance needs; None: nothing is missing."""
    if load.resistance_N is not None:
        return None
    if load.kind is None:
        return message("load_not_stated")
    if load.mass_kg is None:
        return message("mass_not_stated")
    if load.kind != "hanging" and load.coefficient is None:
        return message("coefficient_not_stated")
    return None


def _start(
    load: Load, fall: float, ground: float, share: float, ground_u: float
) -> tuple[float | None, float | None, Message | None]:
    """Force to break away, N, its standard uncertainty, and why it is not known.

    fall: weight along the slope, N; ground: the ground's resistance while moving, N, with its standard
    uncertainty ground_u, N; share: relative standard uncertainty of the mass.
    """
    if load.breakaway is None:
        return None, None, message("breakaway_not_stated")
    force = fall + load.breakaway * ground
    u = math.hypot(
        math.hypot(force * share, load.breakaway * ground_u), ground * (load.breakaway_u or 0.0)
    )
    return force, u, None


def can_run_back(load: Load) -> bool:
    """Whether the load may run away from the anchor when nothing holds it; True where the file is silent."""
    if load.kind in ("hanging", None):
        return True
    return load.slope_rad > 0
