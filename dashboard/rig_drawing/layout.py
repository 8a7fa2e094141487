"""Computes the position of each body, station and strand of a rig on the page, in pixels.

The haul axis runs along the page, the anchor left and the load right.  The rope runs down the page in
rope order: where it turns back it takes the next row, so that no strand covers another.  Bodies are
to scale along the axis, but never closer together than their labels need.  A strand to a body beside
the axis slopes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from analysis.rig.rig import Floats, Rig
from dashboard.rig_drawing.cell_signs import CellSign, cell_signs
from dashboard.rig_drawing.label_candidates import (
    NARROW,
    SLOPE,
    BodyBar,
    StationMark,
    StrandRun,
    place_labels,
)
from dashboard.rig_drawing.label_placement import Box, Label, text_width

# pixels
ASIDE = 27.0  # between two stations on one body in one row
TAIL = 48.0  # length of a slack tail, and of a haul strand that leads sideways
GEAR_ROW = 24.0  # height of a row of the list of gear
LEAST = 46.0  # between two neighbouring bodies, as far as the page has room
# |cosine| of a haul strand's angle below which it leads to neither side: within 10 degrees of 90
MIDWAY = 0.17


@dataclass(frozen=True)
class Layout:
    """Positions of all that is drawn, in pixels of the page."""

    width: float  # of the page
    height: float  # of the page
    size: float  # of the type
    runs: tuple[StrandRun, ...]  # strands in rope order
    marks: tuple[StationMark, ...]  # stations in rope order
    bars: tuple[BodyBar, ...]  # uprights of the bodies
    labels: tuple[Label, ...]  # all texts but the list of gear
    gear: tuple[tuple[str, float, float], ...]  # (name, x, y) of the symbol of each gear
    signs: tuple[CellSign, ...] = ()  # of load cells


def lay_out(
    rig: Rig, x_m: Floats, texts: Sequence[str], width: int = 900, cells: Sequence[str] = ()
) -> Layout:
    """The layout of a rig.

    x_m: (bodies,), positions of the bodies along the haul axis from the anchor, m.
    texts: the label of each strand.
    width: of the page, pixels.
    cells: places of load cells, as a sensors file names them.
    """
    narrow = width < NARROW
    pitch, size = (36.0, 12.0) if narrow else (42.0, 13.5)
    directions = _directions(rig, x_m)
    asides = _asides(rig, directions)
    x = _across(
        rig, x_m, asides, _needs(rig, texts, size), width, (66.0, 50.0) if narrow else (128.0, 96.0)
    )
    runs, marks, bottom = _rows(rig, x, directions, asides, pitch, width)
    bars = _bars(rig, x, marks)
    gear = tuple((g.name, 16.0, bottom + GEAR_ROW * (k + 0.5)) for k, g in enumerate(rig.gears))
    height = bottom + GEAR_ROW * len(gear) + 4
    signs = cell_signs(rig, cells, runs, marks, bars)
    clear = [sign.box for sign in signs]
    labels = place_labels(rig, texts, runs, marks, bars, size, Box(0, 0, width, bottom), clear)
    return Layout(
        width=float(width),
        height=height,
        size=size,
        runs=runs,
        marks=marks,
        bars=bars,
        labels=labels,
        gear=gear,
        signs=signs,
    )


def _directions(rig: Rig, x_m: Floats) -> list[int]:
    """The direction of each strand along the page, followed in rope order: -1 left, +1 right."""
    order = {b: k for k, b in enumerate(_order(rig, x_m))}
    directions: list[int] = [0] * len(rig.strands)
    for k, strand in enumerate(rig.strands):
        a, b = rig.stations[strand.start], rig.stations[strand.end]
        if a.body is not None and b.body is not None and a.body != b.body:
            directions[k] = 1 if order[b.body] > order[a.body] else -1
        elif "haul" in (a.kind, b.kind) and None in (a.body, b.body):
            haul = a if a.body is None else b
            along = math.cos(math.radians(haul.toward_deg))
            out = 0 if abs(along) < MIDWAY else (-1 if along > 0 else 1)
            directions[k] = out if haul is b else -out
    for k, strand in enumerate(rig.strands):  # a strand without a direction takes its neighbour's
        if directions[k] == 0:
            same = [j for j in (k - 1, k + 1) if 0 <= j < len(directions)]
            same = [j for j in same if rig.strands[j].rope == strand.rope and directions[j]]
            ahead = rig.stations[strand.end].kind == "capture" and k + 1 in same
            if same:
                directions[k] = directions[k + 1 if ahead else same[0]]
            else:
                directions[k] = -1
    return directions


def _order(rig: Rig, x_m: Floats) -> list[int]:
    """Indices of the bodies in order along the haul axis, from the anchor's side."""
    return sorted(range(len(rig.bodies)), key=lambda b: (float(x_m[b]), b))


def _asides(rig: Rig, directions: list[int]) -> dict[int, float]:
    """Station -> its distance from its body's upright, for stations that share a body and a row."""
    result: dict[int, float] = {}
    for rope in rig.ropes:
        chain: list[int] = []
        for s in rope.stations:
            body = rig.stations[s].body
            if chain and body is not None and body == rig.stations[chain[-1]].body:
                chain.append(s)
                continue
            _spread(rig, chain, directions, result)
            chain = [s]
        _spread(rig, chain, directions, result)
    return result


def _spread(rig: Rig, chain: list[int], directions: list[int], result: dict[int, float]) -> None:
    """Set the distances of neighbouring stations on one body: one stays on the upright, the first that is
    no capture, and the others stand beside it."""
    if len(chain) < 2:
        return
    middle = next(
        (k for k, s in enumerate(chain) if rig.stations[s].kind != "capture"), len(chain) - 1
    )
    for k, s in enumerate(chain):
        if k < middle:
            result[s] = -directions[rig.after[s]] * ASIDE * (middle - k)
        elif k > middle:
            result[s] = directions[rig.before[s]] * ASIDE * (k - middle)


def _needs(rig: Rig, texts: Sequence[str], size: float) -> dict[frozenset[int], float]:
    """Pair of bodies -> the distance that the labels of the strands between them need."""
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
    """x of each body on the page: to scale, moved apart where they would be closer than `needs`."""
    left, right = margins[0], width - margins[1]
    order = _order(rig, x_m)
    low = float(min(rig.start_m.min(), x_m.min()))
    high = float(max(rig.start_m.max(), x_m.max()))
    scale = (right - left) / (high - low) if high > low else 0.0
    gaps = []
    for a, b in pairwise(order):
        reach = max((v for s, v in asides.items() if rig.stations[s].body == a), default=0.0)
        back = min((v for s, v in asides.items() if rig.stations[s].body == b), default=0.0)
        need = needs.get(frozenset((a, b)), LEAST)
        gaps.append(need + max(reach, 0.0) + max(-back, 0.0))
    # below 1: the page is too narrow for all gaps
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
    rig: Rig,
    x: list[float],
    directions: list[int],
    asides: dict[int, float],
    pitch: float,
    width: int,
) -> tuple[tuple[StrandRun, ...], tuple[StationMark, ...], float]:
    """Strands and stations row by row, and the y below the last row."""
    runs: list[StrandRun] = []
    marks: list[StationMark] = []
    y = 40.0 if len(rig.ropes) == 1 else 58.0
    for index, rope in enumerate(rig.ropes):
        if index:
            y += pitch + 22.0
        for s in rope.stations:
            station = rig.stations[s]
            into, out = rig.before.get(s), rig.after.get(s)
            turns = 0
            if into is not None and out is not None and directions[into] != directions[out]:
                turns = directions[into]
            at = None if station.body is None else x[station.body] + asides.get(s, 0.0)
            # the rope begins at the haulers: they are placed from the strand's other end
            if at is None and into is None:
                body = rig.stations[s + 1].body
                near = x[body] if body is not None else x[0]
                at = _end(-directions[out or 0], near, width, station.toward_deg)
            elif at is None and into is not None:
                near = marks[-1].x
                if station.kind == "free":
                    at = min(max(near + directions[into] * TAIL, 8.0), width - 8.0)
                else:
                    at = _end(directions[into], near, width, station.toward_deg)
            assert at is not None
            if into is not None:
                begun = marks[-1]
                y1 = y + (SLOPE if _slopes(rig, into) else 0.0)
                kind = {"free": "slack"}.get(station.kind, "plain")
                runs.append(
                    StrandRun(
                        strand=into,
                        kind="haul" if into == rig.haul_strand else kind,
                        x0=begun.x,
                        y0=y,
                        x1=at,
                        y1=y1,
                    )
                )
                y = y1
            marks.append(
                StationMark(
                    station=s,
                    x=at,
                    y=y + (pitch / 2 if turns else 0.0),
                    turns=turns,
                    radius=pitch / 2,
                )
            )
            if turns:
                y += pitch
    return tuple(runs), tuple(marks), y + 36.0


def _end(direction: int, near: float, width: int, toward_deg: float) -> float:
    """x of the haulers' end: at the edge of the page, or TAIL from the other end, whose x is `near`, where
    they pull sideways.  direction: -1 left, +1 right; toward_deg: of the pull, from the haul axis."""
    if abs(math.cos(math.radians(toward_deg))) < MIDWAY:
        return min(max(near + direction * TAIL, 12.0), width - 12.0)
    return 12.0 if direction < 0 else width - 12.0


def _slopes(rig: Rig, strand: int) -> bool:
    """Whether a strand leads to a body beside the haul axis or to haulers who pull at an angle to
    it."""
    a, b = (rig.stations[s] for s in (rig.strands[strand].start, rig.strands[strand].end))
    if a.body is not None and b.body is not None:
        return bool(rig.side_m[a.body] != rig.side_m[b.body])
    if "free" in (a.kind, b.kind):
        return False
    haul = a if a.body is None else b
    return abs(math.sin(math.radians(haul.toward_deg))) > 0.05


def _bars(rig: Rig, x: list[float], marks: tuple[StationMark, ...]) -> tuple[BodyBar, ...]:
    """The upright of each body but edges, over the rows of its stations."""
    result = []
    for b, body in enumerate(rig.bodies):
        mine = [m for m in marks if rig.stations[m.station].body == b]
        if mine and body.kind != "edge":
            # bodies other than grabs are drawn past the turns of their ropes
            turn = 0.0 if body.kind == "grab" else 1.0
            ys = [m.y + side * turn * m.radius * abs(m.turns) for m in mine for side in (-1, 1)]
            reach = 14.0 if body.kind != "grab" else 0.0
            result.append(BodyBar(b, x[b], min(ys) - reach, max(ys) + reach))
    return tuple(result)
