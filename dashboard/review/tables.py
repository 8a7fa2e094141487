"""What stands on the review page in words and numbers: plain texts, put in by the page as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from analysis.efficiency.uncertainty import Quantity, budget_rows, t_quantile
from analysis.mechanics.measured_parts import bounded
from analysis.messages import message as messages
from analysis.prediction.predict import stop_hauling_at
from analysis.review.review import read_by_cells
from dashboard.review.session_review import ReviewNow
from dashboard.text.summary_sentences import METHODS, three_sentences
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus
from logger.errors import one_line

MOST_STROKES, MOST_EVENTS, MOST_PEAKS, MOST_WARNINGS, MOST_PARTS = 1000, 300, 300, 40, 20
MANY_DEGREES = 1000.0  # from here on t is the normal quantile to three digits
GRAVE = frozenset({"over_limit", "slip", "shock", "saturated", "alarm", "mark", "stale", "gap"})
STEADY = "mean over distance while the load moves steadily"

Row = list[Any]


def results(now: ReviewNow, shown: Units) -> list[Row]:
    """[what, measured ± U95, predicted ± U95, observations, method] of every quantity of a review."""
    review = now.review
    measured, predicted = review["measured"], review["predicted"]
    of = shown.of
    method = measured["load_force_method"]
    load = f"the load's force {METHODS.get(method, method)} ({method})"
    no_u = "no uncertainty is stated for it"
    model_u = predicted["model_ma_u"]
    rows = [
        ["mechanical advantage", of("number", measured["actual_ma"]),
         plus_minus(predicted["model_ma"], None if model_u is None else 2 * model_u),
         measured["actual_ma"], f"load force / haul force, {STEADY}; {load}"],
        ["if nothing were lost", "", number(review["ideal_ma"]), None, "the same rig without friction"],
        ["efficiency", of("number", measured["efficiency"]),
         plus_minus(predicted["efficiency"], 2 * (model_u or 0.0) / review["ideal_ma"]),
         measured["efficiency"], "actual MA / ideal MA"],
        ["haul force", of("force", measured["haul_force_N"]),
         shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"]),
         measured["haul_force_N"], f"haul cell, {STEADY}"],
        ["load force", of("force", measured["load_force_N"]),
         shown.force_pm(now.known.load_force_N, now.known.load_force_u_N),
         measured["load_force_N"], load],
        ["efficiency of one pulley", of("number", measured["pulley_efficiency"]), "",
         measured["pulley_efficiency"], "the common one that gives this advantage in this rig"],
        ["travel efficiency", of("number", measured["travel_efficiency"]), "",
         measured["travel_efficiency"], "load travel x travel ratio / rope hauled, over strokes"],
        ["work efficiency", of("number", measured["work_efficiency"]), "",
         measured["work_efficiency"], "work out / work in, rest to rest"],
        ["rope hauled", shown.length(measured["haul_travel_m"]), "", None, f"sum over haul strokes; {no_u}"],
        ["load moved", shown.length(measured["load_travel_m"]), "", None,
         f"by {measured['load_travel_method']}, sum over haul strokes; {no_u}"],
        ["work in", shown.work(measured["work_in_J"]), "", None,
         f"haul force over rope, all haul strokes; {no_u}"],
        ["work out", shown.work(measured["work_out_J"]), "", None,
         f"load force over the load's way; {no_u}"],
        ["En, up to 1 where they agree", number(review["agreement"]["en"], 2), "", None, review["agreement"]["verdict"]],
    ]  # fmt: skip
    return [[a, b, c, q["n"] if q else None, one_line(m, 400)] for a, b, c, q, m in rows]


def summary(now: ReviewNow, shown: Units) -> list[Row]:
    """[what, value]: what a what-if is compared by."""
    review = now.review
    predicted, measured = review["predicted"], review["measured"]
    en = review["agreement"]["en"]
    rated = [p for p in review["peaks"] if p["use"] is not None]
    worst = max(rated, key=lambda p: p["use"], default=None)
    limit = stop_hauling_at(now.known)
    return [
        ["predicted mechanical advantage", plus_minus(predicted["model_ma"], 2 * (predicted["model_ma_u"] or 0.0))],
        ["if nothing were lost", number(review["ideal_ma"])],
        ["predicted efficiency", plus_minus(predicted["efficiency"],
                                            2 * (predicted["model_ma_u"] or 0.0) / review["ideal_ma"])],
        ["predicted haul force", shown.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"])],
        ["measured mechanical advantage", shown.of("number", measured["actual_ma"])],
        ["measured efficiency", shown.of("number", measured["efficiency"])],
        ["measured haul force", shown.of("force", measured["haul_force_N"])],
        ["load force", f"{shown.of('force', measured['load_force_N'])} ({measured['load_force_method']})"],
        ["measured against predicted, En", "-" if en is None else f"{number(en, 2)} ({_judged(en)})"],
        ["highest share of a limit", "nothing is rated" if worst is None
         else f"{percent(worst['use'])}, {one_line(worst['name'], 40)}"],
        ["first limit reached at a haul force of", shown.force(limit.haul_force_N)],
    ]  # fmt: skip


def _judged(en: float) -> str:
    return (
        "within what both are known to" if abs(en) <= 1 else "more than both uncertainties explain"
    )


def strokes(review: dict[str, Any], shown: Units) -> list[dict[str, Any]]:
    """Every stroke, bounded: where it lies and its cells as texts."""
    return [
        {"k": k, "from": s["start_s"], "to": s["end_s"], "cells": [
            f"{k} {s['direction']}", f"{s['start_s']:.1f} s", f"{s['end_s']:.1f} s",
            shown.length(s["haul_travel_m"]), shown.length(s["load_travel_m"]), shown.force(s["mean_force_N"]),
            shown.force(s["peak_force_N"]), shown.work(s["work_J"]), shown.of("number", s["efficiency"]),
        ]}
        for k, s in enumerate(review["strokes"][:MOST_STROKES], 1)
    ]  # fmt: skip


def peaks(now: ReviewNow, shown: Units) -> list[dict[str, Any]]:
    """Strands and elements, the greatest share of what is allowed first, then what is unrated."""
    own = read_by_cells(now.known, now.result)
    pairs = zip(now.known.parts, bounded(now.known, now.known.pieces), strict=True)
    most = {part.name for part, bound in pairs if bound}
    order = sorted(
        now.review["peaks"], key=lambda p: (p["use"] is None, -(p["use"] or 0.0), -p["force_N"])
    )
    return [
        {"name": one_line(p["name"], 60), "use": p["use"], "cells": [
            shown.force(p["force_N"]),
            "unrated" if p["limit_N"] is None else shown.force(p["limit_N"]),
            "-" if p["use"] is None else percent(p["use"]) + (" OVER" if p["use"] > 1 else ""),
            "-" if p["time_s"] is None else f"{p['time_s']:.1f} s",
            "by its own cell" if p["name"] in own
            else "at most, inferred" if p["name"] in most else "inferred, its own friction not counted",
        ], "at": p["time_s"]}
        for p in order[:MOST_PEAKS]
    ]  # fmt: skip


def chosen_events(review: dict[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """(number, event) of those that are listed, in order of time; the grave go before others."""
    every = list(enumerate(review["events"], 1))
    if len(every) <= MOST_EVENTS:
        return every
    first = [row for row in every if row[1]["kind"] in GRAVE]
    rest = [row for row in every if row[1]["kind"] not in GRAVE]
    return sorted((first + rest)[:MOST_EVENTS], key=lambda row: row[0])


def events(review: dict[str, Any]) -> list[Row]:
    """[number, time_s, "12.3 s", kind, channel, text] of each listed event."""
    return [
        [k, e["time_s"], f"{e['time_s']:.1f} s", one_line(e["kind"], 30), one_line(e["channel"], 60),
         one_line(e["text"], 240)]
        for k, e in chosen_events(review)
    ]  # fmt: skip


def budgets(now: ReviewNow, shown: Units) -> list[dict[str, Any]]:
    """The uncertainty budget of each measured quantity, the greatest share of the variance first."""
    found = now.found
    named: Sequence[tuple[str, Quantity | None, bool]] = (
        ("mechanical advantage", found.actual_ma, False),
        ("efficiency", found.efficiency, False),
        ("haul force", found.haul_force, True),
        ("load force", found.load_force, True),
        ("efficiency of one pulley", found.pulley_efficiency, False),
        ("travel efficiency", found.travel.efficiency, False),
        ("work efficiency", found.work_efficiency, False),
    )
    return [_budget(name, q, shown if force else None) for name, q, force in named if q is not None]


def _budget(name: str, quantity: Quantity, shown: Units | None) -> dict[str, Any]:
    unit, size = ("", 1.0) if shown is None else shown.force_shown.chosen(quantity.value)
    after = f" {unit}" if unit else ""
    rows = [
        [one_line(part, 80), number(u / size, 2) + after, _degrees(degrees), _share(share), share]
        for part, u, degrees, share in budget_rows(quantity)[:MOST_PARTS]
    ]
    said = UNKNOWN
    note = "the uncertainty cannot be told"
    if math.isfinite(quantity.U95):
        said = plus_minus(quantity.value / size, quantity.U95 / size) + after
        note = (
            f"u = {number(quantity.u / size, 2)}{after}, k = {number(t_quantile(quantity.degrees))} "
            f"(t, {_degrees(quantity.degrees)} degrees of freedom), 95 %; {quantity.n} observations"
        )
    return {"name": name, "said": said, "rows": rows, "note": note}


def page_data(now: ReviewNow, shown: Units) -> dict[str, Any]:
    """All texts of the page."""
    review = now.reviewed.shown(shown)
    warnings = [one_line(w, 400) for w in review["warnings"]]
    unrated = sum(p["use"] is None for p in review["peaks"])
    own = read_by_cells(now.known, now.result)
    return {
        "title": one_line(review["title"] or "Haul session", 120),
        "folder": one_line(now.info.path.name, 120),
        "started": one_line(review["started_at"], 40),
        "state": review["state"],
        "demo": now.info.simulation_true is not None,
        "as_of": f"{now.result.end_s:.1f} s",
        "told": " and ".join(messages.texts(now.otherwise, shown)),
        "units": shown.name,
        "readings": ", ".join(
            f"{one_line(name, 60)} {count}" for name, count in review["readings"].items()
        ),
        "sentences": [one_line(text, 900) for text in three_sentences(now.reviewed, shown, own)],
        "grave": review["state"] == "changed"
        or any(p["use"] is not None and p["use"] > 1 for p in review["peaks"]),
        "results": results(now, shown),
        "why_not": one_line(review["measured"]["why_not"], 900),
        "summary": summary(now, shown),
        "warnings": warnings[:MOST_WARNINGS] + _more(len(warnings), MOST_WARNINGS, "warnings"),
        "strokes": strokes(review, shown),
        "strokes_more": "".join(_more(len(review["strokes"]), MOST_STROKES, "strokes")),
        "peaks": peaks(now, shown),
        "unrated": f"{unrated} of {len(review['peaks'])} strands and parts are unrated in the rig file"
        if unrated else "",
        "events": events(review),
        "events_more": "".join(_more(len(review["events"]), MOST_EVENTS, "events")),
        "budgets": budgets(now, shown),
    }  # fmt: skip


def _more(many: int, most: int, what: str) -> list[str]:
    return [f"and {many - most} more {what}: `haul review --json` lists all"] if many > most else []


def _share(share: float) -> str:
    return "< 1 %" if 0 < share < 0.005 else percent(share)


def _degrees(value: float) -> str:
    return "∞" if value > MANY_DEGREES else number(value, 2)
