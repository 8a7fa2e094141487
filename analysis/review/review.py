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
from analysis.efficiency.contradictions import unexplained
from analysis.efficiency.estimate import Estimates
from analysis.efficiency.load_from_other_session import EarlierSession, load_from
from analysis.efficiency.stage_losses import stage_warnings, stages
from analysis.efficiency.uncertainty import Quantity
from analysis.efficiency.verdict import agreement, changes, ground
from analysis.mechanics.model import Model, model
from analysis.messages.message import SI, Message, UnitSystem, message, once, texts
from analysis.prediction.alarm_rows import part_texts, recorded
from analysis.review.causes import greatest_first
from analysis.review.chapters import Chapter, SessionTotals, chapters, session_totals
from analysis.review.limit_events import with_limits_passed
from analysis.review.peaks import Peak, highest_peaks, not_bounded
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig, parse_rig
from analysis.signals.channel_roles import check_places, roles
from analysis.strokes.analyser import Analyser
from analysis.strokes.derived_events import DerivedEvent
from analysis.strokes.result import Result
from analysis.strokes.rig_changes import rigs_of
from logger.session.records import Block, Event, SessionInfo

__all__ = ["agreement", "check_places", "review_session", "reviewed"]

# least lag between cells for a warning; chosen by us: a lag within a cell has no effect
LATE_S = 0.04


@dataclass(frozen=True, eq=False)
class Reviewed:
    """A review, and the values from which its JSON object is made."""

    info: SessionInfo  # description of the session
    result: Result  # of the analyser, with the limits passed that follow from the peaks
    chapters: tuple[Chapter, ...]  # one for each rig, in order of time
    main: Chapter  # the first with an efficiency, else the first
    totals: SessionTotals  # travel and work of all chapters
    messages: tuple[Message, ...]  # warnings, each once

    @cached_property
    def peaks(self) -> tuple[Peak, ...]:
        """The highest force on each part of all rigs."""
        return highest_peaks(p for c in self.chapters for p in c.peaks)

    @cached_property
    def json(self) -> dict[str, Any]:
        """The object of interface section 6: plain numbers and null, texts with quantities in SI."""
        return _object(self, SI, [e.text for e in self.result.events])

    def shown(self, units: UnitSystem) -> dict[str, Any]:
        """The object with its texts in these units, for display only: JSON and files are in SI."""
        limit_texts: dict[str, Message] = {}
        if any(e.kind == "alarm" for e in self.result.events):
            for one in self.chapters:
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


def review_all(
    info: SessionInfo,
    rig: Rig,
    result: Result,
    rig_model: Model | None = None,
    more: Iterable[Message] = (),
    before: EarlierSession | None = None,
) -> Reviewed:
    """Review the strokes of a result, of a growing or finished session.

    more: warnings to put first but for those on the record; before: a session that gives the load force.
    """
    every = chapters(rig, rig_model or model(rig), result, before)
    main = next((c for c in every if c.estimates.efficiency is not None), every[0])
    result = replace(result, derived_events=with_limits_passed(result, every))
    warnings = greatest_first(
        _warnings(main, result),
        main.estimates.refused,
        result.steady_N or 0.0,
        sum(s.haul_travel_m for s in result.strokes if s.direction == "haul"),
    )
    listed = [*_of_record(info), *more, *_chapters_listed(every, main), *warnings]
    for other in every:
        if other is not main and other.strokes:
            listed += _of_chapter(other, listed)
    return Reviewed(
        info=info,
        result=result,
        chapters=every,
        main=main,
        totals=session_totals(every),
        messages=once(listed),
    )


def _of_record(info: SessionInfo) -> list[Message]:
    """What makes the record doubtful, which goes before all else; none where nothing does."""
    if info.state == "cut short":
        return [message("cut_short")]
    return [message("changed_after_sealing")] if info.state == "changed" else []


def _chapters_listed(every: tuple[Chapter, ...], main: Chapter) -> list[Message]:
    """The message that the session has several chapters; none where it has one."""
    if len(every) < 2:
        return []
    return [message("rig_changed", chapters=len(every), shown=main.number + 1, rig=main.name)]


def _of_chapter(other: Chapter, listed: list[Message]) -> list[Message]:
    """The warnings of one chapter that are not listed yet, with its number."""
    before = {one.text() for one in listed}
    number = other.number + 1
    return [
        message("chapter_info", chapter=number, said=one) if one.level == "info"
        else message("chapter_caution", chapter=number, said=one)
        for one in _own_warnings(other) if one.text() not in before
    ]  # fmt: skip


def _object(review: Reviewed, units: UnitSystem, rows: list[str]) -> dict[str, Any]:
    """The object of interface section 6; rows: text of each row of events.csv."""
    info, result, main = review.info, review.result, review.main
    of_strokes: list[Quantity | None] = [None] * len(result.strokes)
    for chapter in review.chapters:
        for k, one in zip(chapter.strokes, chapter.estimates.strokes, strict=True):
            of_strokes[k] = one
    return {
        "title": main.rig.title,
        "session": str(info.path),
        "state": info.state,
        "started_at": info.started_at,
        "duration_s": _number(result.end_s - result.start_s),
        "readings": {name: s.readings for name, s in result.channels.items()},
        "dropped": {name: s.dropped for name, s in result.channels.items()},
        "ideal_ma": main.rig_model.ideal_ma,
        "predicted": _predicted(main.rig_model),
        "measured": _measured(main.estimates, review.totals, units),
        "agreement": _agreement(main, units),
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
            for s, e in zip(result.strokes, of_strokes, strict=True)
        ],
        "resets": result.resets,
        "events": _events(result, units, rows),
        "peaks": [p.json() for p in review.peaks],
        "chapters": [_chapter(c, units) for c in review.chapters],
        "messages": [one.json() for one in review.messages],
        "warnings": texts(review.messages, units),
    }


def _chapter(chapter: Chapter, units: UnitSystem) -> dict[str, Any]:
    """One of `chapters` of interface section 6."""
    return {
        "rig": chapter.name,
        "title": chapter.rig.title,
        "from_s": chapter.from_s,
        "to_s": chapter.to_s,
        "ideal_ma": chapter.rig_model.ideal_ma,
        "predicted": _predicted(chapter.rig_model),
        "measured": _measured(chapter.estimates, session_totals([chapter]), units),
        "agreement": _agreement(chapter, units),
        "strokes": list(chapter.strokes),
        "resets": chapter.result.resets,
        "load_from_m": _number(chapter.load_from_m),
        "load_to_m": _number(chapter.load_to_m),
        "peaks": [p.json() for p in chapter.peaks],
    }


def _predicted(rig_model: Model) -> dict[str, Any]:
    """The object `predicted` of interface section 6."""
    return {
        "model_ma": rig_model.model_ma,
        "model_ma_u": rig_model.model_ma_u,
        "efficiency": rig_model.efficiency,
        "haul_force_N": rig_model.haul_force_N,
        "haul_force_u_N": rig_model.haul_force_u_N,
    }


def _agreement(chapter: Chapter, units: UnitSystem) -> dict[str, Any]:
    """The object `agreement` of interface section 6."""
    return {"en": chapter.agreement.en, "verdict": chapter.agreement.verdict.text(units)}


def _measured(estimates: Estimates, totals: SessionTotals, units: UnitSystem) -> dict[str, Any]:
    """The object `measured` of interface section 6.

    totals: travel and work, of the chapter or of the session.
    """
    return {
        "haul_force_N": _quantity(estimates.haul_force),
        "load_force_N": _quantity(estimates.load_force),
        "load_force_method": estimates.method,
        "actual_ma": _quantity(estimates.actual_ma),
        "efficiency": _quantity(estimates.efficiency),
        "pulley_efficiency": _quantity(estimates.pulley_efficiency),
        "travel_efficiency": _quantity(estimates.totals.efficiency),
        "work_efficiency": _quantity(estimates.work_efficiency),
        "haul_travel_m": _number(totals.haul_m),
        "load_travel_m": _number(totals.load_m),
        "load_travel_method": totals.method,
        "work_in_J": _number(totals.in_J),
        "work_out_J": _number(totals.out_J),
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


def _own_warnings(chapter: Chapter) -> list[Message]:
    """The warnings about one chapter: its model, its measurement, its parts."""
    rig_model, estimates, own = chapter.rig_model, chapter.estimates, chapter.result
    # the contradiction for which values are left out explains most, so it comes first
    lines = [] if estimates.refused is None else [estimates.refused]
    lines += [*rig_model.warnings, *uncalibrated(own).values(), *estimates.warnings]
    lines += as_built(chapter.rig, rig_model, own)
    lines += stage_warnings(stages(chapter.rig, rig_model, own, estimates))
    return [*lines, *not_bounded(chapter.peaks, own), *_changed(chapter)]


def _warnings(main: Chapter, result: Result) -> list[Message]:
    """All warnings of a review, in order; of the chapters, those of the main one."""
    lines = _own_warnings(main)
    lines += _late(main.result)
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
    lines += unexplained(main.estimates.refused, result.warnings)
    lines += [message("channel_unknown", channel=name) for name in result.unknown_channels]
    if result.ran_back_m > 0.3:
        lines.append(message("ran_back", back_m=result.ran_back_m))
    if result.events_not_listed:
        lines.append(message("events_not_listed", events=result.events_not_listed))
    return lines


def _changed(main: Chapter) -> list[Message]:
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
