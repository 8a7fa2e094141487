"""Defines NumberSeries, one number of a device over all its lines, and what its course says of it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from logger.device_units import unit_from_word
from logger.listening.capture import Remark

Keys = Mapping[str, str | int | float | bool]
TIME_UNITS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
# a number is the device's time if its rate against the clock is one within this share; chosen by us:
# arrival on a busy machine is late by up to a tenth of a second in a second
TIME_SHARE = 0.1
LEAST_TIMES, LEAST_TIME_S = 5, 1.0  # lines and seconds from which a time is believed; chosen by us
# longest step of a device's own time, as a share of all; chosen by us: five even steps are a fifth each
MOST_STEP = 0.5
MODULI = (
    1 << 8,
    1 << 12,
    1 << 16,
    1 << 24,
    1 << 32,
    10**4,
    10**5,
    10**6,
)  # common practice, no source
LEAST_STEADY = 3  # lines from which a number counts as steady; chosen by us
# endings of a JSON key that are a unit beyond doubt, with these letters; "_g", "_t" and "_in" may
# mean gross, tare and inwards; chosen by us
_ENDINGS = ("daN", "kN", "kgf", "lbf", "kg", "lb", "N", "mm", "cm", "ft", "m")
_LENGTHS = re.compile(
    r"rope|line|length|len|travel|dist|depth|height|pos|payout|counter", re.IGNORECASE
)


@dataclass(frozen=True)
class NumberSeries:
    """One number of a device's lines."""

    place: str  # where it stands, for people and as a key, such as "number 2"
    texts: tuple[str, ...]  # as readings.csv has them, in the order of the lines
    unit: str | None  # unit that the line shows; None: none
    candidates: tuple[Keys, ...]  # keys of a channel that may read it, the best first
    other: str = ""  # word behind it that is no unit of a channel, or that may be a flag
    hint: str = ""  # what the line calls it
    quantity: str | None = None  # "force" or "length" where the format says it
    time_keys: Keys = field(default_factory=dict)  # keys that make it the device's own time

    @property
    def last(self) -> str:
        """The latest number."""
        return self.texts[-1]

    @property
    def whole(self) -> bool:
        """Whether all its numbers are digits alone."""
        return all(text.isdigit() for text in self.texts)

    @property
    def steady(self) -> bool:
        """Whether it is made of the same digits in each line, as an address or a status is."""
        return self.whole and len(self.texts) >= LEAST_STEADY and len(set(self.texts)) == 1


def time_unit(series: NumberSeries, took_s: float) -> str | None:
    """The unit in which the series is the device's own time: it rises as the clock here does.

    took_s: time from the first to the last of its lines, s.  None: it is something else.
    """
    if len(series.texts) < LEAST_TIMES or took_s < LEAST_TIME_S or not series.time_keys:
        return None
    values = [float(text) for text in series.texts]
    steps = [later - earlier for earlier, later in pairwise(values)]
    if min(steps) < 0.0 or max(steps) > MOST_STEP * (values[-1] - values[0]):
        return None
    rate = (values[-1] - values[0]) / took_s
    for unit, size_s in TIME_UNITS_S.items():
        if abs(rate * size_s - 1.0) < TIME_SHARE:
            return unit
    return None


def restart_modulus(series: NumberSeries) -> int | None:
    """The power of two or ten at which the series starts again from 0; None where it does not show."""
    if not series.whole:
        return None
    values = [int(text) for text in series.texts]
    highest = max(values)
    for modulus in MODULI:
        if 0.9 * modulus < highest < modulus:
            for earlier, later in pairwise(values):
                if earlier > 0.9 * modulus and later < 0.1 * modulus:
                    return modulus
    return None


def unit_of_key(key: str) -> str | None:
    """The unit that the name of a number ends in, such as that of `force_N`; None if it shows none."""
    last = key.rpartition(".")[2]
    for ending in _ENDINGS:
        stem = (
            last.removesuffix(f"_{ending}").removesuffix(f"[{ending}]").removesuffix(f"({ending})")
        )
        if stem != last and (ending != "m" or _LENGTHS.search(stem)):
            return ending
    return (
        unit_from_word(last)
        if last in ("kg", "kN", "daN", "lbf", "lb", "kgf", "mm", "cm")
        else None
    )


def shown(series: NumberSeries) -> dict[str, str | int | float]:
    """The values that every sentence about a series has."""
    return {"place": series.place, "number": series.last, "word": series.other}


def remark(code: str, series: NumberSeries, **more: str | int | float) -> Remark:
    """A remark about a series."""
    return Remark(code, {**shown(series), **more}, series.place)


def channel_name(hint: str, quantity: str | None, taken: Sequence[str]) -> str:
    """A name for a channel, unlike those that are taken; hint: what the line calls it."""
    words = re.findall(r"[A-Za-z][A-Za-z0-9]{2,}", hint)
    base = "_".join(words).lower()[:40] or quantity or "number"
    name, count = base, 1
    while name in taken or name in ("time_s", "utc"):
        count += 1
        name = f"{base}_{count}"
    return name
