"""Sends pages what is new of one session: it rounds and words what analysis worked out."""

from __future__ import annotations

import math
from typing import Any

from analysis.live.haul_levels import haul_levels
from analysis.live.live_state import LiveState, Moment
from analysis.live.minmax_pyramid import Pyramid
from analysis.mechanics.model import COVERAGE
from analysis.messages.message import text_of
from analysis.prediction.alarm_headlines import parts_at_risk
from analysis.prediction.alarm_rows import part_texts
from analysis.review.review import Reviewed
from analysis.review.shown_rows import peak_rows
from analysis.rig.rig import Rig
from dashboard.live.event_log import EventLog
from dashboard.live.load_display import show_loads, use_of
from dashboard.live.session_header import head
from dashboard.live.state_feed import Board, sig
from dashboard.live.wire import (
    ChannelNow,
    Measured,
    Moved,
    NextMeeting,
    Now,
    Numbered,
    Parts,
    Predicted,
    Strokes,
    Waiting,
)
from dashboard.text.table_rows import (
    CHAPTERS,
    PEAKS,
    by_chapter,
    chapter_rows,
    peaks_by_chapter,
    texts,
)
from dashboard.text.units import Units
from logger.errors import one_line

MOST_CHAPTERS, MOST_PEAKS, CELL = 20, 20, 40  # rows, and characters of a cell: what a page holds


class Publisher:
    """Tells pages of one session.

    live: what is told of.
    board: where it is put.
    """

    def __init__(self, live: LiveState, run: str, shown: Units) -> None:
        """run: names this run of the server; shown: the units of the pages."""
        self.live, self._shown = live, shown
        self._events = EventLog(live.events, live.info.sensors, shown)
        self._rig: Rig | None = None  # that the head tells of
        roles = live.roles
        force, travel = next(iter(roles.forces), None), roles.load_length or roles.progress
        self.board = Board(
            run, live.tracks[force.name].pyramid if force else Pyramid(),
            live.tracks[travel.name].pyramid if travel else None,
        )  # fmt: skip
        self.head()

    def head(self) -> None:
        """Send what is sent once of every rig."""
        live = self.live
        if self._rig is live.in_use.rig:
            return
        self._rig = live.in_use.rig
        self._levels = haul_levels(live.roles, live.in_use.model)
        self._events.words.add(part_texts(live.in_use.model), parts_at_risk(live.in_use.model))
        self.board.set("head", head(live, self._levels, self._shown), whole=True)

    def fault(self, text: str | None) -> None:
        """Why the session is not followed now; None: it is."""
        self.board.put(Parts(fault=None if text is None else one_line(text, 240)))

    def waiting(self, late_s: float | None) -> None:
        """Nothing new for so long, None: since the session was opened."""
        words, text = "READING", "reading what was recorded so far"
        if late_s is not None:
            words = "PAGE IS BEHIND"
            text = f"this page's server has not kept up for {late_s:.0f} s"
        self.board.now(Waiting(state="wait", words=words, detail=text))

    def now(self, moment: Moment) -> None:
        """Send what changes at every tick."""
        live, state, recorder, left = self.live, moment.state, moment.recorder, moment.remaining
        haul, levels = live.roles.haul_force, self._levels
        track = live.tracks[haul.name] if haul else None
        recording = recorder.code == "recording"
        why = one_line(text_of(left.why_not, self._shown), 200)
        self.board.put(Parts(left=NextMeeting(meets=list(left.meets), why=why)))
        self._moved(moment)
        self._events.tell_alarms(self.board)
        since, now = moment.since_haul_s, state if recording else recorder
        force_N = state.force_N if recording else None
        self.board.now(
            Now(
                time_s=round(moment.now_s, 1),
                state=now.code,
                words=one_line(now.words, 60),
                detail=one_line(text_of(now.detail, self._shown), 120),
                force_N=sig(force_N),
                reached=levels.reached(force_N),
                stop_share=sig(levels.stop_share(force_N)),
                last_haul_N=sig(live.loads.last_N, 3),
                since_haul_s=None if since is None else round(since),
                held_N=sig(moment.held_N, 3),
                drawing=live.in_use.drawing,
                nearest=use_of(moment.carried),
                peak_N=sig(track.highest) if track else None,
                peak_s=round(track.highest_s or 0.0, 1) if track else None,
                peak_over=track is not None and levels.over_stop(track.highest),
                moved_m=_round(moment.moved_m),
                to_go_m=_round(moment.to_go_m),
                rope_out_m=_round(moment.rope_out_m),
                load_left_m=_round(left.load_m),
                rope_left_m=_round(left.rope_m),
                nearness=left.nearness,
            )
        )

    def _moved(self, moment: Moment) -> None:
        summed = moment.by_rope
        moved = Moved(
            first_rig=self.live.in_use.changed,
            hauled_m=None if summed is None else _round(summed.hauled_m),
            lowered_m=None if summed is None else _round(summed.lowered_m),
            rigs=0 if summed is None else summed.rigs,
            why="" if summed is None else text_of(summed.why_not, self._shown),
        )
        self.board.put(Parts(moved=moved))

    def loads(self, moment: Moment) -> None:
        """Send what strands and parts carry."""
        show_loads(self.board, moment.carried, len(self.live.in_use.rig.strands))

    def channels(self, moment: Moment) -> None:
        """Send the state of every channel."""
        live = self.live
        for k, (name, track) in enumerate(live.tracks.items()):
            age_s, rate_Hz = track.age_s(moment.now_s), track.rate(moment.now_s)
            channel = ChannelNow(
                value=sig(live.value(track, moment)),
                rate_Hz=None if moment.recorder.over else round(rate_Hz, 1),
                age_s=None if age_s is None else round(age_s, 1),
                dropped=live.recording.drops.get(name, 0),
                readings=track.count,
                fault="overdue" if live.overdue(track, moment) else "saturated" if track.saturated else "",
            )  # fmt: skip
            self.board.put_numbered(k, Numbered(channel=channel))

    def estimate(self, reviewed: Reviewed) -> None:
        """Send measured and predicted of the rig in use, the session's totals, and what happened."""
        review, result = reviewed.shown(self._shown), reviewed.result
        chapter, totals = review["chapters"][-1], review["measured"]
        measured, predicted = chapter["measured"], chapter["predicted"]
        self.board.put(
            Parts(
                predicted=Predicted(
                    ideal_ma=sig(chapter["ideal_ma"]),
                    model_ma=sig(predicted["model_ma"]),
                    model_ma_U95=sig(COVERAGE * predicted["model_ma_u"]),
                ),
                actual_ma=_measured(measured["actual_ma"]),
                efficiency=_measured(measured["efficiency"]),
                load_force_N=_measured(measured["load_force_N"]),
                load_force_method=measured["load_force_method"],
                why_not=measured["why_not"],
                verdict=chapter["agreement"]["verdict"],
                strokes=Strokes(
                    haul_strokes=len(self.live.hauls),
                    resets=result.resets,
                    haul_travel_m=sig(totals["haul_travel_m"]),
                    load_travel_m=sig(totals["load_travel_m"]),
                ),
            )
        )
        strokes, over = result.strokes, self.live.recording.state != "growing"
        if over or (strokes and not strokes[-1].growing):
            self._tables(review)
        # the page shows the rig in use, not the chapter that stands for the session in a review
        warnings = [
            text_of(one, self._shown) for one in reviewed.messages if one.code != "rig_changed"
        ]
        self.board.lines("warning", [one_line(w, 240) for w in warnings], 24)
        self._events.tell(self.board, result.strokes, result.derived_events)

    def _tables(self, review: dict[str, Any]) -> None:
        """Send chapters and highest forces, a row each.

        Between strokes alone: while a stroke grows, what the haul does now goes first.
        """
        chapters = texts(CHAPTERS, chapter_rows(review), self._shown)
        for k, cells in enumerate(chapters[: MOST_CHAPTERS + 1] if len(chapters) > 1 else []):
            self.board.put_numbered(k, Numbered(chapter=_cells(cells)))
        peaks = texts(by_chapter(PEAKS, review), peak_rows(peaks_by_chapter(review)), self._shown)
        for k, cells in enumerate(peaks[: MOST_PEAKS + 1] if len(peaks) > 1 else []):
            self.board.put_numbered(k, Numbered(peak=_cells(cells)))


def _cells(cells: list[str]) -> list[str]:
    return [one_line(cell, CELL) for cell in cells]


def _round(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)


def _measured(quantity: dict[str, Any] | None) -> Measured | None:
    if quantity is None:
        return None
    return Measured(value=sig(quantity["value"]), U95=sig(quantity["U95"], 3), n=quantity["n"])
