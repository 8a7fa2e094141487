"""Draws a rig as one self-contained SVG text, for pages and for paper.

Colours are CSS variables, which a page may set, with fallbacks that are dark on white for a printed
report.  Shape and text identify each thing without colour too: pulley: a wheel; capture: a toothed
wedge that points in the direction in which rope cannot run; grab: a lozenge; edge: a hill below the
rope; tie: a square; plate, anchor and load: uprights; gear: a hexagon; load cell: a
block with a bent wire in it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from html import escape

import numpy as np

from analysis.mechanics.kinematics import solve_motion
from analysis.rig.rig import Floats, Rig, Station
from dashboard.rig_drawing.cell_signs import HIGH, WIDE, CellSign, cells_in_words
from dashboard.rig_drawing.label_candidates import BodyBar, StationMark, StrandRun
from dashboard.rig_drawing.label_placement import BOLD, Label, cut
from dashboard.rig_drawing.layout import Layout, lay_out

INK, PAPER = "var(--ink,#14181c)", "var(--panel,#ffffff)"
MUTED, LINE = "var(--muted,#4a525a)", "var(--drawn-line,#8d949b)"
GRAB, CAPTURE = "var(--drawn-grab,#ffd166)", "var(--drawn-capture,#d9c8f2)"
ROPES = (
    "var(--rope-1,#0a4f9e)", "var(--rope-2,#a2460a)", "var(--rope-3,#6b3fa0)", "var(--rope-4,#8c1d40)",
)  # fmt: skip
THIN, THICKER = (
    2.0,
    5.5,
)  # pixels: width of a strand without tension, and what the greatest tension adds
RING = 19.0  # pixels: radius of the ring round what was changed, beyond every symbol
# kind of station -> its description; {0}: its name, {1}: the body that it is on
DESCRIPTIONS = {
    "tie": "tied to {0}", "grab": "grab {0}", "pulley": "pulley {0} on {1}", "capture": "capture {0} on {1}",
    "edge": "edge {0}", "haul": "{0} hauls here", "free": "slack tail",
}  # fmt: skip


def drawing(
    rig: Rig, x_m: Floats, tension: Floats | None, texts: Sequence[str], *, width: int = 900,
    notes: Mapping[str, str] | None = None, ringed: Collection[str] = (),
    cells: Mapping[str, Sequence[str]] | None = None,
) -> str:  # fmt: skip
    """The SVG of a rig.

    x_m: (bodies,), positions of the bodies along the haul axis from the anchor, m.
    tension: (strands,), in any one unit, for the line width; None: all strands are thin.
    texts: the label of each strand.
    width: pixels, 320 or more.
    notes: by name of an element, a text that is added to its tooltip.
    ringed: names of stations with a dashed ring round them, as what was just changed.
    cells: by place, as a sensors file names it, the names of the load cells there.

    Names are escaped.  Each strand has data-strand="A1>T1", its label data-tension="A1>T1", each
    element data-element="A1", for the scripts of the pages.
    """
    notes, cells = notes or {}, cells or {}
    plan = lay_out(rig, x_m, texts, width, tuple(cells))
    most = 0.0 if tension is None else float(max((abs(t) for t in tension), default=0.0))
    thick = [
        THIN
        + (
            0.0
            if tension is None or most == 0
            else THICKER * (abs(float(tension[k])) / most) ** 0.7
        )
        for k in range(len(rig.strands))
    ]
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(in_words(rig, texts) + cells_in_words(cells))}" '
        f'viewBox="0 0 {plan.width:g} {plan.height:g}" width="{plan.width:g}" height="{plan.height:g}" '
        f'font-family="system-ui, DejaVu Sans, Segoe UI, Roboto, sans-serif" font-size="{plan.size:g}">'
    ]
    pieces += [_bar(rig, bar) for bar in plan.bars]
    pieces += [_bracket(rig, plan, mark) for mark in plan.marks]
    for run in plan.runs:
        pieces.append(_strand(rig, run, thick[run.strand], texts[run.strand]))
    pieces += [_turn(rig, mark, thick) for mark in plan.marks if mark.turns]
    pieces += [_symbol(rig, mark, thick, plan, notes) for mark in plan.marks]
    pieces += [_ring(mark) for mark in plan.marks if rig.stations[mark.station].name in ringed]
    pieces += [_gear(rig, plan, row, notes) for row in plan.gear]
    pieces += [_cell(sign, cells[sign.at]) for sign in plan.signs]
    pieces += [_text(label, rig) for label in plan.labels]
    return "".join(pieces) + "</svg>"


def in_words(rig: Rig, texts: Sequence[str]) -> str:
    """The path of every rope as a sentence with each strand's label, for readers who do not see the
    drawing."""
    sentences = []
    for rope in rig.ropes:
        steps = []
        for s in rope.stations:
            station = rig.stations[s]
            on = "" if station.body is None else rig.bodies[station.body].name
            step = DESCRIPTIONS[station.kind].format(station.name, on)
            carries = f", then {texts[rig.after[s]]}" if s in rig.after else ""
            steps.append(step + carries)
        sentences.append(f"Rope {rope.name}: " + "; ".join(steps) + ".")
    return " ".join(sentences)


def _colour(rig: Rig, rope: int) -> str:
    return ROPES[rope % len(ROPES)]


def _strand(rig: Rig, run: StrandRun, thick: float, text: str) -> str:
    strand = rig.strands[run.strand]
    name = escape(strand.name)
    ends = f'x1="{run.x0:.1f}" y1="{run.y0:.1f}" x2="{run.x1:.1f}" y2="{run.y1:.1f}"'
    colour = _colour(rig, strand.rope)
    dash = ' stroke-dasharray="5 5"' if run.kind == "slack" else ""
    arrow = _arrow(rig, run, thick, colour) if run.kind == "haul" else ""
    return (
        f'<g data-strand="{name}" data-number="{run.strand}"><title>strand {name}: {escape(text)}</title>'
        f'<line {ends} style="stroke:{PAPER}" stroke-width="{thick + 4:.1f}"/>'
        f'<line {ends} style="stroke:{colour}" stroke-width="{thick:.1f}"{dash}/>{arrow}</g>'
    )


def _arrow(rig: Rig, run: StrandRun, thick: float, colour: str) -> str:
    """The arrow head at the haulers' end; none where a winch on the load takes the rope in."""
    if rig.stations[rig.haul].body is not None:
        return ""
    first = rig.haul_sign < 0  # the path begins at the haulers
    (x, y), (bx, by) = (run.at(0), run.at(1)) if first else (run.at(1), run.at(0))
    long = max(1.0, ((x - bx) ** 2 + (y - by) ** 2) ** 0.5)
    ux, uy = (x - bx) / long, (y - by) / long
    half = 5.0 + thick / 2
    back = (x - ux * 15, y - uy * 15)
    points = [
        (x + ux * 6, y + uy * 6), (back[0] - uy * half, back[1] + ux * half),
        (back[0] + uy * half, back[1] - ux * half),
    ]  # fmt: skip
    return f'<polygon points="{_points(points)}" style="fill:{colour};stroke:{PAPER}" stroke-width="1"/>'


def _turn(rig: Rig, mark: StationMark, thick: list[float]) -> str:
    """The half circle of the rope round a turn, from its row to the next."""
    into, out = rig.before[mark.station], rig.after[mark.station]
    r, sweep = mark.radius, 1 if mark.turns > 0 else 0
    path = (
        f"M{mark.x:.1f} {mark.y - r:.1f}A{r:.1f} {r:.1f} 0 0 {sweep} {mark.x:.1f} {mark.y + r:.1f}"
    )
    wide = (thick[into] + thick[out]) / 2
    colour = _colour(rig, rig.strands[into].rope)
    return (
        f'<path d="{path}" fill="none" style="stroke:{PAPER}" stroke-width="{wide + 4:.1f}"/>'
        f'<path d="{path}" fill="none" style="stroke:{colour}" stroke-width="{wide:.1f}"/>'
    )


def _bar(rig: Rig, bar: BodyBar) -> str:
    """The upright of a body: an anchor hatched on its far side, the load a block, the others thin."""
    body = rig.bodies[bar.body]
    x, y0, y1 = bar.x, bar.y0, bar.y1
    head = f'<g data-element="{escape(body.name)}"><title>{escape(_body_title(body.kind, body.name, body.y_m))}</title>'
    if body.kind in ("anchor", "further_anchor"):
        hatch = "".join(
            f'<line x1="{x - 3:.1f}" y1="{y:.1f}" x2="{x - 11:.1f}" y2="{y + 8:.1f}" style="stroke:{LINE}" stroke-width="1.5"/>'
            for y in _steps(y0 + 1, y1 - 8, 9.0)
        )
        shape = f'<line x1="{x:.1f}" y1="{y0:.1f}" x2="{x:.1f}" y2="{y1:.1f}" style="stroke:{INK}" stroke-width="6"/>{hatch}'
    elif body.kind == "load":
        shape = (
            f'<rect x="{x - 5:.1f}" y="{y0:.1f}" width="22" height="{y1 - y0:.1f}" rx="3" '
            f'style="fill:{LINE};fill-opacity:0.35;stroke:{INK}" stroke-width="2"/>'
        )
    elif body.kind == "plate":
        shape = (
            f'<rect x="{x - 5:.1f}" y="{y0:.1f}" width="10" height="{y1 - y0:.1f}" rx="5" '
            f'style="fill:{PAPER};stroke:{INK}" stroke-width="2"/>'
        )
    else:
        shape = f'<line x1="{x:.1f}" y1="{y0:.1f}" x2="{x:.1f}" y2="{y1:.1f}" style="stroke:{MUTED}" stroke-width="3.5"/>'
    return f"{head}{shape}</g>"


def _body_title(kind: str, name: str, aside_m: float) -> str:
    if kind in ("anchor", "load"):
        return f"the {kind}"
    beside = ", beside the haul axis" if aside_m else ""
    return f"{kind.replace('_', ' ')} {name}{beside}"


def _steps(first: float, last: float, step: float) -> list[float]:
    return [first + k * step for k in range(max(1, int((last - first) / step) + 1))]


def _bracket(rig: Rig, plan: Layout, mark: StationMark) -> str:
    """The line from a body's upright to a capture that stands beside it; "" for any other station."""
    body = rig.stations[mark.station].body
    bar = next((b for b in plan.bars if b.body == body), None)
    if bar is None or abs(bar.x - mark.x) < 1 or rig.stations[mark.station].kind != "capture":
        return ""
    y = mark.y - 8
    return f'<path d="M{bar.x:.1f} {y:.1f}H{mark.x:.1f}V{mark.y:.1f}" fill="none" style="stroke:{MUTED}" stroke-width="2.5"/>'


def _symbol(
    rig: Rig, mark: StationMark, thick: list[float], plan: Layout, notes: Mapping[str, str]
) -> str:
    """The symbol of a station with its tooltip; "" for a station that has none."""
    station = rig.stations[mark.station]
    x, y = mark.x, mark.y
    shape = ""
    if station.kind == "pulley":
        shape = _wheel(rig, mark, thick)
    elif station.kind == "grab":
        points = [(x - 11, y), (x, y - 9), (x + 11, y), (x, y + 9)]
        shape = f'<polygon points="{_points(points)}" style="fill:{GRAB};stroke:#14181c" stroke-width="2"/>'
    elif station.kind == "capture":
        shape = _wedge(mark, _rope_direction(rig, plan, mark.station))
    elif station.kind == "edge":
        shape = _edge(mark)
    elif station.kind == "tie":
        shape = f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" style="fill:{INK};stroke:{PAPER}" stroke-width="1"/>'
    elif station.kind == "haul" and station.body is not None:
        shape = (
            f'<rect x="{x - 9:.1f}" y="{y - 9:.1f}" width="18" height="18" rx="3" style="fill:{PAPER};stroke:{INK}" stroke-width="2"/>'
            f'<path d="M{x - 5:.1f} {y - 5:.1f}L{x + 5:.1f} {y + 5:.1f}M{x + 5:.1f} {y - 5:.1f}L{x - 5:.1f} {y + 5:.1f}" style="stroke:{INK}" stroke-width="2"/>'
        )
    if not shape:
        return ""
    name = escape(station.name)
    return f'<g data-element="{name}"><title>{escape(_station_title(rig, station, notes))}</title>{shape}</g>'


def _station_title(rig: Rig, station: Station, notes: Mapping[str, str]) -> str:
    on = "" if station.body is None else rig.bodies[station.body].name
    note = notes.get(station.name, "")
    return DESCRIPTIONS[station.kind].format(station.name, on) + (f": {note}" if note else "")


def _wheel(rig: Rig, mark: StationMark, thick: list[float]) -> str:
    """A pulley: inside the turn of its rope, or below a rope that runs straight over it."""
    x, y = mark.x, mark.y
    widest = max(thick[rig.before[mark.station]], thick[rig.after[mark.station]])
    r = (mark.radius if mark.turns else 14.0) - widest / 2 - 1
    r = max(4.0, min(r, 12.0))
    if not mark.turns:
        y += widest / 2 + r
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" style="fill:{PAPER};stroke:{INK}" stroke-width="2.5"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" style="fill:{INK}"/>'
    )


def _rope_direction(rig: Rig, plan: Layout, station: int) -> float:
    """The direction in which rope runs over a station while hauling: -1 left, +1 right on the
    page."""
    try:
        flow = float(solve_motion(rig).flow[station])
    except np.linalg.LinAlgError:
        flow = 0.0
    into = next(run for run in plan.runs if run.strand == rig.before[station])
    ahead = 1.0 if into.x1 >= into.x0 else -1.0
    return ahead if flow >= 0 else -ahead


def _wedge(mark: StationMark, hauling: float) -> str:
    """A progress capture, its point in the direction in which rope cannot run.

    hauling: the direction in which rope runs while hauling, -1 left, +1 right.
    """
    x, y = mark.x, mark.y
    points = [(x - hauling * 10, y), (x + hauling * 8, y - 9), (x + hauling * 8, y + 9)]
    teeth = "".join(
        f'<line x1="{x + hauling * d:.1f}" y1="{y - h:.1f}" x2="{x + hauling * d:.1f}" y2="{y + h:.1f}" style="stroke:#14181c" stroke-width="1.5"/>'
        for d, h in ((-2.0, 3.5), (3.0, 6.0))
    )
    return f'<polygon points="{_points(points)}" style="fill:{CAPTURE};stroke:#14181c" stroke-width="2"/>{teeth}'


def _edge(mark: StationMark) -> str:
    x, y = mark.x, mark.y
    if mark.turns:
        r = mark.radius - 5
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" style="fill:{LINE};stroke:{INK}" stroke-width="2"/>'
    return (
        f'<path d="M{x - 11:.1f} {y + 11:.1f}Q{x:.1f} {y - 7:.1f} {x + 11:.1f} {y + 11:.1f}Z" '
        f'style="fill:{LINE};stroke:{INK}" stroke-width="2"/>'
    )


def _cell(sign: CellSign, channels: Sequence[str]) -> str:
    """The sign of a load cell; channels: names of the cells there."""
    x, y = sign.x, sign.y
    names = escape(", ".join(channels))
    return (
        f'<g data-cell="{names}" {sign.attribute}><title>load cell {names}</title>'
        f'<rect x="{x - WIDE / 2:.1f}" y="{y - HIGH / 2:.1f}" width="{WIDE:g}" height="{HIGH:g}" rx="2" '
        f'style="fill:{PAPER};stroke:{INK}" stroke-width="2"/>'
        f'<path d="M{x - 7:.1f} {y + 3:.1f}l3.5 -6l3.5 6l3.5 -6l3.5 6" fill="none" style="stroke:{INK}" '
        f'stroke-width="1.6"/></g>'
    )


def _ring(mark: StationMark) -> str:
    """A dashed ring round a station."""
    return (
        f'<circle cx="{mark.x:.1f}" cy="{mark.y:.1f}" r="{RING:g}" fill="none" style="stroke:{INK}" '
        f'stroke-width="2" stroke-dasharray="4 3"/>'
    )


def _gear(rig: Rig, plan: Layout, row: tuple[str, float, float], notes: Mapping[str, str]) -> str:
    name, x, y = row
    gear = next(g for g in rig.gears if g.name == name)
    points = [(x + 9 * dx, y + 9 * dy) for dx, dy in
              ((-1, 0), (-0.5, -0.87), (0.5, -0.87), (1, 0), (0.5, 0.87), (-0.5, 0.87))]  # fmt: skip
    note = notes.get(name, "")
    kind = f" {gear.kind}" if gear.kind else ""
    text = f"{name}{kind} carries {', '.join(gear.carries)}" + (f": {note}" if note else "")
    shown = cut(text, plan.size, plan.width - 40)
    return (
        f'<g data-element="{escape(name)}"><title>{escape(text)}</title>'
        f'<polygon points="{_points(points)}" style="fill:{PAPER};stroke:{INK}" stroke-width="2"/>'
        f'<text x="{x + 16:.1f}" y="{y + plan.size * 0.35:.1f}" style="fill:{INK}">{escape(shown)}</text></g>'
    )


def _text(label: Label, rig: Rig) -> str:
    weight = ' font-weight="700"' if label.kind in BOLD else ""
    colour = INK
    extra = ""
    if label.kind == "tension":
        extra = f' data-tension="{escape(label.name)}"'
    elif label.kind in ("slack", "rope", "haul"):
        colour = MUTED
    y = label.y + (label.box.y1 - label.box.y0) * 0.3
    return (
        f'<text x="{label.x:.1f}" y="{y:.1f}" text-anchor="middle"{weight}{extra} paint-order="stroke" '
        f'style="fill:{colour};stroke:{PAPER}" stroke-width="3" stroke-linejoin="round">{escape(label.text)}</text>'
    )


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
