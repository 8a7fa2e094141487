"""Numbers that the tables of a review show besides the object of `haul review --json`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from analysis.mechanics.model import COVERAGE, Model


def predictions(model: Model) -> dict[str, dict[str, float | None] | None]:
    """The predicted value of each quantity of a review with U95 = 2 u, in SI."""
    return {
        "actual_ma": _expanded(model.model_ma, model.model_ma_u),
        "ideal_ma": _expanded(model.ideal_ma, None),
        "efficiency": _expanded(model.efficiency, model.efficiency_u),
        "haul_force_N": _expanded(model.haul_force_N, model.haul_force_u_N),
        "load_force_N": _expanded(model.load_force_N, model.load_force_u_N),
    }


def _expanded(value: float | None, u: float | None) -> dict[str, float | None] | None:
    return None if value is None else {"value": value, "U95": None if u is None else COVERAGE * u}


def peak_rows(peaks: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows of `peaks` in interface section 6, the greatest share of the limit first, unrated parts last.

    Adds `rules_N`, the force that is held against the limit; `by`: cell (read by the part's own cell), most
    (the part carried at most that) or inferred (not bounded); `over`: whether it is above the limit.
    """
    rows = []
    for p in peaks:
        inferred = "inferred" if p["at_most_N"] is None else "most"
        rows.append(
            {
                **p,
                "rules_N": p["force_N"] if p["at_most_N"] is None else p["at_most_N"],
                "by": "cell" if p["how"] == "cell" else inferred,
                "over": p["use"] is not None and p["use"] > 1,
            }
        )
    return sorted(rows, key=lambda p: (p["use"] is None, -(p["use"] or 0.0), -p["rules_N"]))
