"""Holds resistance coefficients of surfaces from published tables: resisting force / normal force.

A coefficient from a table is right only within a factor.  So the standard uncertainty of each row is
half of its published spread, and at least 30 % of the value.
`breakaway` is the resistance before the load moves / the resistance while it moves.  No table was found
that gives it for wheels; the sliding rows follow oak on oak, at rest 0.62 and sliding 0.48 along
the grain, 0.54 and 0.32 across it (Marks' Standard Handbook, from memory): 1.3 and 1.7.
"""

from __future__ import annotations

from dataclasses import dataclass

MARKS = "Moyer, in Marks' Standard Handbook for Mechanical Engineers"
CARVILL = "J. Carvill, Mechanical Engineer's Data Handbook, 1993"
COLLINS = "A. F. Collins, Inventing for Boys, appendix on friction"
WEB = "engineering reference page on rolling resistance"
HARRIGAN = "T. Harrigan, draught-animal forum, 2010: stoneboat or sled on firm pasture 0.30 to 0.40"
AGG = "Agg, American Rural Highways, 1920, Table 4, and a towing trade journal, 2013"
VDI = "trailer manual after VDI 2700: wood on wood, greasy, 0.05 to 0.15"
SNOW = "waxed wood on wet snow 0.10 moving (teaching page, 2022), and common practice"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Surface:
    """One row of the tables."""

    name: str  # as written in a rig file
    kind: str  # rolling | dragging
    low: float  # lowest published coefficient while moving
    high: float  # highest published coefficient while moving
    breakaway: float  # resistance before the load moves / while it moves
    breakaway_u: float  # its standard uncertainty
    source: str  # of the coefficient

    @property
    def coefficient(self) -> float:
        """Middle of the published spread."""
        return (self.low + self.high) / 2

    @property
    def coefficient_u(self) -> float:
        """Standard uncertainty: half of the spread, at least 30 % of the coefficient."""
        return max((self.high - self.low) / 2, 0.30 * self.coefficient)

    @property
    def coefficient_text(self) -> str:
        """The coefficient with its standard uncertainty, as text."""
        return f"{self.coefficient:.3g} (standard uncertainty {self.coefficient_u:.2g})"


# breakaway with its u: for wheels common practice, no source; for sliding the middle of the sources above
_WHEEL, _SLIDE = (1.5, 0.3), (1.5, 0.2)
SURFACES = (
    Surface("hard-road", "rolling", 0.008, 0.008, *_WHEEL, MARKS),
    Surface("packed-gravel", "rolling", 0.012, 0.012, *_WHEEL, MARKS),
    Surface("wet-loose-gravel", "rolling", 0.06, 0.06, *_WHEEL, MARKS),
    Surface("new-asphalt", "rolling", 0.01, 0.01, *_WHEEL, CARVILL),
    Surface("worn-asphalt", "rolling", 0.02, 0.02, *_WHEEL, CARVILL),
    Surface("rolled-new-gravel", "rolling", 0.01, 0.01, *_WHEEL, CARVILL),
    Surface("loose-worn-gravel", "rolling", 0.04, 0.04, *_WHEEL, CARVILL),
    Surface("medium-hard-soil", "rolling", 0.08, 0.08, *_WHEEL, CARVILL),
    Surface("sand", "rolling", 0.10, 0.20, *_WHEEL, CARVILL),
    Surface("loose-sand", "rolling", 0.20, 0.40, *_WHEEL, WEB),
    Surface("large-worn-cobbles", "rolling", 0.03, 0.03, *_WHEEL, WEB),
    Surface("steel-wheel-on-rail", "rolling", 0.001, 0.002, *_WHEEL, WEB),
    Surface("steel-wheel-on-dirty-rail", "rolling", 0.004, 0.005, *_WHEEL, COLLINS),
    Surface("oak-on-oak", "dragging", 0.42, 0.48, *_SLIDE, COLLINS),
    Surface("oak-on-oak-soaped", "dragging", 0.16, 0.16, *_SLIDE, COLLINS),
    Surface("iron-on-oak", "dragging", 0.42, 0.42, *_SLIDE, COLLINS),
    Surface("greased-ways", "dragging", 0.03, 0.10, *_SLIDE, PRACTICE),
    Surface("stone-on-wood", "dragging", 0.40, 0.60, *_SLIDE, PRACTICE),
    Surface("stone-on-soil", "dragging", 0.50, 0.90, *_SLIDE, PRACTICE),
    # our judgement with its standard uncertainty either way; the breakaway of sliding rows from Andre et al.
    # 2013 (1.30, u 0.14), raised for settling and suction (common practice, no source)
    Surface("sledge-on-grass", "dragging", 0.32, 0.48, 1.4, 0.2, HARRIGAN),
    Surface(
        "sledge-on-gravel",
        "dragging",
        0.45,
        0.65,
        1.3,
        0.2,
        "dry sand about 0.55 (Fall et al., PRL 112:175502, from memory)",
    ),
    Surface(
        "log-flat", "dragging", 0.53, 0.77, 1.4, 0.2, "forestry texts, 0.5 to 0.8 (from memory)"
    ),
    Surface(
        "log-one-end-up",
        "dragging",
        0.35,
        0.55,
        1.4,
        0.2,
        "forestry texts, 0.3 to 0.5 (from memory)",
    ),
    Surface("stone-on-earth", "dragging", 0.55, 0.85, 1.5, 0.3, "0.5 to 0.8 (from memory)"),
    Surface("greased-wood", "dragging", 0.06, 0.14, 2.0, 0.5, VDI),
    Surface(
        "runners-on-packed-snow",
        "dragging",
        0.07,
        0.17,
        1.5,
        0.5,
        SNOW + "; frozen in, breakaway is about 3",
    ),
    Surface("tyres-on-firm-turf", "rolling", 0.04, 0.08, 1.3, 0.2, AGG),
    Surface("tyres-on-soft-turf", "rolling", 0.08, 0.16, 1.3, 0.2, AGG),
    Surface("tyres-on-mud-or-sand", "rolling", 0.15, 0.35, 1.3, 0.2, AGG),
)


def surface(name: str) -> Surface | None:
    """The surface of this name, or None."""
    return next((row for row in SURFACES if row.name == name), None)
