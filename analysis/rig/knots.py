"""Holds which share of a rope's strength its knots and terminations keep.

Each value is a judgement at the low end of what tests give, with its standard uncertainty: tests scatter,
mostly tell no spread, and hold for one kind and size of rope; a bad dressing may halve a knot's strength
(Turner, History and Science of Knots, p. 188).  Wet or old nylon keeps less.
"""

from __future__ import annotations

from dataclasses import dataclass

DELANEY = "R. Delaney, Physics for Roping Technicians, 2022, p. 43: assume half for any knot"
BRAID = "double braid of nylon and polyester (blog, 2015; primary source unnamed)"
HSE = "HSE CRR 364/2001 (from memory)"


@dataclass(frozen=True)
class Knot:
    """A knot or termination at the end of a rope."""

    name: str  # as written in a rig file
    keeps: float  # share of the unknotted strength that it keeps
    keeps_u: float  # standard uncertainty of `keeps`
    source: str  # of the value
    may_slip: bool = False  # whether it may slip before it breaks


UNKNOWN = Knot("unknown", 0.50, 0.10, DELANEY)
KNOTS = (
    Knot("figure-eight", 0.60, 0.08, f"0.66 to 0.77, {HSE}; 0.53 to 0.58, {BRAID}"),
    Knot("butterfly", 0.60, 0.08, f"0.61 to 0.72, {HSE}"),
    Knot("double-fisherman", 0.60, 0.08, f"0.52 to 0.54, {BRAID}; as figure-eight"),
    Knot("bowline", 0.55, 0.08, f"0.42 to 0.75 (literature review, 2026); 0.55 to 0.56, {BRAID}"),
    Knot("clove-hitch", 0.50, 0.10, f"rolled at 898 kg, broke at 1081 kg (review, 2026); {DELANEY}", True),
    Knot("spliced-eye", 0.80, 0.06, f"over 0.80 (Jarman, The Essential Knot Book, p. 9); 0.78 to 0.88, {BRAID}"),
    Knot("sewn-eye", 0.80, 0.06, "common practice, no source; its label counts if it has one"),
    Knot("tensionless", 0.95, 0.03, "about 1 on a post of 8 rope diameters with 3 to 4 turns (encyclopaedias), less wear at the edge"),
    UNKNOWN,
)  # fmt: skip


def knot(name: str) -> Knot | None:
    """The knot of this name, or None."""
    return next((row for row in KNOTS if row.name == name), None)
