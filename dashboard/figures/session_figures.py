"""The plots of a reviewed session: force over time, force against rope, efficiency by stroke."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.review.reviewed_session import Whole
from analysis.review.si_series import in_si, rope_at_haul, thinned
from dashboard.figures.spec import Band, Dots, Figure, Floats, Line, Mark
from dashboard.text.units import METRIC, Units

COLUMNS = 700  # of equal time in a line: more than paper shows
MARKED = frozenset({"mark", "zero", "alarm", "gap", "slip", "shock", "over_limit", "saturated", "stale",
                    "reset", "rig", "sleep", "disk"})  # fmt: skip
NO_FORCE = "there is no reading of the haul force"
NO_ROPE = "no counter tells the rope's way"
NO_STROKE = "there is no stroke to take an efficiency from"


def force_over_time(
    whole: Whole, shown: Units = METRIC, numbers: Sequence[tuple[float, str]] = ()
) -> Figure:
    """Haul force over time with strokes, resets, marks and the predicted band.

    numbers: (time_s, label) of what stands above the plot; by default the marks and events
    without their texts.
    """
    time_s, force = _haul(whole)
    unit, size = _force_unit(shown, force)
    y_label = f"haul force, {unit}"
    title = "Haul force over time"
    if not len(time_s):
        return Figure(title, "time, s", y_label, nothing=NO_FORCE)
    pick = thinned(time_s, force, COLUMNS)
    x, y = _with_gaps(time_s[pick], force[pick] / size, _longest(whole, time_s))
    bands = [
        Band(
            name="stroke" if s["direction"] == "haul" else "lowering",
            x0=s["start_s"],
            x1=s["end_s"],
            y0=None,
            y1=None,
            kind="stroke",
        )
        for s in whole.review["strokes"]
    ]
    end = float(time_s[-1])
    bands += [
        Band(
            name="reset",
            x0=e["time_s"],
            x1=end if e["end_s"] is None else e["end_s"],
            y0=None,
            y1=None,
            kind="reset",
        )
        for e in whole.review["events"]
        if e["kind"] == "reset"
    ]
    bands += _predicted_force(whole, size)
    marks = [Mark(t, label) for t, label in numbers] or _marks(whole)
    return Figure(
        title=title,
        x_label="time, s",
        y_label=y_label,
        lines=(Line("measured", x, y),),
        dots=(),
        bands=tuple(bands),
        marks=tuple(marks),
    )


def work_loop(whole: Whole, shown: Units = METRIC) -> Figure:
    """Haul force against rope at the haul, over the predicted force: the area is work."""
    time_s, force = _haul(whole)
    rope_s, rope = rope_at_haul(whole.block, whole.result.roles)
    unit, size = _force_unit(shown, force)
    long, metre = shown.length_shown.unit, shown.length_shown.size
    title, x_label, y_label = (
        "Haul force against rope",
        f"rope at the haul, {long}",
        f"haul force, {unit}",
    )
    if not len(time_s):
        return Figure(title, x_label, y_label, nothing=NO_FORCE)
    if not len(rope_s):
        return Figure(title, x_label, y_label, nothing=NO_ROPE)
    pick = thinned(time_s, force, COLUMNS)
    way = np.interp(time_s[pick], rope_s, rope) / metre
    bands = _predicted_force(whole, size)
    return Figure(
        title=title,
        x_label=x_label,
        y_label=y_label,
        lines=(Line("measured", way, force[pick] / size),),
        dots=(),
        bands=tuple(bands),
    )


def efficiency_by_stroke(review: dict[str, Any]) -> Figure:
    """Each haul stroke's efficiency with its 95 % interval, the session's and the prediction's band.

    review: the object of interface section 6.
    """
    title, x_label, y_label = (
        "Efficiency, stroke by stroke",
        "stroke",
        "efficiency, actual MA / ideal MA",
    )
    rows = [(k, s["efficiency"]) for k, s in enumerate(review["strokes"], 1) if s["efficiency"]]
    predicted = review["predicted"]
    bands = []
    half = 2 * (predicted["model_ma_u"] or 0.0) / review["ideal_ma"]
    middle = predicted["efficiency"]
    bands.append(
        Band(
            name="predicted, 95 %",
            x0=None,
            x1=None,
            y0=middle - half,
            y1=middle + half,
            kind="predicted",
        )
    )
    whole = review["measured"]["efficiency"]
    if whole:
        low, high = whole["value"] - whole["U95"], whole["value"] + whole["U95"]
        bands.append(Band(name="session, 95 %", x0=None, x1=None, y0=low, y1=high, kind="measured"))
    if not rows:
        return Figure(title=title, x_label=x_label, y_label=y_label, lines=(), dots=(), bands=tuple(bands), from_zero=False, whole_x=True,
                      nothing=review["measured"]["why_not"] or NO_STROKE)  # fmt: skip
    x = np.array([float(k) for k, _ in rows])
    y = np.array([e["value"] for _, e in rows])
    u = np.array([e["U95"] for _, e in rows])
    dots = Dots(name="stroke, 95 %", x=x, y=y, low=y - u, high=y + u)
    return Figure(
        title=title,
        x_label=x_label,
        y_label=y_label,
        lines=(),
        dots=(dots,),
        bands=tuple(bands),
        from_zero=False,
        whole_x=True,
    )


def predicted_haul_N(whole: Whole) -> tuple[float, float] | None:
    """Predicted haul force and its standard uncertainty, N: the rig file's load, else the load
    force that was measured, over the model's advantage; None where neither is known."""
    known = whole.rig_model
    if known.haul_force_N is not None:
        return known.haul_force_N, known.haul_force_u_N or 0.0
    load = whole.estimates.load_force
    if load is None or whole.estimates.method == "model" or known.model_ma <= 0:
        return None
    value = load.value / known.model_ma
    return value, value * math.hypot(load.u / load.value, known.model_ma_u / known.model_ma)


def _haul(whole: Whole) -> tuple[Floats, Floats]:
    cell = whole.result.roles.haul_force
    if cell is None:
        return np.empty(0), np.empty(0)
    time_s, force = in_si(whole.block, cell)
    good = np.isfinite(force)
    return time_s[good], force[good]


def _force_unit(shown: Units, force: Floats) -> tuple[str, float]:
    return shown.force_shown.chosen(float(np.max(force)) if len(force) else 0.0)


def _longest(whole: Whole, time_s: Floats) -> float:
    """Seconds without a reading that are shown as a gap."""
    cell = whole.result.roles.haul_force
    column = float(time_s[-1] - time_s[0]) / COLUMNS
    return max(cell.stale_after_s if cell else 1.0, 2.5 * column)


def _with_gaps(time_s: Floats, value: Floats, longest: float) -> tuple[Floats, Floats]:
    gaps = np.flatnonzero(np.diff(time_s) > longest) + 1
    return np.insert(time_s, gaps, np.nan), np.insert(value, gaps, np.nan)


def _predicted_force(whole: Whole, size: float) -> list[Band]:
    found = predicted_haul_N(whole)
    if found is None:
        return []
    value, u = found
    return [
        Band(
            name="predicted, 95 %",
            x0=None,
            x1=None,
            y0=max(0.0, value - 2 * u) / size,
            y1=(value + 2 * u) / size,
            kind="predicted",
        )
    ]


def _marks(whole: Whole) -> list[Mark]:
    return [
        Mark(e["time_s"], str(k), f"{e['kind']} {e['text']}")
        for k, e in enumerate(whole.review["events"], 1)
        if e["kind"] in MARKED
    ]
