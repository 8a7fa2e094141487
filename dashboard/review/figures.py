"""The plots of the review page as plotly figures: dictionaries with numpy arrays.

A figure has no colours: the page colours each trace by its `meta` and each shape by its `name`, in
the theme that is chosen.  Labels in a plot are numbers; no text of a file is among them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dashboard.figures.session_figures import efficiency_by_stroke, own_time, predicted_haul_N
from dashboard.review.session_review import PlottedChannel, ReviewNow, SessionReview
from dashboard.review.windowed_series import Floats, Window
from dashboard.review.wire import TraceText
from dashboard.text.units import Units, number, plus_minus

MOST_BANDS = 120  # strokes and resets shaded in one window
MOST_ON_LOOP = 60  # events written into one loop
MARGIN = {"l": 62, "r": 14, "t": 26, "b": 44}  # px
NO_LOOP = "This plot needs a haul cell and a counter of rope or load travel."

HAUL, TRAVEL, OTHERS = "y", "y2", "y3"  # axes of the plot over time

Figure = dict[str, Any]


def _axis(title: str, **more: Any) -> dict[str, Any]:
    return {"title": {"text": title, "standoff": 6}, "zeroline": False, "ticks": "outside", **more}


def _layout(**more: Any) -> dict[str, Any]:
    return {
        "autosize": True, "showlegend": False, "hovermode": False, "margin": dict(MARGIN),
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)", **more,
    }  # fmt: skip


def _line(x: Floats, y: Floats, meta: str, axis: str = "y", **more: Any) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "lines", "x": x, "y": y, "meta": meta, "yaxis": axis,
        "connectgaps": False, "line": {"width": 1.6, "simplify": False}, **more,
    }  # fmt: skip


def _rect(
    kind: str, x: tuple[float, float] | None, y: tuple[float, float] | None
) -> dict[str, Any]:
    """A band from x[0] to x[1] and from y[0] to y[1]; None: across the whole plot."""
    return {
        "type": "rect", "name": kind, "layer": "below", "line": {"width": 0},
        "xref": "paper" if x is None else "x", "yref": "paper" if y is None else "y",
        "x0": 0 if x is None else x[0], "x1": 1 if x is None else x[1],
        "y0": 0 if y is None else y[0], "y1": 1 if y is None else y[1],
    }  # fmt: skip


def _text(
    x: float, text: str, kind: str, y: float = 1.0, ref: str = "paper", **more: Any
) -> dict[str, Any]:
    """A label at x.  ref: what y counts in, the plot's height ("paper") or the axis."""
    return {
        "x": x, "y": y, "xref": "x", "yref": ref, "yanchor": "bottom", "showarrow": False, "text": text,
        "name": kind, "font": {"size": 12}, **more,
    }  # fmt: skip


def force_size(session: SessionReview, units: Units) -> tuple[str, float]:
    """The unit of every force on the plots, and its size in N."""
    return units.force_shown.chosen(session.peak_N())


# -- force and travel over time ------------------------------------------------------------------
def over_time(
    session: SessionReview,
    now: ReviewNow,
    units: Units,
    begin_s: float,
    end_s: float,
    width_px: int,
) -> tuple[Figure, list[TraceText], str]:
    """(figure, traces, note): force above, travel below, from begin_s to end_s.

    traces: in the order of the figure's data; note: how much time one point of a line stands for; width_px: of the plot on the page.
    """
    unit, size = force_size(session, units)
    long, metre = units.length_shown.unit, units.length_shown.size
    data, widths = [], []
    traces: list[TraceText] = []
    seen: dict[str, list[Floats]] = {HAUL: [], OTHERS: [], TRAVEL: []}
    for plotted, meta, axis in _channels(session):
        window = plotted.series.window(begin_s, end_s)
        x, y = window.path(plotted.series.channel.stale_after_s)
        y = y / (metre if axis == TRAVEL else size)
        data.append(_line(x, y, meta, axis))
        traces.append(
            TraceText(
                name=plotted.name,
                unit=long if axis == TRAVEL else unit,
                meta=meta,
                width_s=window.width_s,
                n=len(window.time_s),
            )
        )
        widths.append(window.width_s)
        seen[axis].append(y[(x >= begin_s) & (x <= end_s)])
    whole = session.span()
    all_of_it = begin_s <= whole[0] + 1e-6 and end_s >= whole[1] - 1e-6
    several = bool(seen[OTHERS])
    floor = 0.28 if several else 0.36
    shapes, labels = _strokes_and_events(now, begin_s, end_s, width_px, floor)
    for band in predicted_bands(now, size):
        shapes += band.shapes()
        seen[HAUL] += [np.array([band.low, band.high])] if all_of_it else []
    first = "haul force" if now.result.roles.haul_force is not None else "force"
    up = {"fixedrange": True, "anchor": "x"}
    layout = _layout(
        xaxis=_axis("time since the start, s", range=[begin_s, end_s], anchor="free", position=0),
        yaxis=_axis(f"{first}, {unit}", domain=[0.68 if several else 0.46, 1.0],
                    range=_range(seen[HAUL], all_of_it), **up),
        yaxis2=_axis(f"travel, {long}", domain=[0.0, floor], range=_range(seen[TRAVEL], False), **up),
        shapes=shapes, annotations=labels,
    )  # fmt: skip
    if several:
        layout["yaxis3"] = _axis(
            f"other forces, {unit}", domain=[0.36, 0.6], range=_range(seen[OTHERS], all_of_it), **up
        )
    return {"data": data, "layout": layout}, traces, _resolution(session, begin_s, end_s, widths)


@dataclass(frozen=True)
class PredictedBand:
    """The predicted haul force of one chapter with its 95 % interval, in the unit of the plot."""

    low: float  # lower end of the interval
    high: float  # upper end of the interval
    middle: float  # the prediction
    begin: float | None  # where it begins on the x axis; None: across the whole plot
    end: float | None  # where it ends

    def shapes(self) -> list[dict[str, Any]]:
        """The band and its middle line."""
        y, line = (self.low, self.high), _level("predicted-line", self.middle)
        if self.begin is None or self.end is None:
            return [_rect("predicted", None, y) | {"xref": "x domain"}, line]
        over = {"xref": "x", "x0": self.begin, "x1": self.end}
        return [_rect("predicted", (self.begin, self.end), y), line | over]


def predicted_bands(now: ReviewNow, size: float) -> list[PredictedBand]:
    """The predicted haul force of each chapter over its own strokes; of one chapter, across the plot.

    size: of the unit that the numbers are in, N.  Empty where there is no prediction or no haul cell.
    """
    several = len(now.reviewed.chapters) > 1
    bands = []
    for chapter in now.reviewed.chapters:
        predicted, own_s = predicted_haul_N(chapter), own_time(chapter)
        if now.result.roles.haul_force is None or predicted is None or (several and own_s is None):
            continue
        value, u = predicted
        begin_s, end_s = own_s if several and own_s is not None else (None, None)
        bands.append(
            PredictedBand(
                low=max(0.0, value - 2 * u) / size,
                high=(value + 2 * u) / size,
                middle=value / size,
                begin=begin_s,
                end=end_s,
            )
        )
    return bands


def _channels(session: SessionReview) -> Iterable[tuple[PlottedChannel, str, str]]:
    """(channel, meta, axis) of every line of the plot over time."""
    for k, force in enumerate(session.forces):
        yield force, "measured" if k == 0 else f"force-{k}", HAUL if k == 0 else OTHERS
    for travel, meta in ((session.rope, "rope"), (session.load, "load")):
        if travel is not None:
            yield travel, meta, TRAVEL


def _strokes_and_events(
    now: ReviewNow, begin_s: float, end_s: float, width_px: int, floor: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """(shapes, labels): strokes and resets as bands, events as lines, with their numbers.

    floor: height of the plot of travel, as a share of the whole plot.
    """
    review = now.review
    shapes: list[dict[str, Any]] = []
    numbers: list[tuple[float, str]] = []  # of strokes
    for k, s in enumerate(review["strokes"], 1):
        if s["end_s"] >= begin_s and s["start_s"] <= end_s:
            kind = "stroke" if s["direction"] == "haul" else "lower"
            shapes.append(_rect(kind, (s["start_s"], s["end_s"]), None))
            middle = (max(s["start_s"], begin_s) + min(s["end_s"], end_s)) / 2
            numbers.append((middle, f"{'▲' if kind == 'stroke' else '▼'}{k}"))
    for begin, end in now.resets:
        if end >= begin_s and begin <= end_s:
            shapes.append(_rect("reset", (begin, end), None))
    marks = now.marks(begin_s, end_s)
    shapes = shapes[:MOST_BANDS]
    px_s = (end_s - begin_s) / max(width_px - MARGIN["l"] - MARGIN["r"], 100)
    labels = [_text(x, text, "event") for x, text in grouped(marks, px_s)]
    labels += [_text(x, text, "way", floor) for x, text in grouped(numbers, px_s)]
    last = -np.inf
    for x, _ in marks:  # lines at least two pixels apart
        if x - last > 2 * px_s:
            shapes.append({"type": "line", "name": "event", "layer": "below", "xref": "x", "yref": "paper",
                           "x0": x, "x1": x, "y0": 0, "y1": 1, "line": {"width": 1, "dash": "dot"}})  # fmt: skip
            last = x
    return shapes, labels


def grouped(marks: list[tuple[float, str]], px: float) -> list[tuple[float, str]]:
    """Labels (x, text) in order; a label that would touch the one before is joined to it as
    "first…last".

    marks: the labels before joining, x in units of the axis, rising; px: size of a pixel in units
    of the axis.
    """
    labels: list[tuple[float, str]] = []
    first: list[str] = []
    for x, text in marks:
        if labels and x - labels[-1][0] < px * (8 + 4 * (len(labels[-1][1]) + len(text))):
            labels[-1] = (labels[-1][0], f"{first[-1]}…{text.lstrip('▲▼')}")
        else:
            labels.append((x, text))
            first.append(text)
    return labels


def _level(kind: str, y: float) -> dict[str, Any]:
    return {
        "type": "line", "name": kind, "layer": "below", "xref": "x domain", "yref": "y", "x0": 0, "x1": 1,
        "y0": y, "y1": y, "line": {"width": 1.5, "dash": "dash"},
    }  # fmt: skip


def _range(arrays: list[Floats], from_zero: bool) -> list[float]:
    """[low, high] of an axis that shows all values with some room; from_zero: 0 is in view too."""
    every = np.concatenate([*arrays, np.empty(0)])
    every = every[np.isfinite(every)]
    low, high = (float(every.min()), float(every.max())) if len(every) else (0.0, 1.0)
    if from_zero:
        low, high = min(0.0, low), max(high, 0.0)
    room = 0.06 * (high - low) or 0.06 * abs(high) or 0.5
    return [low - room, high + room]


def _resolution(session: SessionReview, begin_s: float, end_s: float, widths: list[float]) -> str:
    """How much time one point of the lines stands for.  widths: of the lines' columns, s; 0:
    readings."""
    if not any(len(s.series) for s in session.series):
        return "there is no reading"
    width = max(widths, default=0.0)
    if not width:
        return f"every reading from {begin_s:.2f} s to {end_s:.2f} s"
    return f"lowest and highest reading of every {number(width, 2)} s, so no peak is lost; zoom in to see every reading"


# -- force against travel --------------------------------------------------------------------------
def loop(session: SessionReview, now: ReviewNow, units: Units, stroke: int) -> tuple[Figure, str]:
    """(figure, caption): haul force against rope, over the predicted force; the caption gives the
    work.

    stroke: number of the stroke, 0 for the whole session.  Raises IndexError.
    """
    unit, size = force_size(session, units)
    long, metre = units.length_shown.unit, units.length_shown.size
    begin_s, end_s = session.span()
    own = now.review["strokes"][stroke - 1] if stroke else None
    if own is not None:
        begin_s, end_s = own["start_s"], own["end_s"]
    x = y = np.empty(0)
    shapes: list[dict[str, Any]] = []
    labels: list[dict[str, Any]] = []
    if now.result.roles.haul_force is not None and session.forces and session.rope is not None:
        window = session.forces[0].series.window(begin_s, end_s)
        window = _cut(window, begin_s, end_s)
        at_s, force = window.path(session.forces[0].series.channel.stale_after_s)
        x, y = session.travel_at(at_s) / metre, force / size
        labels = _on_loop(session, now, begin_s, end_s, metre, size)
    ends = [y]
    for band in _over_rope(session, now, size, metre, own) if len(x) else []:
        shapes += band.shapes()
        ends.append(np.array([band.low, band.high]))
    figure = {
        "data": [_line(x, y, "measured")],
        "layout": _layout(
            xaxis=_axis(f"rope at the haul, {long}"),
            yaxis=_axis(f"haul force, {unit}", range=_range(ends, from_zero=True)),
            shapes=shapes, annotations=labels, dragmode=False,
        ),
    }  # fmt: skip
    return figure, _work(now, units, own) if len(x) else NO_LOOP


def _over_rope(
    session: SessionReview, now: ReviewNow, size: float, metre: float, own: dict[str, Any] | None
) -> list[PredictedBand]:
    """The predicted haul force over rope: of the chapter of stroke `own`, None: of each chapter over its rope.

    size, metre: of the units of force, N, and rope, m.
    """
    bands = predicted_bands(now, size)
    if own is not None:
        return [
            replace(b, begin=None, end=None) for b in bands
            if b.begin is None or b.end is None or b.begin <= own["start_s"] <= b.end
        ]  # fmt: skip
    placed = []
    for band in bands:
        if band.begin is None or band.end is None:
            placed.append(band)
            continue
        times = [t for s in now.result.strokes for t in (s.start_s, s.end_s)
                 if band.begin <= t <= band.end]  # fmt: skip
        rope = session.travel_at(np.array(times)) / metre
        rope = rope[np.isfinite(rope)]
        if len(rope):
            placed.append(replace(band, begin=float(rope.min()), end=float(rope.max())))
    return placed


def _cut(window: Window, begin_s: float, end_s: float) -> Window:
    """The window without the readings just outside it, which join a line to its edges."""
    middle = window.time_s + window.width_s / 2
    keep = (middle >= begin_s) & (middle <= end_s)
    return Window(window.time_s[keep], window.low[keep], window.high[keep], window.width_s)


def _on_loop(
    session: SessionReview, now: ReviewNow, begin_s: float, end_s: float, metre: float, size: float
) -> list[dict[str, Any]]:
    """Labels with the numbers of events, each at its force and travel, without those that would overlap.

    metre, size: sizes of the units of length and force on the axes, in m and N.
    """
    marks = now.marks(begin_s, end_s)[:MOST_ON_LOOP]
    times = np.array([t for t, _ in marks])
    travels, forces = session.travel_at(times) / metre, session.forces[0].series.at(times) / size
    valid = np.isfinite(travels) & np.isfinite(forces)
    if not valid.any():
        return []
    span, high = np.ptp(travels[valid]), np.max(np.abs(forces[valid]))
    placed: list[tuple[float, float]] = []
    labels = []
    for (_, text), x, y in zip(marks, travels, forces, strict=True):
        near = any(abs(x - a) < 0.05 * span and abs(y - b) < 0.08 * high for a, b in placed)
        if np.isfinite(x) and np.isfinite(y) and not near:
            placed.append((x, y))
            labels.append(_text(float(x), text, "event", float(y), "y"))
    return labels


def _work(
    now: ReviewNow,
    units: Units,
    own: dict[str, Any] | None,
) -> str:
    """The caption of the loop: work and rope, beside the predicted work over the same rope.

    own: the stroke that is shown, None: all.
    """
    measured = now.review["measured"]
    if own is None:
        work_J, rope_m = measured["work_in_J"], measured["haul_travel_m"]
        text = f"All haul strokes: work in {units.work(work_J)} over {units.length(rope_m)} of rope"
        if measured["work_out_J"] is not None:
            text += f", work out {units.work(measured['work_out_J'])}"
    else:
        work_J, rope_m = own["work_J"], own["haul_travel_m"]
        name = "Work in" if own["direction"] == "haul" else "Work taken back"
        text = f"{name} {units.work(work_J)} over {units.length(rope_m)} of rope"
    predicted = _predicted_work(now, own, rope_m)
    if predicted is not None:
        text += f"; predicted {_work_pm(units, *predicted)} over the same rope"
    return text + "."


def _predicted_work(
    now: ReviewNow, own: dict[str, Any] | None, rope_m: float | None
) -> tuple[float, float] | None:
    """Predicted work over rope_m, m, and its expanded uncertainty, J; of several chapters, their sum.

    None where a chapter with a haul stroke has no prediction.
    """
    if not rope_m:
        return None
    values, expanded = [], []
    for chapter, row in zip(now.reviewed.chapters, now.review["chapters"], strict=True):
        if own is not None and now.review["strokes"].index(own) not in row["strokes"]:
            continue
        over_m = rope_m if own is not None else row["measured"]["haul_travel_m"]
        predicted = predicted_haul_N(chapter)
        if not over_m:
            continue
        if predicted is None or now.result.roles.haul_force is None:
            return None
        values.append(predicted[0] * over_m)
        expanded.append(2 * predicted[1] * over_m)
    return (sum(values), sum(expanded)) if values else None


def _work_pm(units: Units, value_J: float, expanded_J: float) -> str:
    """Work and its expanded uncertainty with their unit."""
    unit, size = units.work_shown.chosen(value_J)
    return f"{plus_minus(value_J / size, expanded_J / size)} {unit}"


# -- efficiency stroke by stroke -------------------------------------------------------------------
def efficiency(now: ReviewNow, units: Units) -> Figure:
    """The efficiency of each haul stroke with its interval, over the bands of the session and the
    prediction.

    Above each stroke stand the numbers of the events in it.
    """
    strokes = efficiency_by_stroke(now.reviewed.shown(units))
    data = [
        {"type": "scatter", "mode": "markers", "meta": "measured", "x": dots.x, "y": dots.y,
         "marker": {"size": 9},
         "error_y": {"type": "data", "symmetric": False, "array": dots.high - dots.y,
                     "arrayminus": dots.y - dots.low, "thickness": 2, "width": 5}}
        for dots in strokes.dots
    ]  # fmt: skip
    shapes = []
    for band in strokes.bands:
        if band.y0 is None or band.y1 is None:
            continue
        x = None if band.x0 is None or band.x1 is None else (band.x0, band.x1)
        kind = band.kind if band.kind == "predicted" else "session"
        shapes.append(
            _rect(kind, x, (band.y0, band.y1)) | ({"xref": "x domain"} if x is None else {})
        )
        if kind == "predicted":
            line = _level("predicted-line", (band.y0 + band.y1) / 2)
            shapes.append(line if x is None else line | {"xref": "x", "x0": x[0], "x1": x[1]})
    low, high = strokes.y_range()
    many = len(now.review["strokes"])
    layout = _layout(
        xaxis=_axis("stroke", range=[0.5, max(many, 1) + 0.5], **({"dtick": 1} if many <= 12 else {})),
        yaxis=_axis("efficiency, actual MA / ideal MA", range=[low, high]),
        shapes=shapes, annotations=_in_strokes(now), dragmode=False,
    )  # fmt: skip
    return {"data": data, "layout": layout, "nothing": strokes.nothing}


def _in_strokes(now: ReviewNow) -> list[dict[str, Any]]:
    """Labels with the numbers of the events in each stroke."""
    labels = []
    for k, s in enumerate(now.review["strokes"][:MOST_BANDS], 1):
        inside = [text for _, text in now.marks(s["start_s"], s["end_s"])]
        if inside:
            text = ", ".join(inside) if len(inside) <= 3 else f"{inside[0]}…{inside[-1]}"
            labels.append(_text(float(k), text, "event"))
    return labels


# -- as JSON -----------------------------------------------------------------------------------------
def plain(value: Any) -> Any:
    """A figure for JSON: arrays as lists of numbers with seven significant digits, NaN and infinity
    as None."""
    if isinstance(value, np.ndarray):
        return [None if not np.isfinite(v) else float(f"{v:.7g}") for v in value.tolist()]
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
