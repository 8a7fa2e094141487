"""What the plan page says of one rig, as HTML whose every text from a file is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from analysis.mechanics.load_cases import Condition
from analysis.mechanics.model import Model
from analysis.mechanics.rope_stretch import take_up
from analysis.mechanics.ten_percent_rule import ten_percent
from analysis.messages.message import text_of
from analysis.prediction.predict import stop_hauling_at
from dashboard.plan.planned_rig import PartRow, Planned, counted, over, part_rows, travel_warnings
from dashboard.plan.t_method_table import steps_table
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus

NOTHING_N = 1e-3


def top(planned: Planned, e: float | None, shown: Units) -> str:
    """Warnings, then the numbers that decide."""
    known = planned.model(e)
    rows = part_rows(known, planned.conditions(e))
    return _warnings(planned, known, rows, shown) + _tiles(known, shown)


def tables(planned: Planned, e: float | None, shown: Units) -> str:
    """T-method, gear, travel."""
    known = planned.model(e)
    found = planned.conditions(e)
    rows = part_rows(known, found)
    return (
        _tile("T-method, at the start of the job", steps_table(known), "steps")
        + _tile("Gear, by share of what is allowed", _gear(rows, found, shown), "gear")
        + _tile("Travel and rope", _travel(planned, known, shown), "travel")
    )


def comparison(pair: Sequence[Planned], e: float | None, mode: str, shown: Units) -> str:
    """Two rigs on the same rows; the smaller of two numbers is said to be it."""
    rows: list[tuple[str, list[str], list[float | None]]] = []
    known = [p.model(e) for p in pair]
    base = [p.base() for p in pair]
    jobs: list[dict[str, Any]] = [b["job"][mode] or {} for b in base]

    def row(label: str, values: list[float | None], text: Any) -> None:
        rows.append((label, [UNKNOWN if v is None else text(v) for v in values], values))

    row("rope through the hands", [j.get("haul_travel_m") for j in jobs], shown.length)
    row("strokes", [j.get("strokes") for j in jobs], lambda v: f"{v:.0f}")
    resets = [None if j.get("strokes") is None else float(sum(j["resets"].values())) for j in jobs]
    row("resets", resets, lambda v: f"{v:.0f}")
    row("haul force", [k.haul_force_N for k in known], shown.force)
    rows[-1] = (
        rows[-1][0],
        [shown.force_pm(k.haul_force_N, k.haul_force_u_N) for k in known],
        rows[-1][2],
    )
    needed = [sum(r["needed_m"] for r in b["rope"]) for b in base]
    row("rope needed", [float(n) for n in needed], shown.length)
    row("parts", [float(sum(s.kind in ("pulley", "grab", "capture") for s in p.rig.stations)) for p in pair],
        lambda v: "")  # fmt: skip
    rows[-1] = (rows[-1][0], [counted(p.rig) for p in pair], rows[-1][2])
    row("MA with friction", [k.model_ma for k in known], number)
    rows[-1] = (
        rows[-1][0],
        [plus_minus(k.model_ma, 2 * k.model_ma_u) for k in known],
        [None, None],
    )
    head = "".join(f"<th>{escape(p.rig.title or p.path.name)}</th>" for p in pair)
    body = ""
    for label, texts, values in rows:
        cells = ""
        for text, mine, other in zip(texts, values, reversed(values), strict=True):
            less = mine is not None and other is not None and mine < other - 1e-9
            cells += f"<td>{escape(text)}{'<b class=less> ◂ less</b>' if less else ''}</td>"
        body += f"<tr><th scope=row>{escape(label)}</th>{cells}</tr>"
    return f"<h2>Side by side</h2><table class=pair><tr><th></th>{head}</tr>{body}</table>"


def _warnings(planned: Planned, known: Model, rows: Sequence[PartRow], shown: Units) -> str:
    said = [*known.warnings, *over(rows), *travel_warnings(planned)]
    if not said:
        return ""
    said.sort(key=lambda one: one.level != "stop")
    items = "".join(
        f'<li class="{"stop" if one.level == "stop" else "mind"}">{escape(one.text(shown))}</li>'
        for one in said
    )
    return f'<ul class="warned" aria-label="warnings">{items}</ul>'


def _tiles(known: Model, shown: Units) -> str:
    stop = stop_hauling_at(known)
    rated = f"{stop.rated} of {stop.parts} strands and parts are rated"
    haul = shown.force_pm(known.haul_force_N, known.haul_force_u_N)
    haul_said = [] if known.haul_force_N is None else ["while the load moves; 95 %"]
    start, steady = known.start_force_N, known.haul_force_N
    if start is not None and steady is not None and start > steady * 1.0001:
        away = shown.force_pm(start, known.start_force_u_N)
        haul_said.append(f"to break the load away {away}")
    if known.lower_force_N is not None:
        back = shown.force_pm(known.lower_force_N, known.lower_force_u_N)
        haul_said.append(f"let the load run back at {back}")
    if known.load_force_N is not None:
        haul_said.append(f"load force {shown.force_pm(known.load_force_N, known.load_force_u_N)}")
    if known.rig.team_pull_N is not None:
        haul_said.append(f"the team keeps up {shown.force(known.rig.team_pull_N)}")
    rule = ten_percent(known)
    book = f"{number(rule.ma)}" + (
        "" if rule.haul_N is None else f", haul force {shown.force(rule.haul_N)}"
    )
    return (
        '<div class="numbers">'
        + _number("Stop hauling at", shown.force(stop.haul_force_N), [stop.because.text(shown), rated], "stop")
        + _number("Haul force", haul, haul_said, "haul")
        + _number("MA with friction", plus_minus(known.model_ma, 2 * known.model_ma_u),
                  [f"efficiency {percent(known.efficiency)}; 95 %",
                   f"handbook's 10 % a sheave, apart from the model: {book}"], "ma")
        + _number("Ideal MA", f"{number(known.ideal_ma)} : 1",
                  [f"{number(known.travel_ratio)} of rope for 1 of load", counted(known.rig)], "ideal")
        + "</div>"
    )  # fmt: skip


def _number(title: str, text: str, notes: list[str], name: str) -> str:
    items = "".join(f"<li>{escape(n)}</li>" for n in notes if n)
    word = " word" if text == UNKNOWN else ""
    return (
        f'<section class="tile"><h2>{title}</h2><div class="figure{word}" data-figure="{name}">{escape(text)}</div>'
        f'<ul class="note">{items}</ul></section>'
    )


def _tile(title: str, inside: str, name: str) -> str:
    return f'<section class="tile {name}"><h2>{title}</h2>{inside}</section>'


def _gear(rows: Sequence[PartRow], found: Sequence[Condition], shown: Units) -> str:
    told = [k for k, c in enumerate(found) if any(row.force_N[k] is not None for row in rows)]
    heads = ["part", "most of it", *(found[k].name for k in told), "allowed", "limit at haul"]
    head = "".join(f"<th>{escape(h)}</th>" for h in heads)
    body, parted = "", False
    for row in rows:
        if row.limit_N is None and not parted:
            parted = True
            unrated = sum(r.limit_N is None for r in rows)
            body += f'<tr class="parting"><th colspan="{len(heads)}">unrated: {unrated} of {len(rows)}, no rating in the rig file</th></tr>'
        cells = "".join(_cell(found[k].name, row.force_N[k], row.use[k], shown) for k in told)
        allowed = "—" if row.limit_N is None else _tied(shown.force(row.limit_N))
        reached = "—" if row.reached_at_N is None else _tied(shown.force(row.reached_at_N))
        bad = "bad" if row.worst is not None and row.worst > 1 else ""
        how = bad or ("unrated" if row.limit_N is None else "")
        body += (
            f'<tr class="{how}"><th scope="row">{_part(row)}</th>{_most(row)}{cells}'
            f'<td data-h="allowed">{escape(allowed)}<small>{escape(text_of(row.why, shown))}</small></td>'
            f'<td data-h="limit at haul">{escape(reached)}</td></tr>'
        )
    whys: dict[str, list[str]] = {}
    for k, condition in enumerate(found):
        if condition.why_not and k not in told:
            whys.setdefault(condition.why_not.text(shown), []).append(condition.name)
    why = [f"not known {', '.join(names)}: {text}" for text, names in whys.items()]
    notes = "".join(f"<li>{escape(w)}</li>" for w in why)
    holds = "".join(
        f"<li>{escape(c.name)}: {'can be reset meanwhile: ' + escape(', '.join(c.covers)) if c.covers else 'no grab can be reset meanwhile'}</li>"
        for c in found if c.held_on is not None and c.rows
    )  # fmt: skip
    return (
        '<p class="note">Sorted by the greatest share of what is allowed in any condition. Limit at haul: the haul '
        'force, without friction, that brings a thing to its limit.</p>'
        f'<table class="cards"><tr>{head}</tr>{body}</table><ul class="note">{holds}{notes}</ul>'
    )  # fmt: skip


def _most(row: PartRow) -> str:
    """The greatest share, and when."""
    if row.worst is None:
        text = "unrated" if row.limit_N is None else "—"
        return f'<td class="most">{text}</td>'
    when = f"<small>{escape(row.worst_in)}</small>" if row.worst > 0 else ""
    return f'<td class="most"><b>{escape(percent(row.worst))}</b>{when}</td>'


def _cell(name: str, force: float | None, use: float | None, shown: Units) -> str:
    if force is None:
        text = "—"
    elif force < NOTHING_N:
        text = "0"
    else:
        text = _tied(shown.force(force)) + ("" if use is None else f", {_tied(percent(use))}")
    return f'<td data-h="{escape(name)}">{escape(text)}</td>'


def _tied(text: str) -> str:
    """A number and its unit, which no line break may part."""
    return text.replace(" ", "\u00a0")


def _part(row: PartRow) -> str:
    kind = row.kind if row.name != row.kind else ""
    on = f" on {row.on}" if row.kind in ("pulley", "capture") and row.on else ""
    carries = f" carries {row.on}" if row.kind == "gear" and row.on else ""
    item = f", {row.item}" if row.item else ""
    said = f"{kind}{on}{carries}{item}"
    return (
        f"{escape(row.name)} <small>{escape(said)}{', ' if said else ''}"
        f"{tension(row.model)} hauling</small>"
    )


def tension(multiple: float) -> str:
    """A multiple of the haul tension: two decimals below ten, then one, then none."""
    places = 2 if abs(multiple) < 9.995 else 1 if abs(multiple) < 99.95 else 0
    return f"{multiple:.{places}f} T"


def _travel(planned: Planned, known: Model, shown: Units) -> str:
    base = planned.base()
    stroke = base["stroke"]
    meets = " meets ".join(stroke["stopped_by"])
    lines = [
        f"one stroke: {shown.length(stroke['haul_travel_m'])} of rope moves the load "
        f"{shown.length(stroke['load_travel_m'])}" + (f", until {meets}" if meets else "")
    ]
    for mode, how in (("each", "each grab reset alone"), ("together", "all grabs reset together")):
        done = base["job"][mode]
        if done is None or done["strokes"] is None:
            lines.append(f"the job, {how}: {UNKNOWN}")
            continue
        resets = ", ".join(
            f"{name} {times} times" for name, times in done["resets"].items() if times
        )
        lines.append(
            f"the job, {how}: {done['strokes']} {'stroke' if done['strokes'] == 1 else 'strokes'}, "
            f"{shown.length(done['haul_travel_m'])} of rope through the hands for "
            f"{shown.length(done['load_travel_m'])} of load; resets: {resets or 'none'}"
        )
    for row in base["rope"]:
        said = {None: "length not stated in the rig file", True: "enough", False: "NOT ENOUGH"}[
            row["enough"]
        ]
        bag = "" if row["length_m"] is None else f", {shown.length(row['length_m'])} in the bag"
        lines.append(
            f"rope {row['name']}: {shown.length(row['in_rig_m'])} in the rig at the start, "
            f"{shown.length(row['needed_m'])} needed{bag}: {said}"
        )
    lost = take_up(known)
    if lost.first_m is None:
        lines.append(f"rope lost to stretch: {UNKNOWN} ({text_of(lost.why, shown)})")
    else:
        after = "".join(
            f", {shown.length(v)} after a reset held on {n}" for n, v in lost.after.items()
        )
        lines.append(
            f"rope lost to stretch, on top: {shown.length(lost.first_m)} at the first pull{after}"
        )
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"
