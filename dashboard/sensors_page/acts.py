"""Does what a button or a field of the sensors page asks for, by a list of plain values.

The values come from a browser: each is checked, and what does not fit is a fault in one sentence.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from dashboard.desk.chosen import choose
from dashboard.sensors_page import channel_acts, number_acts
from dashboard.sensors_page.sensors_desk import SensorsDesk
from dashboard.sensors_page.sensors_store import MOST_TYPED_PORTS, OpenStep, SensorsState
from dashboard.sensors_page.typed import (
    address_typed,
    ask_typed,
    framing_typed,
    rate_typed,
    text_typed,
)
from dashboard.text.alarm_levels import check_levels
from logger.errors import CallFault

MOST_ACT = 1000  # characters of an act as a browser sends it
MOST_VALUES = 4  # of an act
PULL_BACKWARD = "a pull counts as negative; turn it round under Change, Pull once"
NO_ACCURACY = (
    "no accuracy is stated, so the review gives no interval; say how good it is under Change"
)
COMMAS = ("decimal", "separator", "thousands")
CHANNEL_QUESTIONS = ("change", "pull", "zero", "weight", "levels", "what", "unit", "where", "good")

Fields = dict[str, Any]


def act(*values: Any) -> str:
    """An act as the name of a button."""
    return json.dumps(values, separators=(",", ":"))


def act_values(text: Any) -> list[Any]:
    """The values of an act that a browser sent; raises CallFault for anything else."""
    values: Any = text
    if isinstance(text, str):
        try:
            values = json.loads(text) if len(text) <= MOST_ACT else None
        except (ValueError, RecursionError):
            values = None
    if (
        not isinstance(values, list)
        or not 1 <= len(values) <= MOST_VALUES
        or not isinstance(values[0], str)
        or any(isinstance(one, str) and len(one) > MOST_ACT for one in values)
    ):
        raise CallFault("act", "is none of this page", "load the page again")
    return [*values, *[None] * (MOST_VALUES - len(values))]


def done(sensors: SensorsDesk, values: list[Any], fields: Fields) -> str:
    """Do an act; returns what is to be said about it, "" for nothing.  Raises UserFault.

    fields: what stands in the fields of the page, by name.
    """
    verb, one, two, _ = values
    if verb in _PORT_ACTS:
        return _PORT_ACTS[verb](sensors, one, two, fields)
    if verb in _FILE_ACTS:
        return _FILE_ACTS[verb](sensors, one, fields)
    if verb in _EDITS:
        said: list[str] = []

        def edited(state: SensorsState) -> SensorsState:
            """The state after the act."""
            made = _EDITS[verb](sensors, state, (one, two), fields)
            if isinstance(made, tuple):
                said.append(made[1])
                made = made[0]
            return channel_acts.after_pull(sensors, state, made)

        before = sensors.store.state.step
        _watch_pull(sensors, before, sensors.store.change(edited), again=verb == "pull again")
        return said[0] if said else ""
    raise CallFault("act", "is none of this page", "load the page again")


def _watch_pull(sensors: SensorsDesk, before: OpenStep, state: SensorsState, again: bool) -> None:
    """Watch the numbers of a port while its channel is pulled, and no longer."""
    step = state.step
    same = (step.kind, step.channel) == (before.kind, before.channel)
    if same and not again:
        return
    if before.kind == "pull":
        for port in sensors.listeners.news():
            heard = sensors.listeners.get(port)
            if heard is not None:
                heard.end_pull()
    if step.kind == "pull":
        row = sensors.row(state, step.channel)
        heard = sensors.heard(row.get("port"))
        if heard is not None:
            heard.begin_pull(sensors.place_of(row) or "")


# -- ports -----------------------------------------------------------------------------------------
def _listen(sensors: SensorsDesk, port: Any, _: Any, fields: Fields) -> str:
    sensors.listeners.listen(sensors.seen(port))
    return ""


def _listen_as(sensors: SensorsDesk, port: Any, _: Any, fields: Fields) -> str:
    baud, framing = rate_typed(fields.get("baud")), framing_typed(fields.get("framing"))
    sensors.listeners.listen(sensors.seen(port), baud, framing, ask_typed(fields.get("ask")))
    sensors.store.change(lambda state: replace(state, step=OpenStep()))
    return ""


def _stop(sensors: SensorsDesk, port: Any, _: Any, fields: Fields) -> str:
    sensors.listeners.stop(sensors.seen(port).port)
    return ""


def _address(sensors: SensorsDesk, _: Any, __: Any, fields: Fields) -> str:
    port = address_typed(fields.get("address"))

    def added(state: SensorsState) -> SensorsState:
        """The state with the port among the typed ones."""
        kept = [one for one in state.typed if one != port]
        return replace(state, typed=(*kept, port)[-MOST_TYPED_PORTS:])

    sensors.store.change(added)
    sensors.watch.look_now()
    sensors.listeners.listen(sensors.seen(port))
    return ""


def _forget(sensors: SensorsDesk, port: Any, _: Any, fields: Fields) -> str:
    sensors.listeners.stop(sensors.seen(port).port)
    sensors.store.change(
        lambda state: replace(state, typed=tuple(one for one in state.typed if one != port))
    )
    sensors.watch.look_now()
    return ""


def _comma(sensors: SensorsDesk, port: Any, meaning: Any, fields: Fields) -> str:
    heard = sensors.heard(port)
    if heard is None or meaning not in COMMAS:
        raise CallFault("comma", "is not asked now", "look at the lines again")
    heard.say_comma(meaning)
    return ""


def _settings(sensors: SensorsDesk, port: Any, _: Any, fields: Fields) -> str:
    seen = sensors.seen(port)
    sensors.store.change(
        lambda state: replace(state, step=OpenStep(kind="settings", port=seen.port))
    )
    return ""


_PORT_ACTS: dict[str, Callable[[SensorsDesk, Any, Any, Fields], str]] = {
    "listen": _listen,
    "listen as": _listen_as,
    "stop": _stop,
    "address": _address,
    "forget": _forget,
    "comma": _comma,
    "settings": _settings,
}


# -- the file --------------------------------------------------------------------------------------
def _save(sensors: SensorsDesk, name: Any, fields: Fields) -> str:
    state = sensors.store.state
    typed = "" if name != "as" else text_typed(fields.get("file"), "name", 80)
    if not typed and not state.file:
        raise CallFault("name", "is empty", "type a name for the file, such as launch")
    if name == "as" and not typed:
        raise CallFault("name", "is empty", "type another name for the file")
    outcome = sensors.outcome(state)
    if outcome.sensors is None or outcome.fault is not None:
        fault = outcome.fault
        raise CallFault(
            "not saved", f"{fault.place}: {fault.fault}" if fault else "there is no channel",
            fault.cure if fault else "touch a number first",
        )  # fmt: skip
    check_levels(outcome.sensors)
    called = sensors.store.save(typed, over_other=name == "over")
    said = [f"Saved as {called}.toml."]
    if outcome.no_place is not None:
        fault = outcome.no_place
        said.append(
            f"In the rig that is chosen it can't be used yet: {fault.place}: {fault.fault}."
        )
    else:
        said.append("It is the file of the next haul.")
    names = {one.name for one in outcome.sensors.channels}
    said += [f"{one}: {PULL_BACKWARD}." for one in state.backward if one in names]
    unsure = [one.name for one in outcome.sensors.channels if not one.states_u]
    if unsure:
        said.append(f"{', '.join(unsure)}: {NO_ACCURACY}.")
    return " ".join(said)


def _open(sensors: SensorsDesk, name: Any, fields: Fields) -> str:
    if not any(one.name == name for one in sensors.files().sensors):
        raise CallFault("file", "there is no such sensors file", "load the page again")
    sensors.store.open_file(name)
    choose(sensors.desk, sensors=name)
    sensors.watch.look_now()
    return ""


def _new(sensors: SensorsDesk, _: Any, fields: Fields) -> str:
    sensors.store.begin_new()
    return ""


def _take_file(sensors: SensorsDesk, _: Any, fields: Fields) -> str:
    sensors.store.take_file()
    return "This is the file as it is on disk; Undo brings the changes back."


def _rig(sensors: SensorsDesk, name: Any, fields: Fields) -> str:
    if not isinstance(name, str):
        raise CallFault("rig", "is no name", "load the page again")
    choose(sensors.desk, rig=name)
    sensors.store.change(lambda state: replace(state))
    return ""


_FILE_ACTS: dict[str, Callable[[SensorsDesk, Any, Fields], str]] = {
    "save": _save,
    "open": _open,
    "new": _new,
    "take file": _take_file,
    "rig": _rig,
}


# -- the draft -------------------------------------------------------------------------------------
Edited = SensorsState | tuple[SensorsState, str]
Pair = tuple[Any, Any]


def _name(sensors: SensorsDesk, state: SensorsState, name: Any) -> str:
    """The name of a channel that is there; raises CallFault."""
    sensors.row(state, name)
    return str(name)


def _ask(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    """Open a question about a channel."""
    name, kind = _name(sensors, state, pair[0]), pair[1]
    if kind not in CHANNEL_QUESTIONS:
        raise CallFault("question", "is none of this page", "load the page again")
    quantity = str(sensors.row(state, name).get("quantity", ""))
    return replace(state, step=OpenStep(kind=kind, channel=name, quantity=quantity))


def _undo(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    return replace(state, draft=state.draft.undo(), step=OpenStep())


def _redo(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    return replace(state, draft=state.draft.redo(), step=OpenStep())


def _zero(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    name = _name(sensors, state, pair[0])
    made, said = channel_acts.take_zero(
        sensors, state, name, sensors.desk.units, anyway=pair[1] == "anyway"
    )
    return (channel_acts.next_step(sensors, made) if state.step.kind == "zero" else made), said


def _levels(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    name = _name(sensors, state, pair[0])
    return replace(channel_acts.set_levels(sensors, state, name, fields), step=OpenStep())


def _good(sensors: SensorsDesk, state: SensorsState, pair: Pair, fields: Fields) -> Edited:
    name = _name(sensors, state, pair[0])
    made = channel_acts.set_goodness(sensors, state, name, fields.get("good"))
    return replace(made, step=OpenStep(kind="change", channel=name))


_EDITS: dict[str, Callable[[SensorsDesk, SensorsState, Pair, Fields], Edited]] = {
    "number": lambda s, state, pair, f: number_acts.touch_number(s, state, *pair),
    "what": lambda s, state, pair, f: number_acts.answer_what(s, state, pair[0]),
    "unit": lambda s, state, pair, f: number_acts.answer_unit(s, state, pair[0]),
    "count": lambda s, state, pair, f: number_acts.answer_count(s, state, f.get("count")),
    "count later": lambda s, state, pair, f: number_acts.answer_count(s, state, None),
    "where": lambda s, state, pair, f: number_acts.answer_where(s, state, pair[0], None),
    "touched": lambda s, state, pair, f: number_acts.answer_where(s, state, None, pair[0]),
    "close": lambda s, state, pair, f: replace(state, step=OpenStep()),
    "ask": _ask,
    "next": lambda s, state, pair, f: channel_acts.next_step(s, state),
    "pull again": lambda s, state, pair, f: replace(state, step=replace(state.step, size=0.0, size_text="")),
    "turn": lambda s, state, pair, f: channel_acts.turn_round(s, state, _name(s, state, pair[0])),
    "weighed": lambda s, state, pair, f: channel_acts.weigh_pull(
        s, state, _name(s, state, pair[0]), f.get("weighed")
    ),
    "take unit": lambda s, state, pair, f: channel_acts.take_unit(
        s, state, _name(s, state, pair[0]), pair[1]
    ),
    "zero": _zero,
    "point": lambda s, state, pair, f: channel_acts.take_point(
        s, state, _name(s, state, pair[0]), f.get("point"), nothing=False
    ),
    "nothing": lambda s, state, pair, f: channel_acts.take_point(
        s, state, _name(s, state, pair[0]), None, nothing=True
    ),
    "drop point": lambda s, state, pair, f: channel_acts.drop_point(state, *pair),
    "use scale": lambda s, state, pair, f: channel_acts.use_scale(s, state, _name(s, state, pair[0])),
    "use curve": lambda s, state, pair, f: channel_acts.use_curve(s, state, _name(s, state, pair[0])),
    "no calibration": lambda s, state, pair, f: channel_acts.without_calibration(
        s, state, _name(s, state, pair[0])
    ),
    "levels": _levels,
    "good": _good,
    "rename": lambda s, state, pair, f: channel_acts.rename(
        s, state, _name(s, state, pair[0]), f.get("name")
    ),
    "take out": lambda s, state, pair, f: channel_acts.take_out(s, state, _name(s, state, pair[0])),
    "undo": _undo,
    "redo": _redo,
}  # fmt: skip
