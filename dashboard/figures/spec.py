"""A plot as plain values: what is drawn, in which unit, what it is called.

The same figure goes onto paper (`figures_svg`), and into a page or a notebook (`figures_plotly`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Line:
    """x, y (n,): NaN breaks the line.  kind: measured | predicted."""

    name: str
    x: Floats
    y: Floats
    kind: str = "measured"


@dataclass(frozen=True, eq=False)
class Dots:
    """Points with an interval: y, low, high (n,); text: what each is called."""

    name: str
    x: Floats
    y: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class Band:
    """A rectangle; None: as far as the plot goes.  kind: predicted | measured | stroke | reset."""

    name: str
    x0: float | None
    x1: float | None
    y0: float | None
    y1: float | None
    kind: str


@dataclass(frozen=True)
class Mark:
    """Something at one time; label: short, stands above the plot."""

    x: float
    label: str
    text: str = ""


@dataclass(frozen=True, eq=False)
class Figure:
    """One plot.  Labels name their unit; nothing: why there is nothing to draw, or ""."""

    title: str
    x_label: str
    y_label: str
    lines: tuple[Line, ...] = ()
    dots: tuple[Dots, ...] = ()
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()
    from_zero: bool = True  # the y axis begins at 0 at the highest
    whole_x: bool = False  # only whole numbers on the x axis
    nothing: str = field(default="")

    def x_range(self) -> tuple[float, float]:
        """The least and largest x of everything."""
        values = [*(line.x for line in self.lines), *(d.x for d in self.dots)]
        ends = [e for b in self.bands for e in (b.x0, b.x1) if e is not None]
        low, high = _range([*values, np.array(ends, dtype=float)])
        return (low - 0.5, high + 0.5) if self.whole_x else (low, high)

    def y_range(self) -> tuple[float, float]:
        """The least and largest y of everything, with a little air."""
        values = [*(line.y for line in self.lines)]
        for d in self.dots:
            values += [d.low, d.high]
        ends = [e for b in self.bands for e in (b.y0, b.y1) if e is not None]
        low, high = _range([*values, np.array(ends, dtype=float)])
        if self.from_zero:
            low = min(0.0, low)
        air = 0.05 * (high - low)
        return (low if self.from_zero and low == 0 else low - air), high + air


def _range(values: list[Floats]) -> tuple[float, float]:
    every = np.concatenate([np.asarray(v, dtype=float).ravel() for v in values] or [np.empty(0)])
    every = every[np.isfinite(every)]
    if not len(every):
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    if high - low < 1e-12 * max(1.0, abs(high)):
        return low - 0.5, high + 0.5
    return low, high


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers between low and high: steps of 1, 2 or 5 times a power of ten."""
    span = high - low
    if not (np.isfinite(span) and span > 0):
        return [low]
    raw = span / max(about, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(float(m * power) for m in (1, 2, 5, 10) if m * power >= raw * (1 - 1e-9))
    first = int(np.ceil(low / step - 1e-9))
    last = int(np.floor(high / step + 1e-9))
    return [k * step for k in range(first, last + 1)]
