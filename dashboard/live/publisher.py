"""Puts on the board what pages are told of one session: it rounds and words what analysis worked out."""

from __future__ import annotations

import math
from typing import Any

from analysis.live.live_state import LiveState, Moment
from analysis.live.minmax_pyramid import Pyramid
from analysis.mechanics.model import COVERAGE
from analysis.messages.message import text_of
from analysis.prediction.alarm_rows import part_texts
from analysis.review.review import Reviewed
from analysis.rig.rig import Rig
from dashboard.live.event_log import EventLog
from dashboard.live.load_display import nearest, show_loads
from dashboard.live.session_header import head
from dashboard.live.state_feed import Board, sig
from dashboard.text.units import Units
from logger.errors import one_line


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
        """What is told once of every rig."""
        live = self.live
        if self._rig is live.in_use.rig:
            return
        self._rig = live.in_use.rig
        self._events.alarms |= part_texts(live.in_use.model)
        self.board.set("head", head(live, self._shown), whole=True)

    def fault(self, text: str | None) -> None:
        """Why the session is not followed now; None: it is."""
        self.board.set("fault", None if text is None else one_line(text, 240))

    def waiting(self, late_s: float | None) -> None:
        """Nothing new for so long, None: since the session was opened."""
        what, text = "READING", "reading what was recorded so far"
        if late_s is not None:
            what, text = "PAGE IS BEHIND", f"this page's server has not kept up for {late_s:.0f} s"
        self.board.now({"k": "wait", "w": what, "d": text})

    def now(self, moment: Moment) -> None:
        """What changes at every tick."""
        live, state, recorder, left = self.live, moment.state, moment.recorder, moment.remaining
        haul = live.roles.haul_force
        track = live.tracks[haul.name] if haul else None
        recording = recorder.code == "recording"
        why = one_line(text_of(left.why_not, self._shown), 200)
        self.board.set("left", {"by": list(left.meets), "why": why})
        self._moved(moment)
        self._events.tell_alarms(self.board)
        since, now = moment.since_haul_s, state if recording else recorder
        self.board.now(
            {
                "t": round(moment.now_s, 1),
                "k": state.code if recording else recorder.code,
                "w": one_line(now.words, 60),
                "d": one_line(text_of(now.detail, self._shown), 120),
                "f": sig(state.force_N) if recording else None,
                "lf": sig(live.loads.last_N, 3),
                "la": None if since is None else round(since),
                "hc": sig(moment.held_N, 3),
                "g": live.in_use.drawing,
                "u": nearest(moment.carried),
                "pk": sig(track.highest) if track else None,
                "pt": round(track.highest_s or 0.0, 1) if track else None,
                "lt": _round(moment.moved_m),
                "tg": _round(moment.to_go_m),
                "ht": _round(moment.rope_out_m),
                "sl": _round(left.load_m),
                "sr": _round(left.rope_m),
            }
        )

    def _moved(self, moment: Moment) -> None:
        """The part `moved`: up, down: hauled and lowered, m; rigs: with how many; first: whether what is
        to go is of a rig that is no more; why: why it is not known."""
        moved: dict[str, Any] = {"first": self.live.in_use.changed}
        summed = moment.by_rope
        if summed is not None:
            moved |= {"up": _round(summed.hauled_m), "down": _round(summed.lowered_m),
                      "rigs": summed.rigs, "why": text_of(summed.why_not, self._shown)}  # fmt: skip
        self.board.set("moved", moved)

    def loads(self, moment: Moment) -> None:
        """What strands and parts carry."""
        show_loads(self.board, moment.carried, len(self.live.in_use.rig.strands))

    def channels(self, moment: Moment) -> None:
        """`c:k`: [value, readings per second, age s, dropped, readings, what is wrong]."""
        live = self.live
        for k, (name, track) in enumerate(live.tracks.items()):
            age_s, rate_Hz = track.age_s(moment.now_s), track.rate(moment.now_s)
            wrong = "BEYOND CAPACITY" if track.saturated else ""
            self.board.set(f"c:{k}", [
                sig(live.value(track, moment)),
                None if moment.recorder.over else round(rate_Hz, 1),
                None if age_s is None else round(age_s, 1),
                live.recording.drops.get(name, 0),
                track.count,
                "NO DATA" if live.overdue(track, moment) else wrong,
            ])  # fmt: skip

    def estimate(self, reviewed: Reviewed) -> None:
        """Measured and predicted, and what happened."""
        review = reviewed.shown(self._shown)
        measured, predicted, result = review["measured"], review["predicted"], self.live.result
        for key, value in {
            "pred": [sig(review["ideal_ma"]), sig(predicted["model_ma"]),
                     sig(COVERAGE * predicted["model_ma_u"])],
            "ma": _short(measured["actual_ma"]),
            "eff": _short(measured["efficiency"]),
            "load": _short(measured["load_force_N"]),
            "method": measured["load_force_method"],
            "why": measured["why_not"],
            "verdict": review["agreement"]["verdict"],
            "sum": {"n": len(self.live.hauls), "resets": result.resets,
                    "ht": sig(measured["haul_travel_m"]), "lt": sig(measured["load_travel_m"])},
        }.items():  # fmt: skip
            self.board.set(key, value)
        self.board.lines("w", [one_line(w, 240) for w in review["warnings"]], 24)
        self._events.tell(self.board, result.strokes, result.derived_events)


def _round(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)


def _short(quantity: dict[str, Any] | None) -> list[float | int | None] | None:
    """[value, U95, n]"""
    if quantity is None:
        return None
    return [sig(quantity["value"]), sig(quantity["U95"], 3), quantity["n"]]
