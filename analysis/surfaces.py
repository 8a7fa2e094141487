"""Resistance coefficients of surfaces from published tables: resisting force / normal force.

A table's coefficient is a guess within a factor, not a measurement: the standard uncertainty
given with each row is half of the row's published spread, and at least 30 % of the value.
"""

from __future__ import annotations

from dataclasses import dataclass

MARKS = "Marks' Standard Handbook for Mechanical Engineers (Moyer)"
CARVILL = "J. Carvill, Mechanical Engineer's Data Handbook, 1993"
RAIL = "teaching page on rolling resistance"
MEMORY = "common practice, no source (from memory)"


@dataclass(frozen=True)
class Surface:
    """One row: coefficient while moving, its spread, and how many times it is needed to break away."""

    name: str
    kind: str  # rolling | dragging
    low: float
    high: float
    breakaway: float
    source: str

    @property
    def coefficient(self) -> float:
        return (self.low + self.high) / 2

    @property
    def coefficient_u(self) -> float:
        return max((self.high - self.low) / 2, 0.30 * self.coefficient)


SURFACES = (
    Surface("hard-road", "rolling", 0.008, 0.008, 1.5, MARKS),
    Surface("packed-gravel", "rolling", 0.012, 0.012, 1.5, MARKS),
    Surface("wet-loose-gravel", "rolling", 0.06, 0.06, 1.5, MARKS),
    Surface("new-asphalt", "rolling", 0.01, 0.01, 1.5, CARVILL),
    Surface("worn-asphalt", "rolling", 0.02, 0.02, 1.5, CARVILL),
    Surface("rolled-new-gravel", "rolling", 0.01, 0.01, 1.5, CARVILL),
    Surface("loose-worn-gravel", "rolling", 0.04, 0.04, 1.5, CARVILL),
    Surface("medium-hard-soil", "rolling", 0.08, 0.08, 1.5, CARVILL),
    Surface("sand", "rolling", 0.10, 0.20, 1.5, CARVILL),
    Surface("steel-wheel-on-rail", "rolling", 0.001, 0.002, 2.0, RAIL),
    Surface("wood-on-greased-ways", "dragging", 0.03, 0.10, 1.5, MEMORY),
    Surface("wood-on-wood", "dragging", 0.25, 0.50, 1.3, MEMORY),
    Surface("stone-on-wood", "dragging", 0.40, 0.60, 1.2, MEMORY),
    Surface("stone-on-soil", "dragging", 0.50, 0.90, 1.2, MEMORY),
)


def surface(name: str) -> Surface | None:
    """The row of this name, or None."""
    return next((row for row in SURFACES if row.name == name), None)
