"""Numbers that the tables of a review show besides the object of `haul review --json`."""

from __future__ import annotations

from typing import Any

from analysis.mechanics.measured_parts import bounded
from analysis.mechanics.model import COVERAGE, Model
from analysis.review.review import read_by_cells
from analysis.strokes.result import Result


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


def peak_rows(review: dict[str, Any], model: Model, result: Result) -> list[dict[str, Any]]:
    """The peaks of a review, the greatest share of the limit first, parts without a limit last.

    Adds `by` to each row: cell (read by the part's own cell), most (bounded by the frictionless gain) or
    inferred (not bounded); and `over`: whether the force is above the part's limit.
    """
    own = read_by_cells(model, result)
    pairs = zip(model.parts, bounded(model, model.pieces), strict=True)
    most = {piece.name for piece, bound in pairs if bound}
    order = sorted(
        review["peaks"], key=lambda p: (p["use"] is None, -(p["use"] or 0.0), -p["force_N"])
    )
    return [
        p
        | {
            "by": "cell" if p["name"] in own else "most" if p["name"] in most else "inferred",
            "over": p["use"] is not None and p["use"] > 1,
        }
        for p in order
    ]
