"""Where everything of a rig goes on paper: pure geometry in pixels, no drawing.

Along the page runs the haul axis, the anchor left and the load right; down the page runs the rope,
in rope order: where it turns back it takes the next row, so that no two strands share a place.
Bodies stand where they are, except that they never come closer on paper than their labels need.
A strand to a body beside the axis slopes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.bodies import Floats, Rig
from dashboard.rig_labels import Box, Label, Placer, cut, text_width

SLOPE = 16.0  # pixels that a strand off the axis comes down
ASIDE = 27.0  # between two stations on one body and in one row
TAIL = 48.0
MIDWAY = 0.17  # |cosine| below which a haul strand goes to neither side (within 10 degrees)
GEAR_ROW = 24.0
NARROW = 600  # pixels: below, smaller type and margins
LEAST = 46.0  # between two bodies next to each other, as far as the page has room


@dataclass(frozen=True)
class Run:
    """One strand from its first station to its last; kind: plain | haul | slack."""

    strand: int
    kind: str
    x0: float
    y0: float
    x1: float
    y1: float

    def at(self, part: float) -> tuple[float, float]:
        return self.x0 + part * (self.x1 - self.x0), self.y0 + part * (self.y1 - self.y0)


@dataclass(frozen=True)
class Mark:
    """One station.  turns: -1 or +1 where the rope turns back on that side, over `radius`; 0 where it
    runs straight through; (x, y) is the middle of the turn or the place on the rope."""

    station: int
    x: float
    y: float
    turns: int
    radius: float


@dataclass(frozen=True)
class Bar:
    """A body: an upright at x over all rows that it is part of."""

    body: int
    x: float
    y0: float
    y1: float


@dataclass(frozen=True)
class Layout:
    width: float
    height: float
    size: float  # of the text
    runs: tuple[Run, ...]
    marks: tuple[Mark, ...]
    bars: tuple[Bar, ...]
    labels: tuple[Label, ...]
    gear: tuple[tuple[str, float, float], ...]  # name, x, y of its sign


def lay_out(rig: Rig, x_m: Floats, texts: Sequence[str], width: int = 900) -> Layout:
    """The picture of a rig with its bodies at x_m (bodies,); texts: what each strand's label says."""
    narrow = width < NARROW
    pitch, size = (36.0, 12.0) if narrow else (42.0, 13.5)
    ways = _ways(rig, x_m)
    asides = _asides(rig, ways)
    x = _across(rig, x_m, asides, _needs(rig, texts, size), width, (66.0, 50.0) if narrow else (128.0, 96.0))
    runs, marks, bottom = _rows(rig, x, ways, asides, pitch, width)
    bars = _bars(rig, x, marks)
    gear = tuple(
        (g.name, 16.0, bottom + GEAR_ROW * (k + 0.5)) for k, g in enumerate(rig.gears)
    )
    height = bottom + GEAR_ROW * len(gear) + 4
    labels = _labels(rig, texts, runs, marks, bars, size, Box(0, 0, width, bottom))
    return Layout(float(width), height, size, runs, marks, bars, labels, gear)


def _ways(rig: Rig, x_m: Floats) -> list[int]:
    """Each strand's way along the page in rope order: -1 left, +1 right."""
    order = {b: k for k, b in enumerate(_order(rig, x_m))}
    ways: list[int] = [0] * len(rig.strands)
    for k, strand in enumerate(rig.strands):
        a, b = rig.stations[strand.start], rig.stations[strand.end]
        if a.body is not None and b.body is not None and a.body != b.body:
            ways[k] = 1 if order[b.body] > order[a.body] else -1
        elif "haul" in (a.kind, b.kind) and None in (a.body, b.body):
            haul = a if a.body is None else b
            along = math.cos(math.radians(haul.toward_deg))
            out = 0 if abs(along) < MIDWAY else (-1 if along > 0 else 1)
            ways[k] = out if haul is b else -out
    for k, strand in enumerate(rig.strands):  # what has no way of its own goes on as the rope does
        if ways[k] == 0:
            same = [j for j in (k - 1, k + 1) if 0 <= j < len(ways)]
            same = [j for j in same if rig.strands[j].rope == strand.rope and ways[j]]
            ahead = rig.stations[strand.end].kind == "capture" and k + 1 in same
            if same:
                ways[k] = ways[k + 1 if ahead else same[0]]
            else:
                ways[k] = -1
    return ways


def _order(rig: Rig, x_m: Floats) -> list[int]:
    """Bodies from the anchor's side to the load's."""
    return sorted(range(len(rig.bodies)), key=lambda b: (float(x_m[b]), b))


def _asides(rig: Rig, ways: list[int]) -> dict[int, float]:
    """Station -> pixels from its body's upright, for stations that share a body and a row."""
    result: dict[int, float] = {}
    for rope in rig.ropes:
        chain: list[int] = []
        for s in rope.stations:
            body = rig.stations[s].body
            if chain and body is not None and body == rig.stations[chain[-1]].body:
                chain.append(s)
                continue
            _spread(rig, chain, ways, result)
            chain = [s]
        _spread(rig, chain, ways, result)
    return result


def _spread(rig: Rig, chain: list[int], ways: list[int], result: dict[int, float]) -> None:
    if len(chain) < 2:
        return
    middle = next((k for k, s in enumerate(chain) if rig.stations[s].kind != "capture"), len(chain) - 1)
    for k, s in enumerate(chain):
        if k < middle:
            result[s] = -ways[rig.after[s]] * ASIDE * (middle - k)
        elif k > middle:
            result[s] = ways[rig.before[s]] * ASIDE * (k - middle)


def _needs(rig: Rig, texts: Sequence[str], size: float) -> dict[frozenset[int], float]:
    """How far apart two bodies have to be for the labels of the strands between them."""
    result: dict[frozenset[int], float] = {}
    for k, strand in enumerate(rig.strands):
        a, b = rig.stations[strand.start].body, rig.stations[strand.end].body
        if a is not None and b is not None and a != b:
            pair = frozenset((a, b))
            wide = text_width(texts[k], size, bold=True) + 28.0
            result[pair] = max(result.get(pair, LEAST), wide)
    return result


def _across(
    rig: Rig, x_m: Floats, asides: dict[int, float], needs: dict[frozenset[int], float],
    width: int, margins: tuple[float, float],
) -> list[float]:  # fmt: skip
    """Each body's place across the page: to scale, moved apart where they would hide each other."""
    left, right = margins[0], width - margins[1]
    order = _order(rig, x_m)
    low = float(min(rig.start_m.min(), x_m.min()))
    high = float(max(rig.start_m.max(), x_m.max()))
    scale = (right - left) / (high - low) if high > low else 0.0
    gaps = []
    for a, b in zip(order, order[1:], strict=False):
        reach = max((v for s, v in asides.items() if rig.stations[s].body == a), default=0.0)
        back = min((v for s, v in asides.items() if rig.stations[s].body == b), default=0.0)
        need = needs.get(frozenset((a, b)), LEAST)
        gaps.append(need + max(reach, 0.0) + max(-back, 0.0))
    room = (right - left) / sum(gaps) if gaps else 1.0
    gaps = [gap * min(1.0, room) for gap in gaps]
    place = [left + (float(x_m[b]) - low) * scale for b in order]
    for k, gap in enumerate(gaps):
        place[k + 1] = max(place[k + 1], place[k] + gap)
    if place:
        place[-1] = min(place[-1], right)
    for k in range(len(gaps) - 1, -1, -1):
        place[k] = min(place[k], place[k + 1] - gaps[k])
    result = [0.0] * len(order)
    for b, at in zip(order, place, strict=True):
        result[b] = at
    return result


def _rows(
    rig: Rig, x: list[float], ways: list[int], asides: dict[int, float], pitch: float, width: int
) -> tuple[tuple[Run, ...], tuple[Mark, ...], float]:
    """Strands and stations row by row; the foot of the page."""
    runs: list[Run] = []
    marks: list[Mark] = []
    y = 40.0 if len(rig.ropes) == 1 else 58.0
    for index, rope in enumerate(rig.ropes):
        if index:
            y += pitch + 22.0
        for s in rope.stations:
            station = rig.stations[s]
            into, out = rig.before.get(s), rig.after.get(s)
            turns = 0
            if into is not None and out is not None and ways[into] != ways[out]:
                turns = ways[into]
            at = None if station.body is None else x[station.body] + asides.get(s, 0.0)
            if at is None and into is None:  # the haul stands first: it is placed from its other end
                body = rig.stations[s + 1].body
                near = x[body] if body is not None else x[0]
                at = _end(-ways[out or 0], near, width, station.toward_deg)
            elif at is None and into is not None:
                near = marks[-1].x
                if station.kind == "free":
                    at = min(max(near + ways[into] * TAIL, 8.0), width - 8.0)
                else:
                    at = _end(ways[into], near, width, station.toward_deg)
            assert at is not None
            if into is not None:
                begun = marks[-1]
                y1 = y + (SLOPE if _slopes(rig, into) else 0.0)
                kind = {"free": "slack"}.get(station.kind, "plain")
                runs.append(Run(into, "haul" if into == rig.haul_strand else kind, begun.x, y, at, y1))
                y = y1
            marks.append(Mark(s, at, y + (pitch / 2 if turns else 0.0), turns, pitch / 2))
            if turns:
                y += pitch
    return tuple(runs), tuple(marks), y + 36.0


def _end(way: int, near: float, width: int, toward_deg: float) -> float:
    """Where the haulers' end lies: at the page's edge, or close by where they pull sideways."""
    if abs(math.cos(math.radians(toward_deg))) < MIDWAY:
        return min(max(near + way * TAIL, 12.0), width - 12.0)
    return 12.0 if way < 0 else width - 12.0


def _slopes(rig: Rig, strand: int) -> bool:
    """Whether a strand leads off the haul axis."""
    a, b = (rig.stations[s] for s in (rig.strands[strand].start, rig.strands[strand].end))
    if a.body is not None and b.body is not None:
        return bool(rig.side_m[a.body] != rig.side_m[b.body])
    if "free" in (a.kind, b.kind):
        return False
    haul = a if a.body is None else b
    return abs(math.sin(math.radians(haul.toward_deg))) > 0.05


def _bars(rig: Rig, x: list[float], marks: tuple[Mark, ...]) -> tuple[Bar, ...]:
    result = []
    for b, body in enumerate(rig.bodies):
        ys = [m.y for m in marks if rig.stations[m.station].body == b]
        if ys and body.kind != "edge":
            reach = 14.0 if body.kind != "grab" else 0.0
            result.append(Bar(b, x[b], min(ys) - reach, max(ys) + reach))
    return tuple(result)


def _labels(
    rig: Rig, texts: Sequence[str], runs: tuple[Run, ...], marks: tuple[Mark, ...],
    bars: tuple[Bar, ...], size: float, page: Box,
) -> tuple[Label, ...]:  # fmt: skip
    """All texts, each at the first place where it covers nothing."""
    placer = Placer(page, size)
    for run in runs:
        placer.block_line(run.x0, run.y0, run.x1, run.y1, run.strand)
    for mark in marks:
        placer.block(_extent(rig, mark))
    for bar in bars:
        placer.block(Box(bar.x - 6, bar.y0, bar.x + 6, bar.y1))
    most = 70.0 if page.x1 < NARROW else 110.0
    for mark in marks:
        station = rig.stations[mark.station]
        if station.kind in ("pulley", "capture", "edge", "grab"):
            placer.put("element", station.name, cut(station.name, size, most), _beside(mark))
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
        name = rig.strands[run.strand].name
        placer.put("tension", name, texts[run.strand], _along(run, text_width(texts[run.strand], size, bold=True)))
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
            placer.put("rope", rope.name, name, spots)
    return tuple(placer.labels)


def _extent(rig: Rig, mark: Mark) -> Box:
    kind = rig.stations[mark.station].kind
    if mark.turns:
        r = mark.radius
        return Box(mark.x - r, mark.y - r, mark.x + r, mark.y + r)
    if kind == "pulley":  # straight over it: the wheel is below the rope
        return Box(mark.x - 13.0, mark.y - 5.0, mark.x + 13.0, mark.y + 30.0)
    r = {"grab": 10.0, "capture": 10.0, "edge": 11.0, "tie": 6.0}.get(kind, 3.0)
    return Box(mark.x - r, mark.y - r, mark.x + r, mark.y + r)


Spots = list[tuple[float, float]]


def _beside(mark: Mark) -> Spots:
    """Middles for a station's name: outside its turn, or below and above the rope."""
    if mark.turns:
        t = mark.turns
        return [
            (mark.x + t * (mark.radius + 4 + reach), mark.y + dy)
            for dy in (0.0, 12.0, -12.0) for reach in (10.0, 20.0, 32.0, 46.0, 62.0)
        ]  # fmt: skip
    spots = [(mark.x + dx, mark.y + dy) for dy in (19.0, -19.0) for dx in (0.0, 14.0, -14.0, 30.0, -30.0)]
    spots += [(mark.x + dx, mark.y + dy) for dy in (30.0, -30.0, 38.0) for dx in (0.0, 30.0, -30.0)]
    return [*spots, (mark.x, mark.y + 48.0)]


def _ends(mark: Mark, page: Box) -> Spots:
    """Middles for what stands at a loose end; the placer keeps them on the page."""
    inward = 1.0 if mark.x < page.x1 / 2 else -1.0
    return [
        (mark.x + inward * dx, mark.y + dy)
        for dx in (14.0, 24.0, 44.0, 0.0, 64.0, -30.0) for dy in (16.0, -16.0, 28.0, -28.0)
    ]  # fmt: skip


def _around(bar: Bar, wide: float) -> Spots:
    spots = [(bar.x, bar.y0 - 9), (bar.x, bar.y1 + 9)]
    for y in (bar.y0 + 2, bar.y0 - 9, bar.y1 + 9, bar.y1 - 2, (bar.y0 + bar.y1) / 2):
        spots += [(bar.x + way * (wide / 2 + gap), y) for gap in (12.0, 26.0, 44.0) for way in (1, -1)]
    return spots


def _along(run: Run, wide: float) -> Spots:
    """Middles for a tension: above its own strand, below it, past its ends in its own row."""
    spots = []
    lean = abs(run.y1 - run.y0) / max(1.0, abs(run.x1 - run.x0)) * wide / 2
    for dy in (-12.0 - lean, 12.0 + lean):
        spots += [(x, y + dy) for x, y in map(run.at, (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9))]
    for end, way in ((run.at(1.0), 1), (run.at(0.0), -1)):
        out = way * (1 if run.x1 >= run.x0 else -1)
        for gap in (0.0, 6.0, 16.0, 28.0, 44.0, 64.0):
            spots += [(end[0] + out * (wide / 2 + gap), end[1] + dy) for dy in (-12.0, 0.0, 12.0, -24.0, 24.0)]
    return spots
