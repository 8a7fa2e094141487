"""Makes the plots of a reviewed session: force over time, force against rope, efficiency by stroke."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.live.haul_levels import haul_levels
from analysis.review.reviewed_session import Whole
from analysis.review.si_series import in_si, rope_at_haul, thinned
from dashboard.figures.spec import Band, Curve, Dots, Figure, Floats, PlotMark
from dashboard.text.units import METRIC, Units

COLUMNS = 700  # a curve is thinned to so many intervals of equal time: more than paper shows
MARKED = frozenset({"mark", "zero", "alarm", "gap", "slip", "shock", "over_limit", "saturated", "stale",
                    "reset", "rig", "sleep", "disk"})  # fmt: skip
NO_FORCE = "there is no reading of the haul force"
NO_ROPE = "no counter measures the rope at the haul"
NO_STROKE = "there is no stroke with an efficiency"


def force_over_time(
    whole: Whole, shown: Units = METRIC, numbers: Sequence[tuple[float, str]] = ()
) -> Figure:
    """The plot of haul force over time, with strokes, resets, events and the predicted force.

    shown: units of the plot.
    numbers: (time_s, label) of each label above the plot; without them, events by their number.
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
    marks = [PlotMark(t, label) for t, label in numbers] or _marks(whole)
    return Figure(
        title=title,
        x_label="time, s",
        y_label=y_label,
        lines=(Curve("measured", x, y), *_stop_level(whole, time_s[[0, -1]], shown, size)),
        dots=(),
        bands=tuple(bands),
        marks=tuple(marks),
    )


def work_loop(whole: Whole, shown: Units = METRIC) -> Figure:
    """The plot of haul force against rope hauled, with the predicted force; its area is work."""
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
    hauled = np.interp(time_s[pick], rope_s, rope) / metre
    bands = _predicted_force(whole, size)
    return Figure(
        title=title,
        x_label=x_label,
        y_label=y_label,
        lines=(
            Curve("measured", hauled, force[pick] / size),
            *_stop_level(whole, np.array([np.min(hauled), np.max(hauled)]), shown, size),
        ),
        dots=(),
        bands=tuple(bands),
    )


def efficiency_by_stroke(review: dict[str, Any]) -> Figure:
    """The plot of each haul stroke's efficiency with its 95 % interval, over the session's and the
    predicted one.

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
    """Predicted haul force and its standard uncertainty, N; None without a load force.

    It is the load force of the rig file, else the measured one, divided by the model's advantage.
    """
    rig_model = whole.rig_model
    if rig_model.haul_force_N is not None:
        return rig_model.haul_force_N, rig_model.haul_force_u_N or 0.0
    load = whole.estimates.load_force
    if load is None or whole.estimates.method == "model" or rig_model.model_ma <= 0:
        return None
    value = load.value / rig_model.model_ma
    relative_u = math.hypot(load.u / load.value, rig_model.model_ma_u / rig_model.model_ma)
    return value, value * relative_u


def _haul(whole: Whole) -> tuple[Floats, Floats]:
    """Times, s, and values, N, of the haul cell's finite readings, each (n,)."""
    cell = whole.result.roles.haul_force
    if cell is None:
        return np.empty(0), np.empty(0)
    time_s, force = in_si(whole.block, cell)
    good = np.isfinite(force)
    return time_s[good], force[good]


def _force_unit(shown: Units, force: Floats) -> tuple[str, float]:
    """Symbol and size in N of the unit for these forces, N."""
    return shown.force_shown.chosen(float(np.max(force)) if len(force) else 0.0)


def _longest(whole: Whole, time_s: Floats) -> float:
    """Time without a reading from which the curve is broken, s."""
    cell = whole.result.roles.haul_force
    column = float(time_s[-1] - time_s[0]) / COLUMNS
    return max(cell.stale_after_s if cell else 1.0, 2.5 * column)


def _with_gaps(time_s: Floats, value: Floats, longest_s: float) -> tuple[Floats, Floats]:
    """Both with NaN inserted where two readings are more than longest_s apart."""
    gaps = np.flatnonzero(np.diff(time_s) > longest_s) + 1
    return np.insert(time_s, gaps, np.nan), np.insert(value, gaps, np.nan)


def _predicted_force(whole: Whole, size: float) -> list[Band]:
    """The band of the predicted haul force with its 95 % interval; size: of the force unit, N."""
    predicted = predicted_haul_N(whole)
    if predicted is None:
        return []
    value, u = predicted
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


def _stop_level(whole: Whole, ends: Floats, shown: Units, size: float) -> list[Curve]:
    """The lowest stop level of the haul cell as a line; empty where there is none.

    ends: (2,) of the line on the x axis; size: of the force unit, N.
    """
    level_N = haul_levels(whole.result.roles, whole.rig_model).stop_N
    if level_N is None:
        return []
    name = f"stop level {shown.force(level_N)}"
    return [Curve(name, ends, np.full(2, level_N / size), kind="stop")]


def _marks(whole: Whole) -> list[PlotMark]:
    return [
        PlotMark(e["time_s"], str(k), f"{e['kind']} {e['text']}")
        for k, e in enumerate(whole.review["events"], 1)
        if e["kind"] in MARKED
    ]
