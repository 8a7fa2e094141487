"""Lists positions for each label of a rig's drawing, the best first; the placer takes the first free one."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analysis.rig.rig import Rig
from dashboard.rig_drawing.label_placement import Box, Label, Placer, cut, text_width

SLOPE = 16.0  # pixels by which a strand to a body beside the haul axis slopes down
ROUNDING = 1e-6  # pixels
NARROW = 600  # pixels: a narrower page has smaller type and margins


@dataclass(frozen=True)
class StrandRun:
    """One strand as a straight line, in pixels of the page.

    strand: its index in the rig.
    kind: plain | haul | slack.
    x0: of its first station in rope order.
    y0: of its first station.
    x1: of its last station.
    y1: of its last station.
    """

    strand: int
    kind: str
    x0: float
    y0: float
    x1: float
    y1: float

    def at(self, share: float) -> tuple[float, float]:
        """(x, y) at this share of the length, 0 to 1, from the first station."""
        return self.x0 + share * (self.x1 - self.x0), self.y0 + share * (self.y1 - self.y0)

    def distance(self, x: float, y: float) -> float:
        """Distance of the point (x, y) from the strand, pixels."""
        x0, y0 = self.x0, self.y0
        dx, dy = self.x1 - x0, self.y1 - y0
        square = dx * dx + dy * dy
        share = 0.0 if square == 0 else ((x - x0) * dx + (y - y0) * dy) / square
        share = min(1.0, max(0.0, share))
        return math.hypot(x - (x0 + share * dx), y - (y0 + share * dy))


@dataclass(frozen=True)
class StationMark:
    """One station, in pixels of the page.

    station: its index in the rig.
    x: of the middle of its turn, or of its point on a rope that does not turn.
    y: as x.
    turns: -1 or +1: the rope turns back on the left or right side; 0: it runs straight through.
    radius: of the turn.
    """

    station: int
    x: float
    y: float
    turns: int
    radius: float


@dataclass(frozen=True)
class BodyBar:
    """The upright of one body, in pixels of the page, over all rows that meet the body.

    body: its index in the rig.
    x: of the upright.
    y0: its upper end.
    y1: its lower end.
    """

    body: int
    x: float
    y0: float
    y1: float


def place_labels(
    rig: Rig, texts: Sequence[str], runs: tuple[StrandRun, ...], marks: tuple[StationMark, ...],
    bars: tuple[BodyBar, ...], size: float, page: Box, clear: Sequence[Box] = (),
) -> tuple[Label, ...]:  # fmt: skip
    """Every label of the drawing, each at the first of its positions that is free.

    texts: of the strands; size: of the type, pixels; page: the area that labels may take;
    clear: areas of it that stay clear.
    """
    placer = Placer(page, size)
    for box in clear:
        placer.block(box)
    for run in runs:
        placer.block_line(run.x0, run.y0, run.x1, run.y1, run.strand)
    for mark in marks:
        placer.block(_extent(rig, mark))
    for bar in bars:
        placer.block(Box(bar.x - 6, bar.y0, bar.x + 6, bar.y1))
    most = 70.0 if page.x1 < NARROW else 110.0
    for k, mark in enumerate(marks):
        station = rig.stations[mark.station]
        after_turn = (
            k > 0
            and marks[k - 1].turns != 0
            and mark.station in rig.before
            and (rig.stations[marks[k - 1].station].body == station.body)
        )
        if station.kind in ("pulley", "capture", "edge", "grab"):
            placer.put(
                "element",
                station.name,
                cut(station.name, size, most),
                _beside(mark, -1.0 if after_turn else 1.0),
            )
        elif station.kind == "haul":
            placer.put("haul", station.name, cut(station.name, size, most), _ends(mark, page))
        elif station.kind == "free":
            placer.put("slack", "free", "slack", _ends(mark, page))
    for bar in bars:
        body = rig.bodies[bar.body]
        if body.kind != "grab":
            name = cut(body.name, size, most)
            placer.put("body", body.name, name, _around(bar, text_width(name, size)))
    for run in runs:
        text = texts[run.strand]
        spots = _along(run, text_width(text, size, bold=True), size)
        fits = _nearest_to(frozenset((run.strand,)), runs)
        placer.put("tension", rig.strands[run.strand].name, text, spots, fits)
    if len(rig.ropes) > 1:
        firsts = {run.strand: run for run in runs}
        for rope in rig.ropes:
            name = cut(f"rope {rope.name}", size, most + 30)
            run = firsts[rope.strands[0]]
            spots = [
                (x + dx, run.y0 + dy)
                for dy in (-26.0, -36.0, 16.0, 26.0) for dx in (0.0, 40.0, -40.0, 80.0, -80.0)
                for x, _ in map(run.at, (0.5, 0.3, 0.7, 0.1, 0.9))
            ]  # fmt: skip
            spots += [(x, run.y0 + dy) for dy in (-26.0, -36.0, 0.0, 26.0) for x in (0.0, page.x1)]
            fits = _nearest_to(frozenset(rope.strands), runs)
            placer.put("rope", rope.name, name, spots, fits)
    return tuple(placer.labels)


def _nearest_to(
    mine: frozenset[int], runs: tuple[StrandRun, ...]
) -> Callable[[tuple[float, float]], bool]:
    """A test of a position: whether one of these strands is the nearest, so that a label there
    belongs to it."""
    own = [run for run in runs if run.strand in mine]
    others = [run for run in runs if run.strand not in mine]
    # by height, so that a strand whose rows are farther away costs nothing
    ends = sorted((y, k) for k, run in enumerate(others) for y in {run.y0, run.y1})

    def fits(spot: tuple[float, float]) -> bool:
        """Whether no other strand is nearer to spot, (x, y) in pixels."""
        near = min(run.distance(*spot) for run in own)
        reach = near + SLOPE
        first = bisect_left(ends, (spot[1] - reach - ROUNDING,))
        last = bisect_right(ends, (spot[1] + reach + ROUNDING,))
        return all(
            abs(y - spot[1]) > reach or others[k].distance(*spot) >= near
            for y, k in ends[first:last]
        )

    return fits


def _extent(rig: Rig, mark: StationMark) -> Box:
    """The area that a station's symbol covers."""
    kind = rig.stations[mark.station].kind
    if mark.turns:
        r = mark.radius
        return Box(mark.x - r, mark.y - r, mark.x + r, mark.y + r)
    if kind == "pulley":  # the rope runs straight over it, so its wheel is below the rope
        return Box(mark.x - 13.0, mark.y - 5.0, mark.x + 13.0, mark.y + 30.0)
    r = {"grab": 10.0, "capture": 10.0, "edge": 11.0, "tie": 6.0}.get(kind, 3.0)
    return Box(mark.x - r, mark.y - r, mark.x + r, mark.y + r)


Spots = list[tuple[float, float]]


def _beside(mark: StationMark, side: float) -> Spots:
    """Positions (middles) for a station's name: outside its turn; else below the rope first (side 1) or
    above it first (side -1)."""
    if mark.turns:
        t = mark.turns
        return [
            (mark.x + t * (mark.radius + 4 + reach), mark.y + dy)
            for dy in (0.0, 12.0, -12.0) for reach in (10.0, 20.0, 32.0, 46.0, 62.0)
        ]  # fmt: skip
    spots = [
        (mark.x + dx, mark.y + dy)
        for dy in (19.0 * side, -19.0 * side)
        for dx in (0.0, 14.0, -14.0, 30.0, -30.0)
    ]
    spots += [(mark.x + dx, mark.y + dy) for dy in (30.0, -30.0, 38.0) for dx in (0.0, 30.0, -30.0)]
    return [*spots, (mark.x, mark.y + 48.0)]


def _ends(mark: StationMark, page: Box) -> Spots:
    """Positions for the label of a rope's end; the placer moves them onto the page."""
    inward = 1.0 if mark.x < page.x1 / 2 else -1.0
    return [
        (mark.x + inward * dx, mark.y + dy)
        for dx in (14.0, 24.0, 44.0, 0.0, 64.0, -30.0) for dy in (16.0, -16.0, 28.0, -28.0)
    ]  # fmt: skip


def _around(bar: BodyBar, wide: float) -> Spots:
    """Positions for a body's name, `wide` pixels wide: above and below its upright, then beside
    it."""
    spots = [(bar.x, bar.y0 - 13), (bar.x, bar.y1 + 11)]
    for y in (bar.y0 + 2, bar.y0 - 9, bar.y1 + 9, bar.y1 - 2, (bar.y0 + bar.y1) / 2):
        spots += [
            (bar.x + side * (wide / 2 + gap), y) for gap in (12.0, 26.0, 44.0) for side in (1, -1)
        ]
    return spots


def _along(run: StrandRun, wide: float, size: float) -> Spots:
    """Positions for a tension, `wide` pixels wide: above its strand, below it, past its ends in its
    row."""
    spots = []
    lean = abs(run.y1 - run.y0) / max(1.0, abs(run.x1 - run.x0)) * wide / 2
    up = size * 0.575 + 5.0  # clear of the thickest rope
    for dy in (-up - lean, up + lean):
        spots += [
            (x, y + dy) for x, y in map(run.at, (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9))
        ]
    for end, outward in ((run.at(1.0), 1), (run.at(0.0), -1)):
        out = outward * (1 if run.x1 >= run.x0 else -1)
        for gap in (0.0, 6.0, 16.0, 28.0, 44.0, 64.0):
            spots += [
                (end[0] + out * (wide / 2 + gap), end[1] + dy)
                for dy in (-up, 0.0, up, -2 * up, 2 * up)
            ]
    return spots
