"""Says which number of a device moved when somebody pulled, which way, and how far.

A person pulls once between two moments; the numbers before are those at rest.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from logger.device_units import FORCE_UNITS, LENGTH_UNITS
from logger.listening.number_series import NumberSeries

# a number moved if it left its place at rest by so many times its own spread there; chosen by us: of
# a steady reading one in 1e15 does (normal spread), and a rope in the hand is hundreds of times it
LEAST_TIMES = 8.0
# size of a step against which a number that stands quite still is judged, as a share of its size;
# rounding only
LEAST_STEP = 1e-4
# a unit fits a weight if the change is the weight's within this share; chosen by us: a cell that was
# never adjusted may be off by some per cent, and N, lbf, kg, kN lie a factor of 2 and more apart
FITS_SHARE = 0.15
LEAST_REST = 3  # readings at rest before a pull is looked for
MOST_REST = 400  # readings at rest that are kept of each number; memory only


@dataclass(frozen=True)
class Movement:
    """The movement of one number."""

    place: str  # which number
    rest: float  # its middle at rest, in its unit
    farthest: float  # where it was farthest from rest, in its unit
    times: float  # how far that is, in its spread at rest

    @property
    def change(self) -> float:
        """From rest to the farthest, in its unit; negative where the number fell."""
        return self.farthest - self.rest


def movements(
    rest: Mapping[str, Sequence[float]], pulled: Mapping[str, Sequence[float]]
) -> tuple[Movement, ...]:
    """The numbers that moved, the one that moved most first.

    rest, pulled: values by place, in the order of the lines, in the number's unit.
    """
    made = []
    for place, values in pulled.items():
        before = rest.get(place, ())
        if len(before) < 2 or not values:
            continue
        middle = median(before)
        farthest = max(values, key=lambda value, m=middle: abs(value - m))  # type: ignore[misc]
        spread = max(abs(value - middle) for value in before)
        step = max(spread, resolution([*before, *values]), LEAST_STEP * abs(middle))
        times = abs(farthest - middle) / step if step > 0.0 else 0.0
        if times >= LEAST_TIMES:
            made.append(Movement(place, middle, farthest, times))
    return tuple(sorted(made, key=lambda one: -one.times))


def resolution(values: Sequence[float]) -> float:
    """The last decimal place of the values, in their unit: what a steady number may change by."""
    decimals = max(len(f"{value:.9f}".rstrip("0").partition(".")[2]) for value in values)
    return float(10.0**-decimals)


def size_si(weight: float, unit: str) -> float:
    """A weight or length that a person typed, in N or m; a mass as its weight with g = 9.80665 m/s2.

    weight: in `unit`.
    """
    return weight * (FORCE_UNITS.get(unit) or LENGTH_UNITS[unit])


def share_of(change: float, unit: str, size_of: float) -> float:
    """What a change, in `unit`, shows of a force or length that is known, size_of, N or m; 1 where they
    agree."""
    return change * size_si(1.0, unit) / size_of


def fitting_units(change: float, size_of: float, length: bool) -> tuple[str, ...]:
    """The units in which a change is the known force or length size_of (N or m), the best first; daN and kg
    lie 2 % apart, so that both may fit.

    change: as the device shows it; length: whether it is a length.
    """
    sizes = LENGTH_UNITS if length else FORCE_UNITS
    off = {unit: abs(abs(change) * size / size_of - 1.0) for unit, size in sizes.items()}
    same = {sizes[unit]: unit for unit in sizes}  # of two names of one unit the last
    fitting = [unit for unit in same.values() if off[unit] < FITS_SHARE]
    return tuple(sorted(fitting, key=lambda unit: off[unit]))


def scale_for(change: float, size_of: float) -> float | None:
    """The scale of a count, N or m a count, with which the change is the known size_of (N or m).

    change: in counts.  None for no change.
    """
    scale = size_of / change if change else math.nan
    return float(f"{scale:.4g}") if math.isfinite(scale) else None


class PullWatch:
    """What each number did since somebody was asked to pull.  Safe for several threads."""

    def __init__(self, rest: Iterable[NumberSeries]) -> None:
        """rest: the numbers of the last seconds, in which nobody pulled."""
        self._lock = threading.Lock()
        self._rest: dict[str, list[float]] = {}
        self._farthest: dict[str, list[float]] = {}
        self._add(self._rest, rest)

    @property
    def ready(self) -> bool:
        """Whether enough came at rest, so that a pull can be seen."""
        with self._lock:
            return any(len(values) >= LEAST_REST for values in self._rest.values())

    def feed(self, numbers: Iterable[NumberSeries]) -> None:
        """Take the numbers of the last moments; those that came before may be among them."""
        if not self.ready:
            with self._lock:
                self._add(self._rest, numbers)
            return
        with self._lock:
            for one in numbers:
                values = [float(text) for text in one.texts]
                ends = [*self._farthest.get(one.place, ()), *values]
                if ends:
                    self._farthest[one.place] = [min(ends), max(ends)]

    def moved(self) -> tuple[Movement, ...]:
        """The numbers that moved, the one that moved most first."""
        with self._lock:
            return movements(self._rest, self._farthest)

    def rest(self, place: str) -> tuple[float, ...]:
        """The readings at rest of one number, in its unit."""
        with self._lock:
            return tuple(self._rest.get(place, ()))

    @staticmethod
    def _add(to: dict[str, list[float]], numbers: Iterable[NumberSeries]) -> None:
        for one in numbers:
            kept = to.setdefault(one.place, [])
            kept += [float(text) for text in one.texts]
            del kept[:-MOST_REST]
