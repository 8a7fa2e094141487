"""The numbers and tables of the plan page for one rig, and the comparison of two, as HTML."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.mechanics.load_cases import Condition
from analysis.mechanics.model import Model
from analysis.mechanics.rope_stretch import take_up
from analysis.mechanics.ten_percent_rule import ten_percent
from analysis.messages.message import text_of
from analysis.prediction.jam import jam_message, jammed
from analysis.prediction.predict import stop_hauling_at
from dashboard.plan.planned_rig import (
    PartRow,
    PlannedRig,
    hardware,
    over_limit,
    part_rows,
    travel_warnings,
)
from dashboard.plan.t_method_table import t_method
from dashboard.text.templates import render
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus

NOTHING_N = 1e-3  # a force below this is shown as 0
LESS = 1e-9  # a difference below this is rounding alone


@dataclass(frozen=True)
class Tile:
    """One number at the top of the page."""

    title: str  # above the number
    name: str  # data-figure attribute, which style sheet and tests use
    text: str  # the number with its unit
    notes: tuple[str, ...]  # lines below the number

    @property
    def unknown(self) -> bool:
        """Whether the text is a word and no number."""
        return self.text == UNKNOWN


@dataclass(frozen=True)
class GearRow:
    """One strand or element in the table of gear, as texts."""

    name: str  # of the strand or element
    kind: str  # class of the row: "bad" (over its limit), "unrated" or ""
    detail: str  # kind, place, item and tension while hauling
    most: str  # greatest share of the limit in any condition
    most_is_share: bool  # False: `most` is a word
    most_in: str  # the condition of that share
    cells: tuple[tuple[str, str], ...]  # (condition, force and share of the limit in it)
    allowed: str  # the limit
    why: str  # where the limit comes from
    haul_at_limit: str  # haul force that brings it to its limit


@dataclass(frozen=True)
class GearTable:
    """The table of gear."""

    heads: tuple[str, ...]  # titles of the columns
    rows: tuple[GearRow, ...]  # rows with a limit, the greatest share first, then the others
    rated: int  # number of rows with a limit
    notes: tuple[str, ...]  # lines below the table


@dataclass(frozen=True)
class ComparedCell:
    """One rig's value in the comparison."""

    text: str  # with its unit
    less: bool  # whether it is the smaller of the two


@dataclass(frozen=True)
class ComparedRow:
    """One row of the comparison of two rigs."""

    label: str  # what is compared
    cells: tuple[ComparedCell, ...]  # one a rig


def top(planned: PlannedRig, e: float | None, units: Units) -> str:
    """HTML of the warnings, then of the four main numbers.  e: efficiency of every pulley, None:
    the file's."""
    rig_model = planned.model(e)
    rows = part_rows(rig_model, planned.conditions(e))
    warnings = [*rig_model.warnings, *over_limit(rows), *travel_warnings(planned)]
    warnings.sort(key=lambda warning: warning.level != "stop")
    return render(
        "plan/top.html.j2",
        warnings=[
            {"kind": "stop" if w.level == "stop" else "mind", "text": w.text(units)}
            for w in warnings
        ],
        tiles=_tiles(rig_model, units),
    )


def about(planned: PlannedRig, e: float | None) -> str:
    """HTML of the rig file's note and source, and of the what-if.  e: efficiency of every pulley;
    None: no what-if."""
    rig = planned.rig
    return render("plan/about.html.j2", note=rig.note, source=rig.source, e=e)


def tables(planned: PlannedRig, e: float | None, units: Units) -> str:
    """HTML of the T-method, gear and travel.  e: efficiency of every pulley, None: the file's."""
    rig_model = planned.model(e)
    conditions = planned.conditions(e)
    return render(
        "plan/tables.html.j2",
        t_method=t_method(rig_model),
        gear=_gear(part_rows(rig_model, conditions), conditions, units),
        travel=_travel(planned, rig_model, units),
    )


def comparison(pair: Sequence[PlannedRig], e: float | None, mode: str, units: Units) -> str:
    """HTML of two rigs side by side; the smaller of two numbers is marked.

    e: efficiency of every pulley, None: the files'; mode: how grabs are reset, one of MODES.
    """
    models = [p.model(e) for p in pair]
    predictions = [p.prediction() for p in pair]
    jobs: list[dict[str, Any]] = [prediction["job"][mode] or {} for prediction in predictions]
    resets = [None if j.get("strokes") is None else sum(j["resets"].values()) for j in jobs]
    needed_m = [sum(rope["needed_m"] for rope in prediction["rope"]) for prediction in predictions]
    parts = [sum(s.kind in ("pulley", "grab", "capture") for s in p.rig.stations) for p in pair]
    rows = [
        _row("rope through the hands", [j.get("haul_travel_m") for j in jobs], units.length),
        _row("strokes", [j.get("strokes") for j in jobs], lambda count: f"{count:.0f}"),
        _row("resets", resets, lambda count: f"{count:.0f}"),
        _compared(
            "haul force",
            [m.haul_force_N for m in models],
            [units.force_pm(m.haul_force_N, m.haul_force_u_N) for m in models],
        ),
        _row("rope needed", needed_m, units.length),
        _compared("hardware", parts, [hardware(p.rig) for p in pair]),
        _compared(
            "MA with friction",
            [None, None],
            [plus_minus(m.model_ma, 2 * m.model_ma_u) for m in models],
        ),
    ]
    names = [p.rig.title or p.path.name for p in pair]
    return render("plan/comparison.html.j2", names=names, rows=rows)


def _row(label: str, values: Sequence[float | None], text: Callable[[float], str]) -> ComparedRow:
    return _compared(label, values, [UNKNOWN if v is None else text(v) for v in values])


def _compared(label: str, values: Sequence[float | None], texts: Sequence[str]) -> ComparedRow:
    """values: numbers to compare, one a rig; None: nothing is marked."""
    cells = [
        ComparedCell(text, own is not None and other is not None and own < other - LESS)
        for text, own, other in zip(texts, values, reversed(values), strict=True)
    ]
    return ComparedRow(label, tuple(cells))


def _tiles(rig_model: Model, units: Units) -> list[Tile]:
    stop = stop_hauling_at(rig_model)
    rated = f"{stop.rated} of {stop.parts} strands and parts are rated"
    rule = ten_percent(rig_model)
    handbook = number(rule.ma)
    if rule.haul_N is not None:
        handbook += f", haul force {units.force(rule.haul_N)}"
    advantage = (
        f"efficiency {percent(rig_model.efficiency)}; ± covers 95 %",
        f"for comparison, the handbook rule of 10 % lost at each sheave: {handbook}",
    )
    ideal = (f"{number(rig_model.travel_ratio)} of rope for 1 of load", hardware(rig_model.rig))
    return [
        Tile(
            title="Stop hauling at",
            name="stop",
            text=units.force(stop.haul_force_N),
            notes=_filled(stop.because.text(units), rated),
        ),
        Tile(
            title="Haul force",
            name="haul",
            text=units.force_pm(rig_model.haul_force_N, rig_model.haul_force_u_N),
            notes=tuple(_haul_notes(rig_model, units)),
        ),
        Tile(
            title="MA with friction",
            name="ma",
            text=plus_minus(rig_model.model_ma, 2 * rig_model.model_ma_u),
            notes=advantage,
        ),
        Tile(
            title="Ideal MA",
            name="ideal",
            text=f"{number(rig_model.ideal_ma)} : 1",
            notes=_filled(*ideal),
        ),
    ]


def _filled(*notes: str) -> tuple[str, ...]:
    return tuple(note for note in notes if note)


def _haul_notes(rig_model: Model, units: Units) -> list[str]:
    """Lines below the haul force: break-away, running back, load force, team."""
    notes = [] if rig_model.haul_force_N is None else ["while the load moves; ± covers 95 %"]
    start, steady = rig_model.start_force_N, rig_model.haul_force_N
    if start is not None and steady is not None and start > steady * 1.0001:
        away = units.force_pm(start, rig_model.start_force_u_N)
        notes.append(f"to start the load moving {away}")
    if rig_model.lower_force_N is not None:
        back = units.force_pm(rig_model.lower_force_N, rig_model.lower_force_u_N)
        notes.append(f"hold at least {back}, or the load runs back")
    if rig_model.load_force_N is not None:
        notes.append(
            f"load force {units.force_pm(rig_model.load_force_N, rig_model.load_force_u_N)}"
        )
    if rig_model.rig.team_pull_N is not None:
        notes.append(f"the team can keep up {units.force(rig_model.rig.team_pull_N)}")
    notes.append(f"if the load jams: {jam_message(jammed(rig_model)).text(units)}")
    return notes


def _gear(rows: Sequence[PartRow], conditions: Sequence[Condition], units: Units) -> GearTable:
    """The table of gear, with a column for each condition in which any force is known."""
    columns = [k for k in range(len(conditions)) if any(row.force_N[k] is not None for row in rows)]
    shown = [conditions[k].name for k in columns]
    missing: dict[str, list[str]] = {}  # why there is no column: conditions
    for k, condition in enumerate(conditions):
        if condition.why_not and k not in columns:
            missing.setdefault(condition.why_not.text(units), []).append(condition.name)
    holds = [
        f"{c.name}: "
        + (f"these can be reset: {', '.join(c.covers)}" if c.covers else "no grab can be reset")
        for c in conditions
        if c.held_on is not None and c.rows
    ]
    return GearTable(
        heads=("part", "highest use", *shown, "allowed", "haul at limit"),
        rows=tuple(_gear_row(row, conditions, columns, units) for row in rows),
        rated=sum(row.limit_N is not None for row in rows),
        notes=(
            *holds,
            *(f"no force for {', '.join(names)}: {why}" for why, names in missing.items()),
        ),
    )


def _gear_row(
    row: PartRow, conditions: Sequence[Condition], columns: Sequence[int], units: Units
) -> GearRow:
    """columns: which of the conditions have a column."""
    kind = "unrated" if row.limit_N is None else ""
    if row.worst is not None and row.worst > 1:
        kind = "bad"
    share = percent(row.worst)
    word = "unrated" if row.limit_N is None else "—"
    return GearRow(
        name=row.name,
        kind=kind,
        detail=_detail(row),
        most=word if row.worst is None else share,
        most_is_share=row.worst is not None,
        most_in=row.worst_in if row.worst else "",
        cells=tuple(
            (conditions[k].name, _force_cell(row.force_N[k], row.use[k], units)) for k in columns
        ),
        allowed="—" if row.limit_N is None else _unbroken(units.force(row.limit_N)),
        why=text_of(row.why, units),
        haul_at_limit="—" if row.reached_at_N is None else _unbroken(units.force(row.reached_at_N)),
    )


def _force_cell(force_N: float | None, use: float | None, units: Units) -> str:
    """A force and its share of the limit; use: that share, None where there is no limit."""
    if force_N is None:
        return "—"
    if force_N < NOTHING_N:
        return "0"
    text = _unbroken(units.force(force_N))
    return text if use is None else f"{text}, {_unbroken(percent(use))}"


def _unbroken(quantity: str) -> str:
    """A number and its unit, joined by a space at which no line breaks."""
    return quantity.replace(" ", "\u00a0")


def _detail(row: PartRow) -> str:
    kind = row.kind if row.name != row.kind else ""
    on = f" on {row.on}" if row.kind in ("pulley", "capture") and row.on else ""
    carries = f" carries {row.on}" if row.kind == "gear" and row.on else ""
    item = f", {row.item}" if row.item else ""
    about = f"{kind}{on}{carries}{item}"
    return f"{about}{', ' if about else ''}{tension(row.model)} hauling"


def tension(multiple: float) -> str:
    """A multiple of the haul tension: two decimals below ten, then one, then none."""
    places = 2 if abs(multiple) < 9.995 else 1 if abs(multiple) < 99.95 else 0
    return f"{multiple:.{places}f} T"


def _travel(planned: PlannedRig, rig_model: Model, units: Units) -> list[str]:
    """Lines on one stroke, the job, each rope and the rope lost to stretch."""
    prediction = planned.prediction()
    stroke = prediction["stroke"]
    meets = " meets ".join(stroke["stopped_by"])
    lines = [
        f"one stroke: {units.length(stroke['haul_travel_m'])} of rope moves the load "
        f"{units.length(stroke['load_travel_m'])}" + (f", until {meets}" if meets else "")
    ]
    for mode, how in (("each", "each grab reset alone"), ("together", "all grabs reset together")):
        lines.append(f"the job, {how}: {_job(prediction['job'][mode], units)}")
    lines += [_rope(rope, units) for rope in prediction["rope"]]
    lost = take_up(rig_model)
    if lost.first_m is None:
        lines.append(f"rope lost to stretch: {UNKNOWN} ({text_of(lost.why, units)})")
    else:
        after = "".join(
            f", {units.length(length_m)} after a reset held on {name}"
            for name, length_m in lost.after.items()
        )
        lines.append(
            f"rope lost to stretch, in addition: {units.length(lost.first_m)} at the first pull{after}"
        )
    return lines


def _job(job: dict[str, Any] | None, units: Units) -> str:
    """Strokes, rope and resets of the job.  job: one mode of `job` in the prediction's JSON."""
    if job is None or job["strokes"] is None:
        return UNKNOWN
    resets = ", ".join(f"{name} {times} times" for name, times in job["resets"].items() if times)
    strokes = "stroke" if job["strokes"] == 1 else "strokes"
    return (
        f"{job['strokes']} {strokes}, {units.length(job['haul_travel_m'])} of rope through the hands "
        f"for {units.length(job['load_travel_m'])} of load; resets: {resets or 'none'}"
    )


def _rope(rope: dict[str, Any], units: Units) -> str:
    """Whether a rope is long enough.  rope: a row of `rope` in the prediction's JSON."""
    enough = {None: "length not stated in the rig file", True: "enough", False: "NOT ENOUGH"}
    bag = "" if rope["length_m"] is None else f", {units.length(rope['length_m'])} in the bag"
    return (
        f"rope {rope['name']}: {units.length(rope['in_rig_m'])} in the rig at the start, "
        f"{units.length(rope['needed_m'])} needed{bag}: {enough[rope['enough']]}"
    )
