"""Places the sign of a load cell on a rig's drawing: a block with a bent wire in it, at the strand or body it measures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from analysis.rig.rig import Rig
from dashboard.rig_drawing.label_candidates import BodyBar, StationMark, StrandRun
from dashboard.rig_drawing.label_placement import Box

WIDE, HIGH = 22.0, 13.0  # of the sign, pixels
LONG = 90.0  # pixels: a longer strand has its sign beside the middle, where its label's place is
BESIDE = 24.0  # pixels from the middle of a pulley, grab or capture to its sign


@dataclass(frozen=True)
class CellSign:
    """The sign of the cells at one place, in pixels of the page."""

    at: str  # the place, as a sensors file names it
    attribute: str  # by which a script knows what is touched
    x: float  # of its middle
    y: float  # of its middle

    @property
    def box(self) -> Box:
        """The area that it covers."""
        return Box(self.x - WIDE / 2, self.y - HIGH / 2, self.x + WIDE / 2, self.y + HIGH / 2)


def cell_signs(
    rig: Rig,
    places: Sequence[str],
    runs: Sequence[StrandRun],
    marks: Sequence[StationMark],
    bars: Sequence[BodyBar],
) -> tuple[CellSign, ...]:
    """A sign for each place that the drawing has: `haul`, a strand such as "A1>T1", a body or an element."""
    return tuple(
        sign
        for at in dict.fromkeys(places)
        if (
            sign := _on_strand(rig, at, runs)
            or _on_body(rig, at, bars)
            or _on_element(rig, at, marks)
        )
    )


def cells_in_words(cells: Mapping[str, Sequence[str]]) -> str:
    """The cells as a sentence for readers who do not see the drawing; "" for none.  cells: names by place."""
    each = "; ".join(f"{', '.join(names)} at {at}" for at, names in cells.items())
    return f" Load cells: {each}." if each else ""


def _on_strand(rig: Rig, at: str, runs: Sequence[StrandRun]) -> CellSign | None:
    for run in runs:
        if rig.strands[run.strand].name == at or (at == "haul" and run.strand == rig.haul_strand):
            long = ((run.x1 - run.x0) ** 2 + (run.y1 - run.y0) ** 2) ** 0.5
            x, y = run.at(0.5 if long < LONG else 0.3)
            return CellSign(at, f'data-number="{run.strand}"', x, y)
    return None


def _on_body(rig: Rig, at: str, bars: Sequence[BodyBar]) -> CellSign | None:
    for bar in bars:
        body = rig.bodies[bar.body]
        if body.name == at and body.kind != "grab":
            aside = 6.0 if body.kind == "load" else 0.0  # the load's block stands beside its line
            return CellSign(at, _element(at), bar.x + aside, bar.y1 - HIGH / 2)
    return None


def _on_element(rig: Rig, at: str, marks: Sequence[StationMark]) -> CellSign | None:
    for mark in marks:
        station = rig.stations[mark.station]
        if station.name == at and station.kind in ("pulley", "grab", "capture", "edge"):
            if mark.turns:  # on the open side of the turn
                return CellSign(at, _element(at), mark.x - mark.turns * BESIDE, mark.y)
            return CellSign(at, _element(at), mark.x, mark.y + BESIDE)
    return None


def _element(name: str) -> str:
    return f'data-element="{escape(name)}"'
