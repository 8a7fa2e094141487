"""The plots of the review page as plotly figures: dictionaries with numpy arrays.

Colours come from the page's theme: `meta` of a trace and `name` of a shape say what it is, and the
page paints it.  Numbers alone are written into a plot, no text of a file.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from dashboard.figures.session_figures import efficiency_by_stroke, predicted_haul_N
from dashboard.review.session_review import ReviewNow, SessionReview, Shown
from dashboard.review.windowed_series import Floats, Window
from dashboard.review.wire import TraceText
from dashboard.text.units import Units, number, plus_minus

MOST_BANDS = 120  # strokes and resets shaded in one window
MOST_ON_LOOP = 60  # events written into one loop
MARGIN = {"l": 62, "r": 14, "t": 26, "b": 44}
NO_LOOP = "needs a haul cell and a counter of rope or load travel"

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
    """A band; x or y None: all across."""
    return {
        "type": "rect", "name": kind, "layer": "below", "line": {"width": 0},
        "xref": "paper" if x is None else "x", "yref": "paper" if y is None else "y",
        "x0": 0 if x is None else x[0], "x1": 1 if x is None else x[1],
        "y0": 0 if y is None else y[0], "y1": 1 if y is None else y[1],
    }  # fmt: skip


def _text(
    x: float, text: str, kind: str, y: float = 1.0, ref: str = "paper", **more: Any
) -> dict[str, Any]:
    return {
        "x": x, "y": y, "xref": "x", "yref": ref, "yanchor": "bottom", "showarrow": False, "text": text,
        "name": kind, "font": {"size": 12}, **more,
    }  # fmt: skip


def force_size(session: SessionReview, shown: Units) -> tuple[str, float]:
    """The unit of every force on the plots, and what it is worth in N."""
    return shown.force_shown.chosen(session.peak_N())


# -- force and travel over time ------------------------------------------------------------------
def over_time(
    session: SessionReview, now: ReviewNow, shown: Units, begin_s: float, end_s: float, wide_px: int
) -> tuple[Figure, list[TraceText], str]:
    """Force above, travel below, from begin_s to end_s; what each trace is, and how finely it is told."""
    unit, size = force_size(session, shown)
    long, metre = shown.length_shown.unit, shown.length_shown.size
    data, widths = [], []
    traces: list[TraceText] = []
    seen: dict[str, list[Floats]] = {HAUL: [], OTHERS: [], TRAVEL: []}
    for shown_as, meta, axis in _channels(session):
        window = shown_as.series.window(begin_s, end_s)
        x, y = window.path(shown_as.series.channel.stale_after_s)
        y = y / (metre if axis == TRAVEL else size)
        data.append(_line(x, y, meta, axis))
        traces.append(
            TraceText(
                name=shown_as.name,
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
    shapes, labels = _happened(now, begin_s, end_s, wide_px, floor)
    band = predicted_band(now, size)
    if band is not None:
        shapes += [
            _rect("predicted", None, band[:2]) | {"xref": "x domain"},
            _level("predicted-line", band[2]),
        ]
        seen[HAUL] += [np.array(band[:2])] if all_of_it else []
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


def predicted_band(now: ReviewNow, size: float) -> tuple[float, float, float] | None:
    """Lowest, highest (95 %) and middle of the predicted haul force, in a unit worth `size` N."""
    found = predicted_haul_N(now)  # type: ignore[arg-type]
    if found is None or now.result.roles.haul_force is None:
        return None
    value, u = found
    return max(0.0, value - 2 * u) / size, (value + 2 * u) / size, value / size


def _channels(session: SessionReview) -> Iterable[tuple[Shown, str, str]]:
    """Every channel of the plot, what it is, and its axis."""
    for k, force in enumerate(session.forces):
        yield force, "measured" if k == 0 else f"force-{k}", HAUL if k == 0 else OTHERS
    for way, meta in ((session.rope, "rope"), (session.load, "load")):
        if way is not None:
            yield way, meta, TRAVEL


def _happened(
    now: ReviewNow, begin_s: float, end_s: float, wide_px: int, floor: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Strokes and resets as bands, events as lines; labels that would lie on each other are one."""
    review = now.review
    shapes: list[dict[str, Any]] = []
    ways: list[tuple[float, str]] = []
    for k, s in enumerate(review["strokes"], 1):
        if s["end_s"] >= begin_s and s["start_s"] <= end_s:
            kind = "stroke" if s["direction"] == "haul" else "lower"
            shapes.append(_rect(kind, (s["start_s"], s["end_s"]), None))
            middle = (max(s["start_s"], begin_s) + min(s["end_s"], end_s)) / 2
            ways.append((middle, f"{'▲' if kind == 'stroke' else '▼'}{k}"))
    for begin, end in now.resets:
        if end >= begin_s and begin <= end_s:
            shapes.append(_rect("reset", (begin, end), None))
    marks = now.marks(begin_s, end_s)
    shapes = shapes[:MOST_BANDS]
    px_s = (end_s - begin_s) / max(wide_px - MARGIN["l"] - MARGIN["r"], 100)
    labels = [_text(x, text, "event") for x, text in grouped(marks, px_s)]
    labels += [_text(x, text, "way", floor) for x, text in grouped(ways, px_s)]
    last = -np.inf
    for x, _ in marks:  # lines that a pixel could tell apart
        if x - last > 2 * px_s:
            shapes.append({"type": "line", "name": "event", "layer": "below", "xref": "x", "yref": "paper",
                           "x0": x, "x1": x, "y0": 0, "y1": 1, "line": {"width": 1, "dash": "dot"}})  # fmt: skip
            last = x
    return shapes, labels


def grouped(marks: list[tuple[float, str]], px: float) -> list[tuple[float, str]]:
    """Labels in order, one that would touch the one before joined to it as "first…last".

    px: what a pixel of the plot is worth on its axis.
    """
    found: list[tuple[float, str]] = []
    first: list[str] = []
    for x, text in marks:
        if found and x - found[-1][0] < px * (8 + 4 * (len(found[-1][1]) + len(text))):
            found[-1] = (found[-1][0], f"{first[-1]}…{text.lstrip('▲▼')}")
        else:
            found.append((x, text))
            first.append(text)
    return found


def _level(kind: str, y: float) -> dict[str, Any]:
    return {
        "type": "line", "name": kind, "layer": "below", "xref": "x domain", "yref": "y", "x0": 0, "x1": 1,
        "y0": y, "y1": y, "line": {"width": 1.5, "dash": "dash"},
    }  # fmt: skip


def _range(parts: list[Floats], from_zero: bool) -> list[float]:
    every = np.concatenate([*parts, np.empty(0)])
    every = every[np.isfinite(every)]
    low, high = (float(every.min()), float(every.max())) if len(every) else (0.0, 1.0)
    if from_zero:
        low, high = min(0.0, low), max(high, 0.0)
    air = 0.06 * (high - low) or 0.06 * abs(high) or 0.5
    return [low - air, high + air]


def _resolution(session: SessionReview, begin_s: float, end_s: float, widths: list[float]) -> str:
    if not any(len(s.series) for s in session.series):
        return "there is no reading"
    width = max(widths, default=0.0)
    if not width:
        return f"every reading from {begin_s:.2f} s to {end_s:.2f} s"
    return f"lowest and highest of every {number(width, 2)} s: no peak is left out; zoom in for every reading"


# -- force against travel --------------------------------------------------------------------------
def loop(session: SessionReview, now: ReviewNow, shown: Units, stroke: int) -> tuple[Figure, str]:
    """Haul force against rope, of one stroke or (0) of all, over the predicted force; what its area
    is, in words.  Raises IndexError."""
    unit, size = force_size(session, shown)
    long, metre = shown.length_shown.unit, shown.length_shown.size
    begin_s, end_s = session.span()
    own = now.review["strokes"][stroke - 1] if stroke else None
    if own is not None:
        begin_s, end_s = own["start_s"], own["end_s"]
    band = predicted_band(now, size)
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
    if band is not None and len(x):
        shapes = [
            _rect("predicted", None, band[:2]) | {"xref": "x domain"},
            _level("predicted-line", band[2]),
        ]
        ends.append(np.array(band[:2]))
    figure = {
        "data": [_line(x, y, "measured")],
        "layout": _layout(
            xaxis=_axis(f"rope at the haul, {long}"),
            yaxis=_axis(f"haul force, {unit}", range=_range(ends, from_zero=True)),
            shapes=shapes, annotations=labels, dragmode=False,
        ),
    }  # fmt: skip
    return figure, _work(now, shown, own, predicted_band(now, 1.0)) if len(x) else NO_LOOP


def _cut(window: Window, begin_s: float, end_s: float) -> Window:
    """Without the neighbours that a window has for its line's ends."""
    middle = window.time_s + window.width_s / 2
    keep = (middle >= begin_s) & (middle <= end_s)
    return Window(window.time_s[keep], window.low[keep], window.high[keep], window.width_s)


def _on_loop(
    session: SessionReview, now: ReviewNow, begin_s: float, end_s: float, metre: float, size: float
) -> list[dict[str, Any]]:
    """The numbers of events where they happened."""
    found = now.marks(begin_s, end_s)[:MOST_ON_LOOP]
    times = np.array([t for t, _ in found])
    ways, forces = session.travel_at(times) / metre, session.forces[0].series.at(times) / size
    known = np.isfinite(ways) & np.isfinite(forces)
    if not known.any():
        return []
    many, high = np.ptp(ways[known]), np.max(np.abs(forces[known]))
    placed: list[tuple[float, float]] = []
    labels = []
    for (_, text), x, y in zip(found, ways, forces, strict=True):
        near = any(abs(x - a) < 0.05 * many and abs(y - b) < 0.08 * high for a, b in placed)
        if np.isfinite(x) and np.isfinite(y) and not near:
            placed.append((x, y))
            labels.append(_text(float(x), text, "event", float(y), "y"))
    return labels


def _work(
    now: ReviewNow,
    shown: Units,
    own: dict[str, Any] | None,
    band_N: tuple[float, float, float] | None,
) -> str:
    measured = now.review["measured"]
    if own is None:
        work, way = measured["work_in_J"], measured["haul_travel_m"]
        said = f"All haul strokes: work in {shown.work(work)} over {shown.length(way)} of rope"
        if measured["work_out_J"] is not None:
            said += f", work out {shown.work(measured['work_out_J'])}"
    else:
        work, way = own["work_J"], own["haul_travel_m"]
        name = "Work in" if own["direction"] == "haul" else "Work taken back"
        said = f"{name} {shown.work(work)} over {shown.length(way)} of rope"
    if band_N is not None and way:
        _, high, middle = band_N
        said += (
            f"; predicted {_plain(shown, middle * way, (high - middle) * way)} over the same rope"
        )
    return said + "."


def _plain(shown: Units, value_J: float, expanded_J: float) -> str:
    unit, size = shown.work_shown.chosen(value_J)
    return f"{plus_minus(value_J / size, expanded_J / size)} {unit}"


# -- efficiency stroke by stroke -------------------------------------------------------------------
def efficiency(now: ReviewNow, shown: Units) -> Figure:
    """Each haul stroke's efficiency with its interval, over the session's and the prediction's band;
    the numbers of the events that fell into a stroke stand above it."""
    plain = efficiency_by_stroke(now.reviewed.shown(shown))
    data = [
        {"type": "scatter", "mode": "markers", "meta": "measured", "x": dots.x, "y": dots.y,
         "marker": {"size": 9},
         "error_y": {"type": "data", "symmetric": False, "array": dots.high - dots.y,
                     "arrayminus": dots.y - dots.low, "thickness": 2, "width": 5}}
        for dots in plain.dots
    ]  # fmt: skip
    shapes = [
        _rect(band.kind if band.kind == "predicted" else "session", None, (band.y0, band.y1))
        | {"xref": "x domain"}
        for band in plain.bands
        if band.y0 is not None and band.y1 is not None
    ]
    shapes.append(_level("predicted-line", now.review["predicted"]["efficiency"]))
    low, high = plain.y_range()
    many = len(now.review["strokes"])
    layout = _layout(
        xaxis=_axis("stroke", range=[0.5, max(many, 1) + 0.5], **({"dtick": 1} if many <= 12 else {})),
        yaxis=_axis("efficiency, actual MA / ideal MA", range=[low, high]),
        shapes=shapes, annotations=_in_strokes(now), dragmode=False,
    )  # fmt: skip
    return {"data": data, "layout": layout, "nothing": plain.nothing}


def _in_strokes(now: ReviewNow) -> list[dict[str, Any]]:
    found = []
    for k, s in enumerate(now.review["strokes"][:MOST_BANDS], 1):
        inside = [text for _, text in now.marks(s["start_s"], s["end_s"])]
        if inside:
            text = ", ".join(inside) if len(inside) <= 3 else f"{inside[0]}…{inside[-1]}"
            found.append(_text(float(k), text, "event"))
    return found


# -- onto the wire -----------------------------------------------------------------------------------
def plain(value: Any) -> Any:
    """The same with arrays as lists of numbers of at most seven figures, NaN as None."""
    if isinstance(value, np.ndarray):
        return [None if not np.isfinite(v) else float(f"{v:.7g}") for v in value.tolist()]
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
