"""Sealed sessions of a 3:1 with stated truth, made in a moment: for reports, lists, trends, gear."""

from __future__ import annotations

import os
import signal
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from logger.channels.sensors_file import parse_sensors
from logger.session.writer import SessionWriter
from support.channels import force, rope, rows
from support.rigs import rig_text, three_to_one_stations

STATIONS = three_to_one_stations(35.0, knot=1.0)
RATINGS = """[pulley.A1]
item = "{item}"
mbs_kN = 9.0
[pulley.T1]
item = "P-08"
wll_kN = 4.0
[grab.G1]
item = "G-1"
slips_at_kN = 4.0
"""


def launch_rig(
    title: str,
    note: str,
    load_N: float,
    load_u_N: float,
    stations: Sequence[str],
    ratings: str,
    top: str,
) -> str:
    """The rig file of a launch whose load resists load_N, with its standard uncertainty, both in N.

    ratings: lines that rate pulleys and grabs, behind all; top: further lines of the file's head.
    """
    return rig_text(
        stations,
        f"resistance_N = {load_N}\nresistance_u_N = {load_u_N}\npull_distance_m = 6.0",
        title=title,
        anchor_to_load_m=40.0,
        top=f'note = "{note}"\n{top}[defaults]\npulley_efficiency = 0.9\npulley_efficiency_u = 0.02\n',
        rope="length_m = 150.0\nmbs_kN = 28.0\n",
        more=f"[team]\npull_N = 600.0\n{ratings}",
    )


def ma(e: float) -> float:
    """Actual advantage of this 3:1 with two pulleys of efficiency e: 1 + e + e^2."""
    return 1 + e + e * e


def made(
    out: Path, *, e: float = 0.9, load_N: float = 1200.0, load_u_N: float = 12.0, strokes: int = 2,
    stroke_s: float = 6.0, rest_s: float = 4.0, hz: float = 20.0, started_at: str = "2026-05-04T10:00:00.000Z",
    title: str = "Launch, 3:1", note: str = "", item: str = "P-07", counter: str = "rope_out", seed: int = 1,
    marks: int = 0, mark: str = "mark", seal: bool = True, stations: Sequence[str] = STATIONS, ratings: str = RATINGS, top: str = "",
    peak_N: float | None = None,
) -> Path:  # fmt: skip
    """A session of equal strokes at 0.5 m/s, each followed by a reset of all its rope."""
    rng = np.random.default_rng(seed)
    cycle = stroke_s + rest_s
    t = np.arange(0.0, 3.0 + strokes * cycle, 1 / hz)
    within = np.mod(t - 3.0, cycle)
    hauling = (t >= 3.0) & (within < stroke_s)
    # pulled for stroke_s, fed back in 2 s with the tension off
    back = np.clip((within - stroke_s - 0.5) / 2.0, 0.0, 1.0)
    rope_m = np.where(t < 3.0, 0.0, np.minimum(within, stroke_s) * 0.5 * (1 - back))
    pull = np.where(hauling, load_N / ma(e), 0.0) + rng.normal(0.0, 1.0, len(t))
    if peak_N is not None:
        pull[np.searchsorted(t, 3.0 + stroke_s / 2)] = peak_N
    text = launch_rig(title, note, load_N, load_u_N, stations, ratings.format(item=item), top)
    sensors = parse_sensors(force("u = 2.0") + rope(name=counter), "sensors.toml")
    writer = SessionWriter.create(out, text.encode(), sensors, started_at=started_at)
    writer.event(0.0, "start")
    writer.readings(rows(t, **{"haul_force": pull, counter: rope_m}))
    for k in range(marks):
        writer.event(float(t[-1]) * k / marks, "mark", "", None, f"{mark} {k}")
    for time_s, n in ((0.0, 0), (float(t[-1]), len(t))):
        writer.clock(time_s, started_at, [n, 0, n, 0])
    writer.event(float(t[-1]), "stop", text="time")
    if seal:
        writer.seal()
    else:
        writer.abandon()
    return out


def die_or_answer(path: str) -> str:
    """For a pool: kills its process for one path."""
    if path.endswith("s1"):
        os.kill(os.getpid(), signal.SIGKILL)
    return path.upper()
