"""The review of a session: measured against predicted, the JSON object of interface section 6.

Live and review share `review_all`; `review_session` reads a folder and pushes it all at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from analysis.efficiency.as_built_check import as_built
from analysis.efficiency.calibration_range_check import uncalibrated
from analysis.efficiency.estimate import Estimates, estimate
from analysis.efficiency.load_from_other_session import Before, given_way, load_from
from analysis.efficiency.stage_losses import drags, stages
from analysis.efficiency.uncertainty import Quantity
from analysis.efficiency.verdict import Agreement, agreement, changes, ground
from analysis.mechanics.measured_parts import cells_of
from analysis.mechanics.model import Model, PartLoad, model
from analysis.messages.message import SI, Message, UnitSystem, message, once, texts
from analysis.prediction.alarm_rows import part_texts, recorded
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig, parse_rig
from analysis.signals.channel_roles import check_places, roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.derived_events import Found
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import rigs_of
from logger.channels.channel import Channel
from logger.session.records import Block, Event, SessionInfo

__all__ = ["agreement", "check_places", "review_session", "reviewed"]

LATE_S = 0.04  # a lag between cells that is told; chosen by us: a shorter one than about a cell does nothing


@dataclass(frozen=True)
class OfRig:
    """What was measured under one of the session's rigs; from_s: when it was built."""

    name: str
    from_s: float
    rig: Rig
    known: Model
    result: Result  # its own strokes alone
    found: Estimates


@dataclass(frozen=True, eq=False)
class Reviewed:
    """A review: what the object of interface section 6 tells, and what is behind it.

    info: what the session's folder says.
    result: what the analyser found.
    parts: one for each rig that was hauled with.
    main: which of them the object shows.
    agreement: measured against predicted.
    messages: what the review warns of, each sentence once.
    """

    info: SessionInfo
    result: Result
    parts: tuple[OfRig, ...]
    main: OfRig
    agreement: Agreement
    messages: tuple[Message, ...]

    @cached_property
    def json(self) -> dict[str, Any]:
        """The object, every key of it: plain numbers, texts in SI and null only."""
        return _object(self, SI, [e.text for e in self.result.events])

    def shown(self, units: UnitSystem) -> dict[str, Any]:
        """The object with its sentences in these units: to be shown alone, as JSON and files are SI."""
        said: dict[str, Message] = {}
        if any(e.kind == "alarm" for e in self.result.events):
            for part in self.parts:
                said |= part_texts(part.known)
        sensors = self.info.sensors
        return _object(self, units, [recorded(e, said, sensors, units) for e in self.result.events])


def review_session(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> dict[str, Any]:
    """The review of a session folder; rig_path: what if it had been this rig; before: a session
    that tells the load's force.  Raises SessionFault, RigFault or SensorsFault in one line."""
    return reviewed(path, rig_path, before).json


def reviewed(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> Reviewed:
    """As `review_session`, with what is behind it."""
    return _review(path, rig_path, before, lambda block: None)[2]


def read_and_review(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> tuple[SessionInfo, Block, Result, Reviewed]:
    """A session read once and reviewed, with its rows and what the analyser made of them."""
    from logger.session.reader import joined

    blocks: list[Block] = []
    info, result, found = _review(path, rig_path, before, blocks.append)
    return info, joined(blocks), result, found


def _review(
    path: str | Path, rig_path: str | Path | None, before: str | Path | None,
    look: Callable[[Block], object],
) -> tuple[SessionInfo, Result, Reviewed]:  # fmt: skip
    """look: is given every block."""
    from concurrent.futures import ThreadPoolExecutor

    from logger.session.reader import Follower, open_unproved, session_state

    info = open_unproved(path)
    load = load_from(before) if before is not None else None
    rig = parse_rig(info.rig_text, str(info.rig_file)) if rig_path is None else load_rig(rig_path)
    known = model(rig)
    later = rigs_of(info.path, info.sensors) if rig_path is None else None
    analyser, malformed = Analyser(roles=roles(rig, info.sensors, known), later=later), 0
    blocks = Follower(path).blocks()
    first = next(blocks)
    with ThreadPoolExecutor(1) as pool:
        state = pool.submit(session_state, path)  # hashes every byte, beside the analysis
        for block in chain([first], blocks):
            analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
            malformed += block.malformed
            look(block)
        result = analyser.result()
        info = replace(info, state=state.result())
    return info, result, review_all(info, rig, result, known, rows_left_out(malformed), load)


def rows_left_out(rows: int) -> list[Message]:
    """What is said of rows that cannot be read."""
    return [message("rows_left_out", rows=rows)] if rows else []


def by_rig(
    rig: Rig, known: Model, result: Result, before: Before | None = None
) -> tuple[OfRig, ...]:
    """Estimates under each rig, its strokes alone; rigs without a stroke are left out."""

    def part(name: str, from_s: float, rig: Rig, known: Model, result: Result) -> OfRig:
        given = given_way(before, result) if before is not None else None
        return OfRig(
            name=name,
            from_s=from_s,
            rig=rig,
            known=known,
            result=result,
            found=estimate(rig, known, result, given),
        )

    if len(result.rigs) < 2:
        return (part("", result.start_s, rig, known, result),)
    parts = []
    for k, span in enumerate(result.rigs):
        own = tuple(s for s in result.strokes if s.rig == k)
        if own:
            under, model_ = (
                (rig, known) if not k or span.rig is None else (span.rig, model(span.rig))
            )
            resets = tuple(r for r in result.reset_facts if r.rig == k)
            mine = replace(result, strokes=own, roles=span.roles, reset_facts=resets)
            parts.append(part(span.name or "rig.toml", span.time_s, under, model_, mine))
    return tuple(parts) or (part("", result.start_s, rig, known, result),)


def review_all(
    info: SessionInfo,
    rig: Rig,
    result: Result,
    known: Model | None = None,
    more: Iterable[Message] = (),
    before: Before | None = None,
) -> Reviewed:
    """The review, of whichever strokes there are.  With several rigs it shows the last that told an
    efficiency, else the last; a warning gives each one's result.

    result: the analyser's, of a growing or finished session; more: what is to be said first.
    """
    parts = by_rig(rig, known or model(rig), result, before)
    main = next((p for p in reversed(parts) if p.found.efficiency is not None), parts[-1])
    agreed = agreement(
        main.known, main.found.actual_ma, main.found.method, changes(list(main.result.strokes)),
        [*uncalibrated(result)],
    )  # fmt: skip
    said = once([*more, *_rigs_said(parts, main), *_warnings(info, main, result)])
    return Reviewed(
        info=info, result=result, parts=parts, main=main, agreement=agreed, messages=said
    )


def _rigs_said(parts: tuple[OfRig, ...], main: OfRig) -> list[Message]:
    if len(parts) < 2:
        return []
    each = tuple(_rig_said(p) for p in parts)
    return [message("rig_changed", each=each, shown=main.name)]


def _rig_said(p: OfRig) -> Message:
    ma = p.found.actual_ma
    values: dict[str, Any] = {"rig": p.name, "from_s": p.from_s, "strokes": len(p.result.strokes)}
    if ma is None:
        return message("rig_not_measured", **values)
    e = ma.scaled(1 / p.known.ideal_ma)
    return message(
        "rig_measured", advantage=ma.value, advantage_U95=ma.U95, ideal=p.known.ideal_ma,
        efficiency=e.value, efficiency_U95=e.U95, **values,
    )  # fmt: skip


def _object(review: Reviewed, units: UnitSystem, rows: list[str]) -> dict[str, Any]:
    """rows: what is told of each row of events.csv."""
    info, result, main = review.info, review.result, review.main
    known = main.known
    strokes = sorted(
        (
            (s, e)
            for p in review.parts
            for s, e in zip(p.result.strokes, p.found.strokes, strict=True)
        ),
        key=lambda row: row[0].start_s,
    )
    return {
        "title": main.rig.title,
        "session": str(info.path),
        "state": info.state,
        "started_at": info.started_at,
        "duration_s": _number(result.end_s - result.start_s),
        "readings": {name: s.readings for name, s in result.channels.items()},
        "dropped": {name: s.dropped for name, s in result.channels.items()},
        "ideal_ma": known.ideal_ma,
        "predicted": {
            "model_ma": known.model_ma,
            "model_ma_u": known.model_ma_u,
            "efficiency": known.efficiency,
            "haul_force_N": known.haul_force_N,
            "haul_force_u_N": known.haul_force_u_N,
        },
        "measured": _measured(main.found, units),
        "agreement": {"en": review.agreement.en, "verdict": review.agreement.verdict.text(units)},
        "strokes": [
            {
                "start_s": s.start_s,
                "end_s": s.end_s,
                "direction": s.direction,
                "haul_travel_m": _number(s.haul_travel_m),
                "load_travel_m": _number(s.load_travel_m),
                "mean_force_N": _number(s.mean_force_N),
                "peak_force_N": _number(s.peak_force_N),
                "work_J": _number(s.work_J),
                "efficiency": _quantity(e),
            }
            for s, e in strokes
        ],
        "resets": result.resets,
        "events": _events(result, units, rows),
        "peaks": peaks(known, result),
        "messages": [one.json() for one in review.messages],
        "warnings": texts(review.messages, units),
    }


def peaks(known: Model, result: Result) -> list[dict[str, Any]]:
    """Highest force on every strand and element.

    A part that a cell measures has the highest value that the cell read.  Any other has the highest
    haul force times its frictionless gain: the most that it can carry for that haul force while
    hauling, as friction only takes off.  That is no bound for a capture that rope runs through, for
    pulls that partly cancel beside the axis, nor for a load that is lowered or hangs on a capture.
    """
    rows: list[dict[str, Any]] = []
    own = cells_of(known, result.roles.forces)
    for k, part in enumerate(known.parts):
        force, time = _highest(part, own.get(k, ()), result)
        if force is None:
            continue
        use = None if part.limit_N is None else force / part.limit_N
        rows.append(
            {
                "name": part.name,
                "force_N": _number(force),
                "limit_N": _number(part.limit_N),
                "use": _number(use),
                "time_s": _number(time),
            }
        )
    return rows


def read_by_cells(known: Model, result: Result) -> frozenset[str]:
    """Names of the parts whose peak is what their own cell read."""
    beyond = {e.channel for e in result.found if e.kind == "saturated"}
    return frozenset(
        known.parts[k].name
        for k, own in cells_of(known, result.roles.forces).items()
        if not any(c.name in beyond for c in own)
        and any(result.channels[c.name].highest is not None for c in own)
    )


def _highest(
    part: PartLoad, own: tuple[Channel, ...], result: Result
) -> tuple[float | None, float | None]:
    """(N, s): the highest that its own cells read; else the most that any cell makes of it."""
    haul = result.roles.haul_force
    beyond = {e.channel for e in result.found if e.kind == "saturated"}
    inferred: list[tuple[float, float | None]] = []
    if haul is not None and (top := result.channels[haul.name]).highest is not None:
        inferred.append((abs(part.ideal) * max(0.0, top.highest), top.highest_s))
    read = [(s.highest, s.highest_s) for c in own if c is not haul
            for s in [result.channels[c.name]] if s.highest is not None]  # fmt: skip
    # a cell beyond its capacity read less than there was; two cells on one strand: the higher
    if read and haul not in own and not any(c.name in beyond for c in own):
        inferred = []
    # beside the axis a cell reads a part of the force: it does not rule, but its value was there
    read += [(s.highest, s.highest_s) for c in result.roles.forces
             if c is not haul and c not in own and c.at == part.name
             for s in [result.channels[c.name]] if s.highest is not None]  # fmt: skip
    return max([*inferred, *read], key=lambda row: row[0], default=(None, None))


def _measured(found: Estimates, units: UnitSystem) -> dict[str, Any]:
    travel = found.travel
    return {
        "haul_force_N": _quantity(found.haul_force),
        "load_force_N": _quantity(found.load_force),
        "load_force_method": found.method,
        "actual_ma": _quantity(found.actual_ma),
        "efficiency": _quantity(found.efficiency),
        "pulley_efficiency": _quantity(found.pulley_efficiency),
        "travel_efficiency": _quantity(travel.efficiency),
        "work_efficiency": _quantity(found.work_efficiency),
        "haul_travel_m": _number(travel.haul_m),
        "load_travel_m": _number(travel.load_m),
        "load_travel_method": travel.method,
        "work_in_J": _number(travel.in_J),
        "work_out_J": _number(found.work_out_J),
        "why_not": "; ".join(texts(found.why_not, units)),
    }


def _events(result: Result, units: UnitSystem, texts: list[str]) -> list[dict[str, Any]]:
    """Derived events and the rows of events.csv, with these texts, in order of time."""
    rows = [_event(e, e.end_s, e.message.text(units)) for e in result.found]
    rows += [_event(e, e.time_s, text) for e, text in zip(result.events, texts, strict=True)]
    return sorted(rows, key=lambda row: float(row["time_s"]))


def _event(event: Found | Event, end_s: float | None, text: str) -> dict[str, Any]:
    return {
        "time_s": _number(event.time_s) or 0.0,
        "end_s": _number(end_s),
        "kind": event.kind,
        "channel": event.channel,
        "value": _number(event.value),
        "text": text,
    }


def _warnings(info: SessionInfo, main: OfRig, result: Result) -> list[Message]:
    known, found = main.known, main.found
    lines = [*known.warnings, *uncalibrated(result).values(), *found.warnings]
    lines += as_built(main.rig, known, main.result)
    lines += drags(stages(main.rig, known, main.result, found))
    lines += _changed(main)
    lines += _late(result)
    if info.state == "cut short":
        lines.append(message("cut_short"))
    elif info.state == "changed":
        lines.append(message("changed_after_sealing"))
    if result.roles.load_length is None:
        lines.append(message("no_load_counter"))
    if result.roles.haul_length is None and result.roles.progress is not None:
        lines.append(message("no_rope_counter", counter=result.roles.progress.name))
    for name, s in result.channels.items():
        if s.readings == 0:
            lines.append(message("channel_silent", channel=name))
        if s.dropped:
            lines.append(message("lines_dropped", channel=name, lines=s.dropped))
        if s.late:
            lines.append(message("readings_late", channel=name, readings=s.late))
        if s.bad:
            lines.append(message("readings_bad", channel=name, readings=s.bad))
        if s.restarts:
            lines.append(message("counter_jumped", channel=name, jumps=s.restarts))
    lines += result.notes
    lines += [message("channel_unknown", channel=name) for name in result.unknown]
    if result.ran_back_m > 0.3:
        lines.append(message("ran_back", back_m=result.ran_back_m))
    if result.untold:
        lines.append(message("events_not_listed", events=result.untold))
    return lines


def _changed(main: OfRig) -> list[Message]:
    """What changed along strokes or from one to the next, and whether it is the ground or the rig."""
    change = changes(list(main.result.strokes))
    if not change.most:
        return []
    said = ground(change)
    each = [e.value for e in main.found.strokes if e is not None]
    if main.found.method == "cell" and len(each) > 2 and main.found.efficiency is not None:
        differs = changes(
            [s for s, e in zip(main.result.strokes, main.found.strokes, strict=True) if e],
            np.array(each),
        )
        if max(abs(differs.between), differs.spread) < max(0.02, 0.3 * change.most):
            return [message("ground_changed", change=said)]
        return [message("advantage_changed", change=said)]
    return [said]


def _late(result: Result) -> list[Message]:
    """Cells that speak later than the haul cell, where it matters."""
    return [
        message("cell_later", cell=channel.name, lag_s=lag.behind_s) if lag.behind_s > 0
        else message("cell_earlier", cell=channel.name, lag_s=-lag.behind_s)
        for channel, lag in zip(result.roles.forces, result.lags, strict=False)
        if lag.behind_s is not None and abs(lag.behind_s) > LATE_S and abs(lag.ratio - 1) > 1e-3
    ]  # fmt: skip


def _quantity(quantity: Quantity | None) -> dict[str, Any] | None:
    if quantity is None or not all(
        math.isfinite(x) for x in (quantity.value, quantity.u, quantity.U95)
    ):
        return None
    row = quantity.json()
    return {k: int(v) if k == "n" else float(v) for k, v in row.items()}


def _number(value: float | None) -> float | None:
    """A plain float, or None where it is unknown or not finite."""
    return None if value is None or not math.isfinite(value) else float(value)
