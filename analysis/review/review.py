"""Reviews a session: measured against predicted, as the JSON object of interface section 6.

`review_session` reads a whole folder; the live page calls `review_all` with the result so far.
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
from analysis.efficiency.load_from_other_session import (
    EarlierSession,
    estimator_from_earlier_session,
    load_from,
)
from analysis.efficiency.stage_losses import stage_warnings, stages
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
from analysis.strokes.derived_events import DerivedEvent
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import rigs_of
from logger.channels.channel import Channel
from logger.session.records import Block, Event, SessionInfo

__all__ = ["agreement", "check_places", "review_session", "reviewed"]

# least lag between cells for a warning; chosen by us: a lag within a cell has no effect
LATE_S = 0.04


@dataclass(frozen=True)
class RigReview:
    """The measurement with one of the session's rigs."""

    name: str  # its file in the session's folder; "" where the session has one rig
    from_s: float  # time from which the rig was in use
    rig: Rig  # the rig
    rig_model: Model  # its model
    result: Result  # of the session, with the strokes of this rig alone
    estimates: Estimates  # the measured values


@dataclass(frozen=True, eq=False)
class Reviewed:
    """A review, and the values from which its JSON object is made."""

    info: SessionInfo  # description of the session
    result: Result  # of the analyser
    parts: tuple[RigReview, ...]  # one for each rig that made strokes
    main: RigReview  # the one that the object shows
    agreement: Agreement  # measured against predicted
    messages: tuple[Message, ...]  # warnings, each once

    @cached_property
    def json(self) -> dict[str, Any]:
        """The object of interface section 6: plain numbers and null, texts with quantities in SI."""
        return _object(self, SI, [e.text for e in self.result.events])

    def shown(self, units: UnitSystem) -> dict[str, Any]:
        """The object with its texts in these units, for display only: JSON and files are in SI."""
        limit_texts: dict[str, Message] = {}
        if any(e.kind == "alarm" for e in self.result.events):
            for one in self.parts:
                limit_texts |= part_texts(one.rig_model)
        sensors = self.info.sensors
        rows = [recorded(e, limit_texts, sensors, units) for e in self.result.events]
        return _object(self, units, rows)


def review_session(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> dict[str, Any]:
    """The JSON object of a session folder's review.

    rig_path: a rig file to use in place of the session's; before: a session that gives the load force.
    Raises SessionFault, RigFault or SensorsFault.
    """
    return reviewed(path, rig_path, before).json


def reviewed(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> Reviewed:
    """The review of a session folder with the values behind its object; arguments as `review_session`."""
    return _review(path, rig_path, before, lambda block: None)[2]


def read_and_review(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> tuple[SessionInfo, Block, Result, Reviewed]:
    """Read and review a session; return its description, rows, analyser's result and review.

    Arguments as `review_session`.
    """
    from logger.session.reader import joined

    blocks: list[Block] = []
    info, result, review = _review(path, rig_path, before, blocks.append)
    return info, joined(blocks), result, review


def _review(
    path: str | Path, rig_path: str | Path | None, before: str | Path | None,
    look: Callable[[Block], object],
) -> tuple[SessionInfo, Result, Reviewed]:  # fmt: skip
    """Read and review a session; look: called with every block."""
    from concurrent.futures import ThreadPoolExecutor

    from logger.session.reader import Follower, open_unproved, session_state

    info = open_unproved(path)
    load = load_from(before) if before is not None else None
    rig = parse_rig(info.rig_text, str(info.rig_file)) if rig_path is None else load_rig(rig_path)
    rig_model = model(rig)
    later = rigs_of(info.path, info.sensors) if rig_path is None else None
    analyser, malformed = Analyser(roles=roles(rig, info.sensors, rig_model), later=later), 0
    blocks = Follower(path).blocks()
    first = next(blocks)
    with ThreadPoolExecutor(1) as pool:
        state = pool.submit(session_state, path)  # hashes every byte while the analysis runs
        for block in chain([first], blocks):
            analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
            malformed += block.malformed
            look(block)
        result = analyser.result()
        info = replace(info, state=state.result())
    return info, result, review_all(info, rig, result, rig_model, rows_left_out(malformed), load)


def rows_left_out(rows: int) -> list[Message]:
    """The warning about rows that cannot be read; none where rows is 0."""
    return [message("rows_left_out", rows=rows)] if rows else []


def by_rig(
    rig: Rig, rig_model: Model, result: Result, before: EarlierSession | None = None
) -> tuple[RigReview, ...]:
    """Estimate each rig of the session from its own strokes; rigs without a stroke are left out."""

    def one_rig(name: str, from_s: float, rig: Rig, rig_model: Model, result: Result) -> RigReview:
        """Estimate one rig; result: with its strokes alone."""
        given = estimator_from_earlier_session(before, result) if before is not None else None
        return RigReview(
            name=name,
            from_s=from_s,
            rig=rig,
            rig_model=rig_model,
            result=result,
            estimates=estimate(rig, rig_model, result, given),
        )

    if len(result.rigs) < 2:
        return (one_rig("", result.start_s, rig, rig_model, result),)
    parts = []
    for k, span in enumerate(result.rigs):
        own = tuple(s for s in result.strokes if s.rig == k)
        if own:
            under, model_ = (
                (rig, rig_model) if not k or span.rig is None else (span.rig, model(span.rig))
            )
            resets = tuple(r for r in result.reset_list if r.rig == k)
            mine = replace(result, strokes=own, roles=span.roles, reset_list=resets)
            parts.append(one_rig(span.name or "rig.toml", span.time_s, under, model_, mine))
    return tuple(parts) or (one_rig("", result.start_s, rig, rig_model, result),)


def review_all(
    info: SessionInfo,
    rig: Rig,
    result: Result,
    rig_model: Model | None = None,
    more: Iterable[Message] = (),
    before: EarlierSession | None = None,
) -> Reviewed:
    """Review the strokes of a result, of a growing or finished session.

    With several rigs the object shows the last one with an efficiency, else the last one, and a warning
    gives the result of each.  more: warnings to put first; before: a session that gives the load force.
    """
    parts = by_rig(rig, rig_model or model(rig), result, before)
    main = next((p for p in reversed(parts) if p.estimates.efficiency is not None), parts[-1])
    agreed = agreement(
        main.rig_model, main.estimates.actual_ma, main.estimates.method, changes(list(main.result.strokes)),
        [*uncalibrated(result)],
    )  # fmt: skip
    said = once([*more, *_rigs_said(parts, main), *_warnings(info, main, result)])
    return Reviewed(
        info=info, result=result, parts=parts, main=main, agreement=agreed, messages=said
    )


def _rigs_said(parts: tuple[RigReview, ...], main: RigReview) -> list[Message]:
    """The warning with each rig's result; none where there is one rig."""
    if len(parts) < 2:
        return []
    each = tuple(_rig_said(p) for p in parts)
    return [message("rig_changed", each=each, shown=main.name)]


def _rig_said(p: RigReview) -> Message:
    """The result of one rig in words."""
    ma = p.estimates.actual_ma
    values: dict[str, Any] = {"rig": p.name, "from_s": p.from_s, "strokes": len(p.result.strokes)}
    if ma is None:
        return message("rig_not_measured", **values)
    e = ma.scaled(1 / p.rig_model.ideal_ma)
    return message(
        "rig_measured", advantage=ma.value, advantage_U95=ma.U95, ideal=p.rig_model.ideal_ma,
        efficiency=e.value, efficiency_U95=e.U95, **values,
    )  # fmt: skip


def _object(review: Reviewed, units: UnitSystem, rows: list[str]) -> dict[str, Any]:
    """The object of interface section 6; rows: text of each row of events.csv."""
    info, result, main = review.info, review.result, review.main
    rig_model = main.rig_model
    strokes = sorted(
        (
            (s, e)
            for p in review.parts
            for s, e in zip(p.result.strokes, p.estimates.strokes, strict=True)
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
        "ideal_ma": rig_model.ideal_ma,
        "predicted": {
            "model_ma": rig_model.model_ma,
            "model_ma_u": rig_model.model_ma_u,
            "efficiency": rig_model.efficiency,
            "haul_force_N": rig_model.haul_force_N,
            "haul_force_u_N": rig_model.haul_force_u_N,
        },
        "measured": _measured(main.estimates, units),
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
        "peaks": peaks(rig_model, result),
        "messages": [one.json() for one in review.messages],
        "warnings": texts(review.messages, units),
    }


def peaks(rig_model: Model, result: Result) -> list[dict[str, Any]]:
    """The rows of `peaks` in interface section 6: highest force on every strand and element.

    A part that a cell measures has the highest value of the cell.  Any other has the highest haul force
    times its frictionless gain, the most that it can carry at that haul force while hauling, because
    friction only reduces it.  That is no bound for a capture that rope runs through, for pulls that partly
    cancel beside the axis, nor for a load that is lowered or hangs on a capture.
    """
    rows: list[dict[str, Any]] = []
    own = cells_of(rig_model, result.roles.forces)
    for k, element in enumerate(rig_model.parts):
        force, time = _highest(element, own.get(k, ()), result)
        if force is None:
            continue
        use = None if element.limit_N is None else force / element.limit_N
        rows.append(
            {
                "name": element.name,
                "force_N": _number(force),
                "limit_N": _number(element.limit_N),
                "use": _number(use),
                "time_s": _number(time),
            }
        )
    return rows


def read_by_cells(rig_model: Model, result: Result) -> frozenset[str]:
    """Names of the parts whose peak comes from their own cell."""
    beyond = {e.channel for e in result.derived_events if e.kind == "saturated"}
    return frozenset(
        rig_model.parts[k].name
        for k, own in cells_of(rig_model, result.roles.forces).items()
        if not any(c.name in beyond for c in own)
        and any(result.channels[c.name].highest is not None for c in own)
    )


def _highest(
    element: PartLoad, own: tuple[Channel, ...], result: Result
) -> tuple[float | None, float | None]:
    """(highest force N, its time s) of an element: by its own cells, else inferred from the haul cell."""
    haul = result.roles.haul_force
    beyond = {e.channel for e in result.derived_events if e.kind == "saturated"}
    inferred: list[tuple[float, float | None]] = []
    if haul is not None and (top := result.channels[haul.name]).highest is not None:
        inferred.append((abs(element.ideal) * max(0.0, top.highest), top.highest_s))
    read = [(s.highest, s.highest_s) for c in own if c is not haul
            for s in [result.channels[c.name]] if s.highest is not None]  # fmt: skip
    # a cell beyond its capacity read less than there was; two cells on one strand: the higher
    if read and haul not in own and not any(c.name in beyond for c in own):
        inferred = []
    # beside the axis a cell reads a component of the force: a lower bound, not the force
    read += [(s.highest, s.highest_s) for c in result.roles.forces
             if c is not haul and c not in own and c.at == element.name
             for s in [result.channels[c.name]] if s.highest is not None]  # fmt: skip
    return max([*inferred, *read], key=lambda row: row[0], default=(None, None))


def _measured(estimates: Estimates, units: UnitSystem) -> dict[str, Any]:
    """The object `measured` of interface section 6."""
    totals = estimates.totals
    return {
        "haul_force_N": _quantity(estimates.haul_force),
        "load_force_N": _quantity(estimates.load_force),
        "load_force_method": estimates.method,
        "actual_ma": _quantity(estimates.actual_ma),
        "efficiency": _quantity(estimates.efficiency),
        "pulley_efficiency": _quantity(estimates.pulley_efficiency),
        "travel_efficiency": _quantity(totals.efficiency),
        "work_efficiency": _quantity(estimates.work_efficiency),
        "haul_travel_m": _number(totals.haul_m),
        "load_travel_m": _number(totals.load_m),
        "load_travel_method": totals.method,
        "work_in_J": _number(totals.in_J),
        "work_out_J": _number(estimates.work_out_J),
        "why_not": "; ".join(texts(estimates.why_not, units)),
    }


def _events(result: Result, units: UnitSystem, texts: list[str]) -> list[dict[str, Any]]:
    """Derived events and the rows of events.csv in order of time; texts: of each row of events.csv."""
    rows = [_event(e, e.end_s, e.message.text(units)) for e in result.derived_events]
    rows += [_event(e, e.time_s, text) for e, text in zip(result.events, texts, strict=True)]
    return sorted(rows, key=lambda row: float(row["time_s"]))


def _event(event: DerivedEvent | Event, end_s: float | None, text: str) -> dict[str, Any]:
    return {
        "time_s": _number(event.time_s) or 0.0,
        "end_s": _number(end_s),
        "kind": event.kind,
        "channel": event.channel,
        "value": _number(event.value),
        "text": text,
    }


def _warnings(info: SessionInfo, main: RigReview, result: Result) -> list[Message]:
    """All warnings of a review, in order."""
    rig_model, estimates = main.rig_model, main.estimates
    lines = [*rig_model.warnings, *uncalibrated(result).values(), *estimates.warnings]
    lines += as_built(main.rig, rig_model, main.result)
    lines += stage_warnings(stages(main.rig, rig_model, main.result, estimates))
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
    lines += result.warnings
    lines += [message("channel_unknown", channel=name) for name in result.unknown_channels]
    if result.ran_back_m > 0.3:
        lines.append(message("ran_back", back_m=result.ran_back_m))
    if result.events_not_listed:
        lines.append(message("events_not_listed", events=result.events_not_listed))
    return lines


def _changed(main: RigReview) -> list[Message]:
    """Report a change along strokes or from stroke to stroke, and whether ground or rig changed."""
    change = changes(list(main.result.strokes))
    if not change.most:
        return []
    said = ground(change)
    each = [e.value for e in main.estimates.strokes if e is not None]
    if main.estimates.method == "cell" and len(each) > 2 and main.estimates.efficiency is not None:
        differs = changes(
            [s for s, e in zip(main.result.strokes, main.estimates.strokes, strict=True) if e],
            np.array(each),
        )
        if max(abs(differs.between), differs.spread) < max(0.02, 0.3 * change.most):
            return [message("ground_changed", change=said)]
        return [message("advantage_changed", change=said)]
    return [said]


def _late(result: Result) -> list[Message]:
    """Report force cells with a lag behind the haul cell that matters."""
    return [
        message("cell_later", cell=channel.name, lag_s=lag.behind_s) if lag.behind_s > 0
        else message("cell_earlier", cell=channel.name, lag_s=-lag.behind_s)
        for channel, lag in zip(result.roles.forces, result.lags, strict=False)
        if lag.behind_s is not None and abs(lag.behind_s) > LATE_S and abs(lag.ratio - 1) > 1e-3
    ]  # fmt: skip


def _quantity(quantity: Quantity | None) -> dict[str, Any] | None:
    """The JSON object of a quantity; None where it is missing or not finite."""
    if quantity is None or not all(
        math.isfinite(x) for x in (quantity.value, quantity.u, quantity.U95)
    ):
        return None
    row = quantity.json()
    return {k: int(v) if k == "n" else float(v) for k, v in row.items()}


def _number(value: float | None) -> float | None:
    """A plain float; None where the value is missing or not finite."""
    return None if value is None or not math.isfinite(value) else float(value)
