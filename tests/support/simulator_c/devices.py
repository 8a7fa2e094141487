"""Devices that read a haul: late, in steps, with noise, a scale and a zero that are off, and what a sensors file states."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from support.simulator_c.hauls import TrueHaul

TO_SI = {"N": 1.0, "kgf": 9.80665, "lbf": 4.4482216152605, "m": 1.0}


@dataclass(frozen=True)
class Sender:
    """A device and its channel.

    quantity, at: as the sensors file says.  true: what it feels, from the haul, in SI.
    sends, stated: the unit that it sends and the unit that the file states.
    hz: readings a second.  late_s: how late it speaks; stated_late: (delay_s, delay_u_s), None for neither.
    gain, offset: of its readings, in SI.  noise: standard deviation in SI.  step: of its last digit in SI.
    u_percent, u: as the file states.  capacity: as the file states, SI, None for none.  clips_at: where its
    readings stop, None for nowhere.  drift: of its zero in SI a second.
    silent: (from s, to s) times without readings.  up_only: "" or how a counter that only counts up does it.
    """

    name: str
    quantity: str
    at: str
    true: Callable[[TrueHaul], np.ndarray]
    hz: float
    late_s: float
    gain: float
    offset: float
    noise: float
    step: float
    u_percent: float
    u: float
    sends: str = "N"
    stated: str = "N"
    stated_late: tuple[float, float] | None = None
    capacity: float | None = None
    clips_at: float | None = None
    drift: float = 0.0
    silent: tuple[tuple[float, float], ...] = ()
    up_only: str = ""

    def readings(self, haul: TrueHaul, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Times in s and readings in the device's unit."""
        n = int((haul.t[-1] - haul.t[0]) * self.hz)
        t = haul.t[0] + (np.arange(n) + rng.uniform()) / self.hz
        t = np.maximum.accumulate(np.round(t + rng.normal(0, 0.05 / self.hz, n), 4))
        value = np.interp(t - self.late_s, haul.t, self.true(haul))
        if self.up_only:
            steps = np.diff(value, prepend=value[0])
            value = np.cumsum(
                np.abs(steps) if self.up_only == "both ways" else np.maximum(steps, 0)
            )
        value = value * self.gain + self.offset + self.drift * (t - t[0])
        value = value + self.noise * rng.normal(size=n)
        if self.clips_at is not None:
            value = np.clip(value, -self.clips_at, self.clips_at)
        value = np.round(value / self.step) * self.step
        heard = np.ones(n, bool)
        for begins, ends in self.silent:
            heard &= (t < begins) | (t > ends)
        return t[heard], value[heard] / TO_SI[self.sends]

    def toml(self, column: int) -> str:
        """Its table of the sensors file."""
        keys: dict[str, object] = {
            "name": self.name, "quantity": self.quantity, "at": self.at, "format": "columns",
            "column": column, "unit": self.stated, "u_percent": self.u_percent, "u": self.u,
        }  # fmt: skip
        if self.capacity is not None:
            keys["capacity"] = self.capacity
        if self.stated_late is not None:
            keys["delay_s"], keys["delay_u_s"] = self.stated_late
        return "[[channel]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in keys.items())
