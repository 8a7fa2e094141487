"""What the load should resist, from its mass, slope and surface, or from a stated resistance.

Up the haul line  F = m g (sin s + c cos s), running back  F = m g (sin s - c cos s), with slope
angle s and c = rolling or sliding force / normal force; a hanging load resists with its weight.
Source: inclined plane with Coulomb or rolling resistance, any mechanics textbook.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.bodies import Load

G = 9.80665  # m/s2, standard acceleration of free fall (ISO 80000-3)


@dataclass(frozen=True)
class Resistance:
    """Force along the haul line while moving, its standard uncertainty, and the force when running back.

    None where it is not known; `why` says what is missing.
    """

    force_N: float | None
    force_u_N: float | None
    lower_N: float | None
    why: str = ""


def resistance(load: Load) -> Resistance:
    """The load's resistance; the uncertainty combines mass and coefficient in quadrature (JCGM 100, 5.1.2)."""
    if load.resistance_N is not None:
        return Resistance(load.resistance_N, load.resistance_u_N, None)
    if load.kind is None:
        return Resistance(
            None, None, None, "the load's kind and mass, or resistance_N, are not in the rig file"
        )
    if load.mass_kg is None:
        return Resistance(None, None, None, "the load's mass_kg is not in the rig file")
    weight = load.mass_kg * G
    mass_u = load.mass_u_kg or 0.0
    if load.kind == "hanging":
        return Resistance(weight, mass_u * G, weight)
    if load.coefficient is None:
        return Resistance(
            None, None, None, "the load's resistance_coefficient is not in the rig file"
        )
    sine, cosine = math.sin(load.slope_rad), math.cos(load.slope_rad)
    up = weight * (sine + load.coefficient * cosine)
    back = weight * (sine - load.coefficient * cosine)
    if up <= 0:
        return Resistance(None, None, None, "the load would run by itself toward the anchor")
    u = math.hypot(up / load.mass_kg * mass_u, weight * cosine * (load.coefficient_u or 0.0))
    return Resistance(up, u, back if back > 0 else None)


def can_run_back(load: Load) -> bool:
    """Whether the load may run away from the anchor when nothing holds it; True where nobody knows."""
    if load.kind == "hanging":
        return True
    if load.kind == "slope":
        return load.slope_rad > 0
    if load.kind is None:
        return True
    return load.slope_rad > 0
