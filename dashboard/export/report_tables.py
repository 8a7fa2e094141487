"""The tables of a printed report as HTML; every text from a file is escaped and of bounded length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Any

from analysis.efficiency.uncertainty import Quantity, budget_rows, t_quantile
from analysis.review.reviewed_session import Whole
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus
from logger.channels.channel import Channel
from logger.errors import one_line

MOST_STROKES, MOST_PARTS, MOST_EVENTS = 12, 14, 18
MOST_BUDGET, MOST_CHANNELS, MOST_CAUTIONS = 8, 8, 6
CAUTION = 150  # characters of one of many long ones
MANY_DEGREES = 1000.0  # from here on t is the normal quantile to three digits
GRAVE = ("over_limit", "slip", "shock", "saturated", "alarm")


def said(text: object, most: int = 100) -> str:
    """Any text on one line, cut, escaped."""
    return escape(one_line(str(text), most))


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], more: str = "", kind: str = ""
) -> str:
    """Cells are HTML already; the first of a row heads it."""
    top = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>'
        + "".join(f"<td>{cell}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    note = f'<p class="more">{more}</p>' if more else ""
    return f'<table class="{kind or "plain"}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>{note}'


def results(review: dict[str, Any], shown: Units) -> str:
    """Measured beside predicted."""
    measured, predicted = review["measured"], review["predicted"]
    of = shown.of
    rows = [
        ["mechanical advantage", of("number", measured["actual_ma"]),
         plus_minus(predicted["model_ma"], 2 * predicted["model_ma_u"])],
        ["if nothing were lost", "", number(review["ideal_ma"])],
        ["efficiency", of("number", measured["efficiency"]),
         plus_minus(predicted["efficiency"], 2 * predicted["model_ma_u"] / review["ideal_ma"])],
        ["haul force", of("force", measured["haul_force_N"]),
         shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"])],
        ["load force", of("force", measured["load_force_N"]), ""],
        ["efficiency of one pulley", of("number", measured["pulley_efficiency"]), ""],
        ["travel efficiency", of("number", measured["travel_efficiency"]), ""],
        ["work efficiency", of("number", measured["work_efficiency"]), ""],
        ["rope hauled", shown.length(measured["haul_travel_m"]), ""],
        [f"load moved, by {measured['load_travel_method']}", shown.length(measured["load_travel_m"]), ""],
        ["work in, out", f"{shown.work(measured['work_in_J'])}, {shown.work(measured['work_out_J'])}", ""],
    ]  # fmt: skip
    rows = [[said(cell) for cell in row] for row in rows]
    return table(("", "measured ± 95 %", "predicted ± 95 %"), rows)


def strokes(review: dict[str, Any], shown: Units) -> str:
    """Every stroke, or the first ones with a line that says how many more there are."""
    rows = [
        [said(f"{k} {s['direction']}"), _at(s["start_s"]), _at(s["end_s"]), said(shown.length(s["haul_travel_m"])),
         said(shown.length(s["load_travel_m"])), said(shown.force(s["mean_force_N"])),
         said(shown.force(s["peak_force_N"])), said(shown.work(s["work_J"])),
         said(shown.of("number", s["efficiency"]))]
        for k, s in enumerate(review["strokes"], 1)
    ]  # fmt: skip
    head = ("", "from", "to", "rope", "load", "mean force", "peak", "work", "efficiency ± 95 %")
    note = _more(len(rows), MOST_STROKES, "strokes")
    return table(head, rows[:MOST_STROKES], note) if rows else "<p>No stroke was found.</p>"


def peaks(review: dict[str, Any], shown: Units, own: frozenset[str] = frozenset()) -> str:
    """Highest forces against limits, the most used first; own: parts that a cell measures."""
    order = sorted(
        review["peaks"], key=lambda p: (p["use"] is None, -(p["use"] or 0.0), -p["force_N"])
    )
    rows = []
    for p in order[:MOST_PARTS]:
        use = percent(p["use"])
        if p["use"] is not None and p["use"] > 1:
            use = f'<b class="over">{use} OVER</b>'
        limit = "unrated" if p["limit_N"] is None else said(shown.force(p["limit_N"]))
        rows.append(
            [said(p["name"], 24) + (", own cell" if p["name"] in own else ""), said(shown.force(p["force_N"])), limit, use, _at(p["time_s"])]
        )
    note = _more(len(order), MOST_PARTS, "strands and elements, less used or unrated")
    return (
        table(("", "at most", "allowed", "use", "at"), rows, note, "last")
        if rows
        else "<p>No force was read.</p>"
    )


def budget(name: str, unit: str, size: float, quantity: Quantity | None) -> str:
    """The components of one quantity's uncertainty, the largest first."""
    if quantity is None or not math.isfinite(quantity.u):
        return f"<p>{said(name)}: {UNKNOWN}.</p>"
    every = budget_rows(quantity)
    rows = [
        [said(component, 60), number(u / size, 2), _degrees(degrees), percent(share)]
        for component, u, degrees, share in every[:MOST_BUDGET]
    ]
    k = t_quantile(quantity.degrees)
    shown = plus_minus(quantity.value / size, quantity.U95 / size)
    after = f" {said(unit)}" if unit else ""
    note = (
        f"u = {number(quantity.u / size, 2)}{after}, k = {number(k)} (t, {_degrees(quantity.degrees)} degrees of "
        f"freedom): {shown}{after}, 95 %"
    )
    return table(
        (said(name), f"u, {said(unit)}" if unit else "u", "degrees", "share of u²"), rows, note
    )


def chosen_events(review: dict[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """(number, event) of those that are printed: grave ones go before others, in order of time."""
    every = list(enumerate(review["events"], 1))
    if len(every) <= MOST_EVENTS:
        return every
    marks = [row for row in every if row[1]["kind"] in (*GRAVE, "mark")]
    rest = [row for row in every if row[1]["kind"] not in (*GRAVE, "mark")]
    return sorted((marks + rest)[:MOST_EVENTS], key=lambda row: row[0])


def events(review: dict[str, Any], chosen: Sequence[tuple[int, dict[str, Any]]]) -> str:
    """Events with the numbers that stand above the plot."""
    rows = [
        [
            str(k),
            _at(e["time_s"]),
            said(e["kind"], 20),
            said(e["channel"], 20),
            said(e["text"], 90),
        ]
        for k, e in chosen
    ]
    note = _more(len(review["events"]), len(chosen), "events; `haul review --json` lists all")
    return (
        table(("", "at", "kind", "channel", "what"), rows, note, "wide events")
        if rows
        else "<p>None.</p>"
    )


def channels(whole: Whole, shown: Units) -> str:
    """Where each channel sits, what it read, and how its readings become N or m."""
    rows = []
    every = whole.info.sensors.channels
    for c in every[:MOST_CHANNELS]:
        unit = "N" if c.quantity == "force" else "m"
        doubt = " and ".join(x for x in (
            f"{c.u_percent:g} %" if c.u_percent else "",
            " ".join(shown.written(c.u, "g", unit)) if c.u and c.calibration is None else "",
        ) if x)  # fmt: skip
        lost = whole.review["dropped"].get(c.name, 0)
        rows.append([
            said(c.name, 24), said(c.at, 20), f"{whole.review['readings'].get(c.name, 0)}"
            + (f" ({lost} dropped)" if lost else ""),
            said(_conversion(c), 160), said(doubt or ("of the calibration" if c.calibration else "none stated")),
            "-" if c.capacity is None else said(" ".join(shown.written(c.capacity, "g", unit))),
        ])  # fmt: skip
    head = ("channel", "at", "readings", "from reading to SI", "standard uncertainty", "capacity")
    return table(head, rows, _more(len(every), MOST_CHANNELS, "channels"), "wide")


def _conversion(c: Channel) -> str:
    zeroed = f"zero {c.zero:g} {c.unit}"
    late = "" if c.delay_s is None else f"; {c.delay_s:g} s late (u {c.delay_u_s:g} s)"
    if c.calibration is None:
        return f"{zeroed}; scale {c.scale:g}, in {c.unit}; no calibration{late}"
    fit = c.calibration
    terms = ", ".join(f"{x:.6g}" for x in fit.coefficients)
    return f"{zeroed}; calibration {c.calibration_file}, degree {fit.degree}, c0.. = {terms}, from {fit.n} points{late}"


def cautions(review: dict[str, Any]) -> str:
    """What the review warns of, bounded."""
    texts = review["warnings"]
    if not texts:
        return "<p>The review has no warning.</p>"
    first = texts[:MOST_CAUTIONS]
    # whole where there is room on the paper for all of them: what to do stands at a text's end
    most = CAUTION if sum(map(len, first)) > MOST_CAUTIONS * CAUTION else MOST_CAUTIONS * CAUTION
    items = "".join(f"<li>{said(text, most)}</li>" for text in first)
    more = _more(len(texts), MOST_CAUTIONS, "warnings")
    return f"<ul>{items}</ul>" + (f'<p class="more">{more}</p>' if more else "")


def _more(whole: int, most: int, what: str) -> str:
    return f"and {whole - most} more {what}" if whole > most else ""


def _degrees(value: float) -> str:
    return "∞" if value > MANY_DEGREES else number(value, 2)


def _at(time_s: float | None) -> str:
    return "-" if time_s is None else f"{time_s:.1f} s"
