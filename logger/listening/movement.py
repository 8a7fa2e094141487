"""Says which number of a device moved when somebody pulled, which way, and how far.

A person pulls once between two moments; the numbers before are those at rest.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
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
REST_S = 5.0  # time before a pull over which numbers are at rest; chosen by us: five lines of a slow device
LEAST_REST = 3  # readings at rest before a pull is looked for
# from which readings count as moving; chosen by us: steady noise of 60 readings has a ratio below 2
MOST_RATIO = 4.0
MOST_OFF = 8.0  # middle distances from the middle that a reading may be beside it; chosen by us, as for a pull
LEAST_MOVED = (
    3.0  # steps of a reading below which it stands still; chosen by us: its last digit flickers
)
MOST_REST = 400  # readings at rest that are kept of each number; memory only


@dataclass(frozen=True)
class Movement:
    """The movement of one number."""

    place: str  # which number
    rest: float  # its middle at rest, in its unit
    farthest: float  # where it was farthest from rest, in its unit
    times: float  # how far that is, in its spread at rest
    back: bool = False  # whether it was there just before its rest: perhaps a release

    @property
    def change(self) -> float:
        """From rest to the farthest, in its unit; negative where the number fell."""
        return self.farthest - self.rest


def movements(
    rest: Mapping[str, Sequence[float]], pulled: Mapping[str, Sequence[float]]
) -> tuple[Movement, ...]:
    """The numbers that moved, the one that moved most first.

    rest, pulled: values by place, in the order of the lines, in the number's unit; of those at rest the
    latest hold, see `resting`.
    """
    made = []
    for place, values in pulled.items():
        whole = rest.get(place, ())
        before = resting(whole)
        if len(before) < 2 or not values:
            continue
        middle = median(before)
        farthest = max(values, key=lambda value, m=middle: abs(value - m))  # type: ignore[misc]
        spread = max(abs(value - middle) for value in before)
        step = max(spread, resolution([*before, *values]), LEAST_STEP * abs(middle))
        times = abs(farthest - middle) / step if step > 0.0 else 0.0
        if times >= LEAST_TIMES:
            left = whole[: len(whole) - len(before)]
            back = bool(left) and min(left) - step <= farthest <= max(left) + step
            made.append(
                Movement(place=place, rest=middle, farthest=farthest, times=times, back=back)
            )
    return tuple(sorted(made, key=lambda one: -one.times))


def resting(values: Sequence[float]) -> Sequence[float]:
    """The latest of the values, back to where the load was changed last; all of them where the latest move.

    values: in the order in which they came, in one unit.  A load that was hung on or let go a moment before a
    pull would else count as the spread at rest, and hide the pull.
    """
    if len(values) <= LEAST_REST or not moves(values):
        return values
    steps = sorted(abs(later - earlier) for earlier, later in pairwise(values))
    # twice the lower quartile of normal noise is about its middle; steps of a change of load lie above it
    noise = 2.0 * steps[len(steps) // 4]
    latest = _near_the_end(values, median(values[-LEAST_REST:]), LEAST_TIMES * noise)
    if len(latest) < LEAST_REST:
        return values
    middle = median(latest)
    off = median(abs(value - middle) for value in latest)
    latest = _near_the_end(latest, middle, MOST_OFF * off)  # without the end of the change
    return latest if len(latest) >= LEAST_REST and not moves(latest) else values


def _near_the_end(values: Sequence[float], middle: float, near: float) -> Sequence[float]:
    """The latest values of which none is more than near, or than some steps of the last digit, off the middle."""
    near = max(near, MOST_OFF * resolution(values))
    first = len(values)
    while first > 0 and abs(values[first - 1] - middle) <= near:
        first -= 1
    return values[first:]


def moves(values: Sequence[float]) -> bool:
    """Whether readings went somewhere, rather than scatter about one value; values: in the order in which they came.

    Those that scatter differ from one to the next by as much as over all (von Neumann's ratio is about 1),
    and none of them is far beside the others.
    """
    steps = [abs(b - a) for a, b in pairwise(values)]
    least = resolution(values)
    if max(values) - min(values) <= LEAST_MOVED * least:
        return False
    middle = median(values)
    off = [abs(v - middle) for v in values]
    if max(off) > MOST_OFF * max(median(off), least):
        return True
    mean = math.fsum(values) / len(values)
    around = math.fsum((v - mean) ** 2 for v in values) / len(values)
    between = math.fsum(step * step for step in steps) / (2.0 * len(steps))
    return around > MOST_RATIO * between


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

    def __init__(self, place: str, asked_s: float) -> None:
        """place: the number that is to come to rest first, "" for any; asked_s: when a pull was asked for, s."""
        self._lock = threading.Lock()
        self._place = place
        self.asked_s = asked_s
        self._ready = False
        self._rest: dict[str, list[float]] = {}
        self._farthest: dict[str, list[float]] = {}

    @property
    def ready(self) -> bool:
        """Whether it was seen at rest, so that a pull can be seen."""
        with self._lock:
            return self._ready

    def settle(self, numbers: Iterable[NumberSeries], now_s: float) -> None:
        """Take the numbers since REST_S before `asked_s` as those at rest, if the watched number is at rest.

        Where it still moves REST_S after `asked_s`, as that of a load that swings does, they are taken as well.
        """
        whatever = now_s - self.asked_s > REST_S
        with self._lock:
            if self._ready:
                return
            self._rest = {
                one.place: [float(text) for text in one.texts[-MOST_REST:]] for one in numbers
            }
            awaited = self._rest
            if self._place in awaited:
                awaited = {self._place: awaited[self._place]}
            self._ready = any(
                len(values) >= LEAST_REST and (whatever or not moves(resting(values)))
                for values in awaited.values()
            )

    def feed(self, numbers: Iterable[NumberSeries]) -> None:
        """Take the numbers since it was seen at rest; those that were fed before may be among them."""
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

    def rest(self, place: str) -> float | None:
        """What one number shows at rest, in its unit; None where it was not seen at rest."""
        with self._lock:
            values = resting(self._rest.get(place, ()))
            return median(values) if self._ready and values else None
