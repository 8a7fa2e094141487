"""Plans the conversion of the rig in use into another one, in a thread, and tells how far it was made.

The plan lies in the server, so that every page of the session shows the same.  Which moves were made is read from
the session, which holds one event a move; with the last one the new rig's file goes to the recorder too.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.conversion.convert import Conversion, convert
from analysis.conversion.standing_rig import as_it_stands
from analysis.live.live_state import LiveState
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats
from analysis.rig_file.load import parse_rig
from analysis.signals.channel_roles import roles
from analysis.strokes.rig_changes import check_same
from dashboard.conversion.changes import change_rows, ratios
from dashboard.conversion.drawn_moves import drawn_moves
from dashboard.live.conversion_choices import WantedRig
from dashboard.live.conversion_wire import (
    ConversionAnswer,
    ConversionChoice,
    ConversionState,
    ShownMove,
)
from dashboard.text.units import Units
from dashboard.web.gate import Refused
from logger.errors import RigFault, UserFault, one_line
from logger.recorder.request_inbox import ask, ask_rig_text
from logger.session.records import Event
from logger.toml_tables import read_text

WITHIN_S = 15.0  # of the search; chosen by us: a pair of the shelf takes 2 s at most
AGAIN_S = (
    1.0  # within which the same move is a double touch; chosen by us: the recorder answers in 0.1 s
)
MOST_TEXT, MOST_WHY = 300, 600  # characters of a move in the session or of a warning; of a refusal


@dataclass(frozen=True)
class PlannedConversion:
    """A conversion that was asked for."""

    wanted: WantedRig  # the rig to be made
    from_file: str  # file of the rig that stands, in the session's folder
    state: ConversionState  # working, refused or ready
    made: Conversion | None = None  # None unless it is ready
    why: Message | str = ""  # why it is refused
    said: tuple[Message, ...] = ()  # warnings beside those of the conversion


class ConversionPanel:
    """The planned conversion of one session.

    live: the session.
    shown: units of the texts.
    log: takes an exception of our own; None: it is not logged.
    """

    def __init__(
        self, live: LiveState, shown: Units, log: Callable[[Exception], None] | None
    ) -> None:
        self.live, self._shown, self._log = live, shown, log
        self._lock = threading.Lock()
        self._plan: PlannedConversion | None = None
        self._sent: set[str] = set()  # ids of the moves that this run asked for
        self._last: tuple[str, int, float] | None = None  # rig, step and moment of the last touch
        self._drawn: tuple[PlannedConversion, int, list[ShownMove]] | None = None

    def open(self, wanted: WantedRig) -> None:
        """Plan the conversion of the rig in use into another one, in a thread.

        Raises Refused while another one is worked out, or while moves of another one are marked.
        """
        file, x_m = self.live.standing()
        with self._lock:
            now = self._plan
            if now is not None and now.state == "working":
                raise Refused(409, message("convert_working_still").text(self._shown))
            other = now is not None and now.state == "ready" and now.wanted.name != wanted.name
            if other and self.live.rig_now.moves and now is not None and now.from_file == file:
                raise Refused(409, message("convert_other_marked").text(self._shown))
            plan = PlannedConversion(wanted=wanted, from_file=file, state="working")
            self._plan = plan
        threading.Thread(
            target=self._work, args=(plan, x_m), name="conversion", daemon=True
        ).start()

    def _work(self, plan: PlannedConversion, x_m: Floats | None) -> None:
        try:
            done = self._planned(plan, x_m)
        except UserFault as fault:
            done = replace(plan, state="refused", why=str(fault))
        except Exception as error:
            done = replace(
                plan, state="refused", why="our own fault: the program failed; see the log"
            )
            if self._log is not None:
                self._log(error)
        with self._lock:
            self._plan = done

    def _planned(self, plan: PlannedConversion, x_m: Floats | None) -> PlannedConversion:
        """The plan worked out; x_m: where the bodies stand, (bodies,), m; None: not known."""
        text = read_text(self.live.path / plan.from_file, RigFault)
        said: tuple[Message, ...] = ()
        try:
            if x_m is None:
                raise RigFault(plan.from_file, "stands at unknown places")
            text = as_it_stands(text, plan.from_file, x_m)
        except RigFault:
            said = (message("convert_places_of_file"),)
        made = convert(text, plan.wanted.text, plan.from_file, plan.wanted.name, WITHIN_S)
        if made.why_not is not None:
            return replace(plan, state="refused", why=made.why_not)
        if not made.moves:
            return replace(plan, state="refused", why=message("convert_same_rig"))
        # a rig that the recorder would refuse is refused before the first move, not after the last
        last = parse_rig(made.moves[-1].rig, plan.wanted.name)
        check_same(self.live.roles, roles(last, self.live.info.sensors), plan.wanted.name)
        return replace(plan, state="ready", made=made, said=said)

    def answer(self, width: int, choices: list[ConversionChoice]) -> ConversionAnswer:
        """What a page shows; width: of a drawing, pixels."""
        with self._lock:
            plan = self._plan
        rig = self.live.rig_now
        marked = rig.moves
        answer = ConversionAnswer(
            choices=choices, state="none", name="", title="", why="", ratio="", facts=[],
            warnings=[], moves=[], marked=len(marked), undo=marked[-1].id if marked else "",
        )  # fmt: skip
        if plan is None:
            return answer
        why = plan.why if isinstance(plan.why, str) else plan.why.text(self._shown)
        answer["state"], answer["why"] = plan.state, one_line(why, MOST_WHY)
        answer["name"], answer["title"] = plan.wanted.name, plan.wanted.title
        if plan.made is None:
            return answer
        if rig.file != plan.from_file:
            answer["state"] = "done"
        made = plan.made
        warnings = [*plan.said, *self._of_others(made, marked), *made.warnings]
        answer["ratio"] = " to ".join(ratios(made))
        answer["facts"] = [list(row) for row in change_rows(made, self._shown)]
        answer["warnings"] = [one_line(one.text(self._shown), MOST_TEXT) for one in warnings]
        answer["moves"] = self._moves(plan, made, width)
        return answer

    def _of_others(self, made: Conversion, marked: Sequence[Event]) -> list[Message]:
        """Warnings of moves that are marked and that this run did not send."""
        if len(marked) > len(made.moves):
            return [message("convert_too_many_marked", count=len(marked), moves=len(made.moves))]
        others = sum(one.id not in self._sent for one in marked)
        return [message("convert_marked_before", count=others)] if others else []

    def _moves(self, plan: PlannedConversion, made: Conversion, width: int) -> list[ShownMove]:
        """The moves with their drawings; those that were drawn last are kept."""
        kept = self._drawn
        if kept is not None and kept[0] is plan and kept[1] == width:
            return kept[2]
        moves = [
            ShownMove(number=one.number, text=one.text, held_by=one.held_by, svg=one.svg)
            for one in drawn_moves(made, self._shown, width)
        ]
        self._drawn = plan, width, moves
        return moves

    def act(self, step: int, role: str) -> list[str]:
        """Ask the recorder to mark a move, and with the last one to go on with the new rig.

        step: from 1; one more than there are moves: the new rig alone.  Returns the ids of the requests.  Raises
        Refused for a move that is not the next one.
        """
        with self._lock:
            plan, rig = self._plan, self.live.rig_now
            made = None if plan is None else plan.made
            if plan is None or made is None or rig.file != plan.from_file:
                raise Refused(409, "no conversion is planned: choose a rig first")
            marked = len(rig.moves)
            if step != marked + 1 or step > len(made.moves) + 1:
                raise Refused(409, f"move {step} is not the next one: {marked} are marked")
            now_s = time.monotonic()
            again = self._last is not None and self._last[:2] == (plan.wanted.name, step)
            if again and self._last is not None and now_s - self._last[2] < AGAIN_S:
                raise Refused(409, f"move {step} was sent a moment ago")
            self._last = plan.wanted.name, step, now_s
            path, total, ids = self.live.path, len(made.moves), []
            if step <= total:
                words = " ".join(one.text() for one in made.moves[step - 1].texts)
                text = one_line(f"{step} of {total} to {plan.wanted.title}: {words}", MOST_TEXT)
                ids.append(ask(path, "move", text=text, role=role, step=step))
                self._sent.add(ids[0])
            if step >= total:
                ids.append(ask_rig_text(path, made.moves[-1].rig, role))
            return ids
