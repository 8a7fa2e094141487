"""Sessions that grow at the pace a test sets, and a page's side of the transport."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from analysis.simulation.demo_haul import demo_sensors, demo_text, simulate
from logger.channels.sensors_file import parse_sensors
from logger.session.writer import SessionWriter
from support.channels import rows

UTC = "2026-05-04T10:00:00.000Z"


class Growing:
    """A session in the hands of its one writer, this test: rows, clock rows and events on demand."""

    def __init__(self, out: Path, rig: str | None = None, sensors: str | None = None) -> None:
        self.path = out
        self.sensors = demo_sensors() if sensors is None else parse_sensors(sensors, "sensors.toml")
        self.names = [c.name for c in self.sensors.channels]
        self.counts = dict.fromkeys(self.names, 0)
        text = demo_text("rig.toml") if rig is None else rig
        self.writer = SessionWriter.create(out, text.encode(), self.sensors)
        self.writer.event(0.0, "start")

    def rows(self, name: str, time_s, reading) -> None:
        self.counts[name] += np.size(time_s)
        self.writer.readings(rows(time_s, **{name: reading}))

    def clock(self, time_s: float, drops: int = 0) -> None:
        self.writer.clock(
            time_s, UTC, [n for name in self.names for n in (self.counts[name], drops)]
        )

    def event(
        self, time_s: float, kind: str, channel: str = "", value=None, text: str = ""
    ) -> None:
        self.writer.event(time_s, kind, channel, value, text)

    def seal(self) -> None:
        self.writer.event(999.0, "stop", text="time")
        self.writer.seal()

    def die(self) -> None:
        """As a recorder that was killed leaves it."""
        self.writer.abandon()


def four_seconds(path: Path, **texts: str) -> Growing:
    """A session that grows and has 4 s of a haul cell at 10 Hz; texts: rig and sensors as for Growing."""
    session = Growing(path, **texts)
    for k in range(40):
        session.rows("haul_force", k / 10, 100.0 + k)
        session.clock(k / 10)
    return session


class DemoPull:
    """The demo's haul, fed slice by slice."""

    def __init__(self, out: Path, seed: int, for_s: float) -> None:
        self.haul = simulate(seed, for_s)
        self.session = Growing(out)
        self._done = 0

    def feed(self, until_s: float) -> None:
        end = int(np.searchsorted(self.haul.time_s, until_s))
        if end > self._done:
            for name, values in self.haul.values.items():
                self.session.rows(
                    name, self.haul.time_s[self._done : end], values[self._done : end]
                )
            self._done = end
        self.session.clock(until_s)


class Page:
    """What the page's script keeps, from answers of `/since` as they come."""

    def __init__(self, watch, span: str = "60") -> None:
        self.watch, self.span = watch, span
        self.seq = self.version = 0
        self.level = 0
        self.parts: dict = {}
        self.bins: dict[int, tuple[float, float]] = {}
        self.now: dict = {}
        self.sizes: list[int] = []

    def alarms(self) -> list[tuple[int, int, str, int]]:
        """[level now, worst level, label, acknowledged] of what is shown."""
        return [
            (a["level"], a["worst"], a["label"], a["acknowledged"]) for a in self.numbered("alarm")
        ]

    def numbered(self, name: str) -> list:
        """The parts "name:k" that are there."""
        return [
            part
            for key, part in self.parts.items()
            if key.startswith(f"{name}:") and part is not None
        ]

    def ask(self) -> dict:
        data = self.watch.since(self.seq, self.version, self.span)
        self.sizes.append(len(data))
        answer = json.loads(data)
        self.parts |= answer["parts"]
        self.now = answer["now"]
        if answer["force"] is not None:
            level, flat = answer["force"]["level"], answer["force"]["flat"]
            for _ in range(level - self.level):
                merged: dict[int, tuple[float, float]] = {}
                for k, (low, high) in self.bins.items():
                    was = merged.get(k >> 1, (low, high))
                    merged[k >> 1] = (min(low, was[0]), max(high, was[1]))
                self.bins = merged
            self.level = level
            for k, low, high in zip(flat[0::4], flat[1::4], flat[2::4], strict=True):
                self.bins[k] = (low, high)
        self.seq, self.version = answer["seq"], answer["version"]
        return answer
