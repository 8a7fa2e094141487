"""Makes the plots of a reviewed session: force over time, force against rope, efficiency by stroke."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.live.haul_levels import haul_levels
from analysis.review.chapters import Chapter
from analysis.review.review import Reviewed
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
    bands += predicted_over_time(whole, size)
    marks = [PlotMark(t, label) for t, label in numbers] or _marks(whole)
    return Figure(
        title=title,
        x_label="time, s",
        y_label=y_label,
        lines=(Curve("measured", x, y), *_stop_levels(whole, shown, size, time_s, time_s)),
        dots=(),
        bands=tuple(bands),
        marks=tuple(marks),
    )


def work_loop(whole: Whole, shown: Units = METRIC) -> Figure:
    """The plot of haul force against rope hauled, with the predicted force; its area is work."""
    time_s, force = _haul(whole)
    rope_s, rope = rope_at_haul(whole.block, whole.result)
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
    bands = _predicted_over_rope(whole, size, rope_s, rope / metre)
    return Figure(
        title=title,
        x_label=x_label,
        y_label=y_label,
        lines=(
            Curve("measured", hauled, force[pick] / size),
            *_stop_levels(whole, shown, size, time_s[pick], hauled),
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
    several = len(review["chapters"]) > 1
    bands = []
    for chapter in review["chapters"]:
        numbers = chapter["strokes"]
        if several and not numbers:
            continue
        left, right = (numbers[0] + 0.5, numbers[-1] + 1.5) if several else (None, None)
        predicted, measured = chapter["predicted"], chapter["measured"]["efficiency"]
        half = 2 * (predicted["model_ma_u"] or 0.0) / chapter["ideal_ma"]
        middle = predicted["efficiency"]
        bands.append(
            Band(
                name="predicted, 95 %",
                x0=left,
                x1=right,
                y0=middle - half,
                y1=middle + half,
                kind="predicted",
            )
        )
        if measured:
            low, high = measured["value"] - measured["U95"], measured["value"] + measured["U95"]
            name = "chapter, 95 %" if several else "session, 95 %"
            bands.append(Band(name=name, x0=left, x1=right, y0=low, y1=high, kind="measured"))
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


def predicted_haul_N(chapter: Chapter) -> tuple[float, float] | None:
    """Predicted haul force of a chapter's rig and its standard uncertainty, N.

    From the rig file's load, else from the load force that was measured, over the model's advantage; None where
    neither is known.
    """
    rig_model, estimates = chapter.rig_model, chapter.estimates
    if rig_model.haul_force_N is not None:
        return rig_model.haul_force_N, rig_model.haul_force_u_N or 0.0
    load = estimates.load_force
    if load is None or estimates.method == "model" or rig_model.model_ma <= 0:
        return None
    value = load.value / rig_model.model_ma
    return value, value * math.hypot(load.u / load.value, rig_model.model_ma_u / rig_model.model_ma)


def own_time(chapter: Chapter) -> tuple[float, float] | None:
    """Time from the first to the last stroke of a chapter, s; None without a stroke."""
    strokes = chapter.result.strokes
    return (strokes[0].start_s, strokes[-1].end_s) if strokes else None


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


def predicted_over_time(whole: Whole | Reviewed, size: float) -> list[Band]:
    """The predicted haul force of each chapter over its own strokes; of one chapter, over all.

    size: of the unit of force, N.
    """
    bands = []
    for chapter in whole.chapters:
        predicted, time_s = predicted_haul_N(chapter), own_time(chapter)
        if predicted is None or (time_s is None and len(whole.chapters) > 1):
            continue
        begin_s, end_s = time_s if time_s is not None and len(whole.chapters) > 1 else (None, None)
        bands.append(_predicted(predicted, size, begin_s, end_s))
    return bands


def _predicted_over_rope(whole: Whole, size: float, rope_s: Floats, rope: Floats) -> list[Band]:
    """The same over rope at the haul; rope_s, rope: times, s, and rope in the plot's unit, (n,) each."""
    bands = []
    for chapter, band in zip(
        _predicted_chapters(whole), predicted_over_time(whole, size), strict=True
    ):
        if band.x0 is None:
            bands.append(band)
            continue
        inside = [rope[(rope_s >= s.start_s) & (rope_s <= s.end_s)] for s in chapter.result.strokes]
        every = np.concatenate(inside)
        if len(every):
            bands.append(replace(band, x0=float(every.min()), x1=float(every.max())))
    return bands


def _predicted_chapters(whole: Whole) -> list[Chapter]:
    """The chapters for which there is a band."""
    several = len(whole.chapters) > 1
    return [
        c for c in whole.chapters
        if predicted_haul_N(c) is not None and (c.result.strokes or not several)
    ]  # fmt: skip


def _predicted(
    predicted: tuple[float, float], size: float, begin: float | None, end: float | None
) -> Band:
    """The band of a predicted haul force with its 95 % interval, from begin to end; None: everywhere."""
    value, u = predicted
    return Band(
        name="predicted, 95 %",
        x0=begin,
        x1=end,
        y0=max(0.0, value - 2 * u) / size,
        y1=(value + 2 * u) / size,
        kind="predicted",
    )


def _stop_levels(whole: Whole, shown: Units, size: float, time_s: Floats, x: Floats) -> list[Curve]:
    """The lowest stop level of the haul cell in each chapter, a line as far as the chapter reaches.

    size: of the force unit, N; time_s: (n,); x: (n,) of the same moments, unit of the x axis.
    """
    roles, several = whole.result.roles, len(whole.chapters) > 1
    lines = []
    for chapter in whole.chapters:
        level_N = haul_levels(roles, chapter.rig_model).stop_N
        own = x[(time_s >= chapter.from_s) & (time_s <= chapter.to_s)] if several else x
        if level_N is None or not len(own):
            continue
        ends = np.array([np.min(own), np.max(own)])
        name = "stop level" if several else f"stop level {shown.force(level_N)}"
        lines.append(Curve(name, ends, np.full(2, level_N / size), kind="stop"))
    return lines


def _marks(whole: Whole) -> list[PlotMark]:
    return [
        PlotMark(e["time_s"], str(k), f"{e['kind']} {e['text']}")
        for k, e in enumerate(whole.review["events"], 1)
        if e["kind"] in MARKED
    ]
