"""Writes the result of a session in three sentences, for somebody who was there."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from analysis.messages.message import texts
from dashboard.text.units import Units, number, plus_minus

if TYPE_CHECKING:
    from analysis.efficiency.verdict import Agreement
    from analysis.review.review import Reviewed

METHODS = {
    "known": "is taken from the rig file",
    "cell": "comes from a cell that gives it without the haul cell",
    "haul-and-lower": "comes from moving the load both ways",
    "model": "comes from the haul force and the pulleys' assumed efficiencies",
}
OFTEN = (("slip", "slip", "slips"), ("shock", "shock", "shocks"))
NAMED = 4


def three_sentences(reviewed: Reviewed, shown: Units) -> tuple[str, str, str]:
    """Measured against predicted; efficiency with its uncertainty and method; what to look at.

    Of a session with several chapters the first two tell of each of them.
    """
    review = reviewed.shown(shown)
    every = review["chapters"]
    if len(every) < 2:
        against, efficiency = _against(review, shown), _efficiency(review)
    else:
        against = " ".join(f"Chapter {k}: {_against(c, shown)}" for k, c in enumerate(every, 1))
        efficiency = " ".join(f"Chapter {k}: {_efficiency(c)}" for k, c in enumerate(every, 1))
    return against, efficiency, look_at(review, reviewed.main.agreement, shown)


def _against(review: dict[str, Any], shown: Units) -> str:
    measured, predicted = review["measured"], review["predicted"]
    model = plus_minus(predicted["model_ma"], 2 * predicted["model_ma_u"])
    ideal = number(review["ideal_ma"])
    haul = shown.quantity("force", measured["haul_force_N"])
    pulled = "" if not measured["haul_force_N"] else f", at a haul force of {haul}"
    if not measured["actual_ma"]:
        return (
            f"The model predicts {model} to 1 out of an ideal {ideal}; the advantage that the rig really "
            f"gave was not measured{pulled}."
        )
    got = shown.quantity("number", measured["actual_ma"])
    en = review["agreement"]["en"]
    if en is None:
        close = "and no uncertainty is stated, so the two cannot be compared"
    elif abs(en) <= 1:
        close = "which agrees within the uncertainty of both"
    else:
        close = f"which is {'less' if en < 0 else 'more'} than the uncertainty of both can explain"
    return (
        f"The rig gave {got} to 1 out of an ideal {ideal}{pulled}; {model} was predicted, {close}."
    )


def _efficiency(review: dict[str, Any]) -> str:
    measured = review["measured"]
    if not measured["efficiency"]:
        why = measured["why_not"] or "no steady hauling was found"
        return f"Its efficiency is not known: {why}."
    method = METHODS.get(measured["load_force_method"], measured["load_force_method"])
    pulley = measured["pulley_efficiency"]
    each = "" if not pulley else (
        f", which is {plus_minus(pulley['value'], pulley['U95'])} for each turn of the rope over a pulley"
    )  # fmt: skip
    value = plus_minus(measured["efficiency"]["value"], measured["efficiency"]["U95"])
    return f"Its efficiency was {value} (95 %){each}; the load's force {method} ({measured['load_force_method']})."


def _how_much(peak: dict[str, Any]) -> str:
    """The word before a share of the limit: none for a cell, else whether more can have been carried."""
    if peak["how"] == "cell":
        return ""
    return "about " if peak["at_most_N"] is None else "at most "


def look_at(review: dict[str, Any], agreed: Agreement, shown: Units) -> str:
    """One sentence that names at most three things to look at, the most serious first."""
    points: list[str] = []
    if review["state"] == "changed":
        points.append("the record, which was changed after it was sealed")
    over = sorted(
        (p for p in review["peaks"] if p["use"] is not None and p["use"] > 1),
        key=lambda p: -p["use"],
    )
    if over:
        names = ", ".join(
            f"{p['name']} ({_how_much(p)}{100 * p['use']:.0f} %"
            f"{', by its own cell' if p['how'] == 'cell' else ''})"
            for p in over[:NAMED]
        )
        sure = "" if all(p["how"] == "cell" for p in over) else "may have "
        more = f" and {len(over) - NAMED} more" if len(over) > NAMED else ""
        points.append(f"what {sure}carried more than it is allowed to: {names}{more}")
    counts = Counter(e["kind"] for e in review["events"])
    saturated = sorted({e["channel"] for e in review["events"] if e["kind"] == "saturated"})
    if saturated:
        points.append(f"{', '.join(saturated)}, beyond capacity, so that true peaks are not known")
    if agreed.outside is not None:
        points.append(f"the calibration: {agreed.outside.text(shown)}")
    sudden = [
        f"{counts[k]} {one if counts[k] == 1 else many}" for k, one, many in OFTEN if counts[k]
    ]
    if sudden:
        points.append(" and ".join(sudden))
    if agreed.look_at:
        points.append("; ".join(texts(agreed.look_at, shown)))
    dropped = sum(review["dropped"].values())
    if dropped:
        points.append(f"{dropped} dropped lines, in rejects.csv")
    if review["state"] == "cut short":
        points.append("the end of the job, which was not recorded")
    if not points:
        return "Nothing stands out to be looked at; gear is still inspected by a person before its next use."
    return "Look at " + "; ".join(points[:3]) + "."
