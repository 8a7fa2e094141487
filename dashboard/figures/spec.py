"""Describes a plot as plain values: curves, points, areas and marks, with their labels.

`to_svg` draws it for paper, `to_plotly` for a page or a notebook.  x and y are in the units that the
figure's labels name.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Curve:
    """A line through points.

    name: in the legend.
    x: (n,), unit of the x axis.
    y: (n,), unit of the y axis; NaN breaks the line.
    kind: measured | predicted | stop.
    """

    name: str
    x: Floats
    y: Floats
    kind: str = "measured"


@dataclass(frozen=True, eq=False)
class Dots:
    """Points, each with an interval.

    name: in the legend.
    x: (n,), unit of the x axis.
    y: (n,), unit of the y axis.
    low: (n,), lower ends of the intervals.
    high: (n,), upper ends of the intervals.
    """

    name: str
    x: Floats
    y: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Band:
    """A shaded rectangle.

    name: in the legend.
    x0: left edge, unit of the x axis; None: the plot's own edge.
    x1: right edge, as x0.
    y0: lower edge, unit of the y axis; None: the plot's own edge.
    y1: upper edge, as y0.
    kind: predicted | measured | stroke | reset.
    """

    name: str
    x0: float | None
    x1: float | None
    y0: float | None
    y1: float | None
    kind: str


@dataclass(frozen=True)
class PlotMark:
    """A vertical rule at one x.

    x: where it stands, unit of the x axis.
    label: a short text above the plot.
    text: what happened; shown where one points at the label.
    """

    x: float
    label: str
    text: str = ""


@dataclass(frozen=True, eq=False)
class Figure:
    """One plot.

    title: heading.
    x_label: quantity and unit of the x axis.
    y_label: quantity and unit of the y axis.
    lines: curves, drawn over the bands.
    dots: points with intervals.
    bands: shaded rectangles.
    marks: vertical rules with labels.
    from_zero: whether the y axis includes 0.
    whole_x: whether the x axis is labelled at whole numbers alone.
    nothing: why there is nothing to draw; "" where there is.
    """

    title: str
    x_label: str
    y_label: str
    lines: tuple[Curve, ...] = ()
    dots: tuple[Dots, ...] = ()
    bands: tuple[Band, ...] = ()
    marks: tuple[PlotMark, ...] = ()
    from_zero: bool = True
    whole_x: bool = False
    nothing: str = field(default="")

    def x_range(self) -> tuple[float, float]:
        """Least and greatest x of everything that is drawn."""
        values = [*(line.x for line in self.lines), *(d.x for d in self.dots)]
        ends = [e for b in self.bands for e in (b.x0, b.x1) if e is not None]
        low, high = _range([*values, np.array(ends, dtype=float)])
        return (low - 0.5, high + 0.5) if self.whole_x else (low, high)

    def y_range(self) -> tuple[float, float]:
        """Least and greatest y of everything that is drawn, with a margin."""
        values = [*(line.y for line in self.lines)]
        for d in self.dots:
            values += [d.low, d.high]
        ends = [e for b in self.bands for e in (b.y0, b.y1) if e is not None]
        low, high = _range([*values, np.array(ends, dtype=float)])
        if self.from_zero:
            low = min(0.0, low)
        margin = 0.05 * (high - low)
        return (low if self.from_zero and low == 0 else low - margin), high + margin


def _range(values: list[Floats]) -> tuple[float, float]:
    """Least and greatest finite value, widened where they are equal; (0, 1) without any."""
    every = np.concatenate([np.asarray(v, dtype=float).ravel() for v in values] or [np.empty(0)])
    every = every[np.isfinite(every)]
    if not len(every):
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    if high - low < 1e-12 * max(1.0, abs(high)):
        return low - 0.5, high + 0.5
    return low, high


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers from low to high, in steps of 1, 2 or 5 times a power of ten; about: how many are
    wanted."""
    span = high - low
    if not (np.isfinite(span) and span > 0):
        return [low]
    raw = span / max(about, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(float(m * power) for m in (1, 2, 5, 10) if m * power >= raw * (1 - 1e-9))
    first = int(np.ceil(low / step - 1e-9))
    last = int(np.floor(high / step + 1e-9))
    return [k * step for k in range(first, last + 1)]
