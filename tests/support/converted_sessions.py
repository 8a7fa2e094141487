"""Sessions in which a rig is made into another one under load, with stated true values of every chapter.

The motion of each chapter is that of simulator A, on one load, with one set of devices whose errors hold through the whole
session.  Between two chapters rope is fed back, the moves of the conversion are marked one by one, and the `rig`
event names the rig file that the conversion ended with.
"""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

import numpy as np

from analysis.conversion.convert import convert
from analysis.live.live_state import LiveState
from analysis.mechanics.model import model
from analysis.mechanics.tension import efficiencies, load_row, tensions
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from logger.channels.sensors_file import parse_sensors
from logger.session.reader import read_all
from logger.session.records import Block, ChannelReadings
from logger.session.writer import SessionWriter
from support.channels import UNITS, channel, rows
from support.simulator_a import STEP_S, Spec, _haul, _load, _sent, draw

UTC = "2026-05-04T10:00:00.000Z"
FED_S, MOVE_S, SETTLED_S = (
    4.0,
    3.0,
    2.0,
)  # rope fed back; each move; from the last one to the rig event


@dataclass(frozen=True)
class TrueChapter:
    """What is true of one chapter."""

    efficiency: float  # actual advantage / ideal one
    load_from_m: float  # load's way when it began
    load_to_m: float  # load's way when its last stroke ended
    strokes: int  # that were hauled
    stretch_m: float  # load's way that so much rope would be worth as went into its stretch, over all strokes


@dataclass(frozen=True)
class ConvertedSession:
    """A sealed session and its truth."""

    path: Path
    chapters: tuple[TrueChapter, ...]
    moves: tuple[int, ...]  # marked before each rig event
    load_counted: bool  # whether a counter is at the load; else the rope tells its way, and its stretch with it

    def load_way_m(self, chapter: int) -> tuple[float, float]:
        """Least and most that the load's way may be given as at the end of a chapter, by what is counted."""
        way_m = self.chapters[chapter].load_to_m
        stretch_m = sum(one.stretch_m for one in self.chapters[: chapter + 1])
        return way_m, way_m if self.load_counted else way_m + stretch_m


def shelf_text(name: str, load: str) -> str:
    """A shelf rig's file with a [load] table and the pulleys' stated efficiency."""
    text = (files("analysis") / "rigs" / f"{name}.toml").read_text(encoding="utf-8")
    stated = f"[defaults]\npulley_efficiency = 0.9\npulley_efficiency_u = 0.05\n{load}\n[[rope]]"
    return text.replace("[[rope]]", stated, 1)


def converted_session(out: Path, seed: int, rigs: tuple[str, ...]) -> ConvertedSession:
    """The session of a seed: some strokes with each of these shelf rigs, converted in between."""
    rng = np.random.default_rng([20261201, seed])
    estimator = "known" if seed % 2 else "cell"
    spec = draw(
        seed, estimator, rig=rigs[0], stroke_s=float(rng.uniform(8.0, 12.0)),
        strokes=int(rng.integers(2, 4)), load_N=float(rng.uniform(1500.0, 4000.0)),
    )  # fmt: skip
    stated, true_load = _load(spec, rng)
    texts = [shelf_text(rigs[0], stated if estimator == "known" else "")]
    common = float(rng.normal(0.88, 0.05))
    series: list[tuple[np.ndarray, ...]] = []
    truth, events, moves = [], [], []
    at_s = way_m = rope_m = 0.0
    for k, name in enumerate(rigs):
        if k:
            made = convert(texts[-1], shelf_text(name, ""), "rig", name)
            assert made.why_not is None, made.why_not.text()
            texts.append(made.moves[-1].rig)
            spans = FED_S + MOVE_S * len(made.moves) + SETTLED_S
            fed_m = float(rng.uniform(0.2, 0.9)) * rope_m
            t = np.arange(1, round(spans / STEP_S) + 1) * STEP_S
            gone = rope_m - fed_m * np.clip(t / FED_S, 0.0, 1.0)
            still = np.full(len(t), way_m)
            series.append((at_s + t, gone, still, 0 * t, 0 * t, 0 * t))
            for step, move in enumerate(made.moves, 1):
                moment = at_s + FED_S + MOVE_S * step
                events.append((moment, "move", float(step), " ".join(m.text() for m in move.texts)))
            events.append((at_s + spans, "rig", None, f"rig-{k + 1}.toml"))
            moves.append(len(made.moves))
            at_s, rope_m = at_s + spans, rope_m - fed_m
        rig = parse_rig(texts[-1], name)
        rig_model = model(rig)
        ma = float(load_row(rig, rig_model.system.toward) @ tensions(rig_model.system, _true_e(rig, common, rng)))  # fmt: skip
        own: Spec = replace(spec, rig=name, seed=seed + 1000 * k)
        t, x, travel, pull, force, moving = _haul(
            own, rng, rig_model.travel_ratio, rig_model.ideal_ma, ma, true_load
        )
        series.append((at_s + t + STEP_S, rope_m + x, way_m + travel, pull, force, moving))
        way_to_m = way_m + float(travel[-1])
        stretch_m = own.strokes * float(np.max(pull)) / own.stretch_N_m / rig_model.travel_ratio
        truth.append(
            TrueChapter(
                efficiency=ma / rig_model.ideal_ma, load_from_m=way_m, load_to_m=way_to_m,
                strokes=own.strokes, stretch_m=stretch_m,
            )
        )  # fmt: skip
        at_s, way_m, rope_m = at_s + float(t[-1]) + STEP_S, way_to_m, rope_m + float(x[-1])
    t, x, travel, pull, force, _ = (np.concatenate(one) for one in zip(*series, strict=True))
    values = {"haul_force": pull, "rope_out": x, "load_travel": travel, "cell": force}
    readings = {d.name: _sent(d, t, values[d.name], rng) for d in spec.devices}
    sensors = "".join(
        channel(
            d.name, d.quantity, at=d.at, format="columns", column=column, unit=UNITS[d.quantity],
            u_percent=d.u_percent, u=d.u,
        )
        for column, d in enumerate(spec.devices, 1)
    )  # fmt: skip
    _write(out, texts, sensors, readings, events, at_s)
    counted = any(d.name == "load_travel" for d in spec.devices)
    return ConvertedSession(out, tuple(truth), tuple(moves), counted)


def _true_e(rig: Rig, common: float, rng: np.random.Generator) -> np.ndarray:
    """True efficiencies, (turns,): the crew's pulleys, each a little apart from what they have in common."""
    e = efficiencies(rig)
    pulleys = np.array([rig.stations[s].kind == "pulley" for s in rig.turns])
    return np.where(pulleys, np.clip(common + rng.normal(0, 0.015, len(e)), 0.6, 0.99), e)


def _write(
    out: Path,
    texts: list[str],
    sensors: str,
    readings: dict[str, ChannelReadings],
    events: list[tuple[float, str, float | None, str]],
    end_s: float,
) -> None:
    """Write and seal the session."""
    writer = SessionWriter.create(
        out, texts[0].encode(), parse_sensors(sensors, "sensors.toml"), started_at=UTC
    )
    writer.event(0.0, "start")
    for name, one in readings.items():
        writer.readings(rows(one.time_s, **{name: one.reading}))
    for k, text in enumerate(texts[1:], 2):
        writer.copy(f"rig-{k}.toml", text.encode())
    for number, (time_s, kind, value, text) in enumerate(events):
        writer.event(time_s, kind, "", value, text, f"q{number}")
    writer.clock(0.0, UTC, [0] * (2 * len(readings)))
    writer.clock(end_s, UTC, [n for one in readings.values() for n in (len(one.time_s), 0)])
    writer.event(end_s, "stop", text="time")
    writer.seal()


def followed_live(path: Path, every_s: float) -> LiveState:
    """The live state of a session after all its rows, which came in pieces of every_s."""
    live, whole = LiveState(path), read_all(path)
    end_s = max(row.time_s for row in whole.clock)
    start_s = 0.0
    while start_s <= end_s:
        to_s = start_s + every_s
        piece = Block(
            readings={
                name: ChannelReadings(
                    one.time_s[(one.time_s >= start_s) & (one.time_s < to_s)],
                    one.reading[(one.time_s >= start_s) & (one.time_s < to_s)],
                )
                for name, one in whole.readings.items()
            },
            events=tuple(e for e in whole.events if start_s <= e.time_s < to_s),
            clock=tuple(row for row in whole.clock if start_s <= row.time_s < to_s),
        )
        live.take(piece, to_s, nullcontext())
        live.find_strokes()
        start_s = to_s
    return live
