"""Writes what a draft amounts to: ratio, haul force, stop level, rope, strokes, and what is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from analysis.mechanics.model import Model, model
from analysis.messages.message import Message
from analysis.prediction.jam import jam_message, jammed
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from dashboard.text.units import UNKNOWN, Units, number, percent, plus_minus


@dataclass(frozen=True)
class AnswerRow:
    """One answer about the rig."""

    name: str  # what is asked
    value: str  # the answer, with its unit
    note: str  # what stands behind it; "" for nothing


@dataclass(frozen=True)
class RigAnswers:
    """All answers about a rig that can work."""

    rows: tuple[AnswerRow, ...]  # in the order in which they are shown
    warnings: tuple[tuple[str, str], ...]  # (level, text) of each warning
    tension_N: tuple[float, ...]  # of each strand with friction, in multiples of the haul tension


@lru_cache(maxsize=64)  # speed only: a page asks for the same rig until it is edited
def _predicted(rig: Rig) -> tuple[Model, dict[str, Any], tuple[Message, ...]]:
    return model(rig), *prediction(rig)


def answers(rig: Rig, units: Units) -> RigAnswers:
    """The answers about a checked rig, in the reader's units."""
    rig_model, predicted, warnings = _predicted(rig)
    stop = predicted["stop_hauling_at"]
    rows = [
        AnswerRow(
            "Ratio with friction",
            f"{plus_minus(predicted['model_ma'], 2 * predicted['model_ma_u'])} : 1",
            f"{number(predicted['ideal_ma'])} : 1 without; efficiency "
            f"{percent(predicted['efficiency'])}",
        ),
        AnswerRow(
            "Haul force",
            units.force_pm(predicted["haul_force_N"], predicted["haul_force_u_N"]),
            _team(rig, units),
        ),
        AnswerRow("Stop hauling at", units.force(stop["haul_force_N"]), _stop_note(stop)),
        AnswerRow("Rope", *_rope(predicted, units)),
        AnswerRow("Strokes (throws) and resets", *_strokes(predicted, units)),
        AnswerRow("Held while a grab is reset", *_covered(rig, predicted)),
        AnswerRow("If the load jams", "", jam_message(jammed(rig_model)).text(units)),
    ]
    return RigAnswers(
        rows=tuple(rows),
        warnings=tuple((one.level, one.text(units)) for one in warnings),
        tension_N=tuple(float(t) for t in rig_model.tension),
    )


def _team(rig: Rig, units: Units) -> str:
    if rig.team_pull_N is None:
        return "the load's weight or resistance gives the force" if rig.load.kind is None else ""
    people = "" if rig.people is None else f"{rig.people} people "
    return f"{people}keep up {units.force(rig.team_pull_N)}"


def _stop_note(stop: dict[str, Any]) -> str:
    return f"{stop['because']} ({stop['rated']} of {stop['of']} parts are rated)"


def _rope(predicted: dict[str, Any], units: Units) -> tuple[str, str]:
    needed = "; ".join(units.length(row["needed_m"]) for row in predicted["rope"])
    short = [row["name"] for row in predicted["rope"] if row["enough"] is False]
    if short:
        return needed, f"not enough: {', '.join(short)}"
    unknown = [row["name"] for row in predicted["rope"] if row["enough"] is None]
    return needed, f"length of {', '.join(unknown)} not stated" if unknown else "enough"


def _strokes(predicted: dict[str, Any], units: Units) -> tuple[str, str]:
    first = predicted["stroke"]
    stroke = f"first stroke {units.length(first['haul_travel_m'])} of rope, load " + units.length(
        first["load_travel_m"]
    )
    job = predicted["job"]["each"] or {}
    count = job.get("strokes")
    if count is None:
        return UNKNOWN, stroke
    resets = sum((job.get("resets") or {}).values())
    return f"{count} and {resets}", stroke


def _covered(rig: Rig, predicted: dict[str, Any]) -> tuple[str, str]:
    """Which resets a capture covers, and of which grabs none does."""
    if not rig.grabs:
        return "no grab to reset", ""
    by: dict[str, list[str]] = {name: [] for name in rig.grabs}
    for held in predicted["hold"]:
        for name in held["covers_resets"]:
            by.setdefault(name, []).append(held["name"])
    bare = [name for name in rig.grabs if not by[name]]
    shown = "; ".join(f"{name} by {' and '.join(by[name])}" for name in rig.grabs if by[name])
    if not bare:
        return shown, "a capture holds the load each time"
    return shown or "none", f"no capture holds the load while {' or '.join(bare)} is reset"
