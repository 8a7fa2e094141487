"""From a touch to the new view of the page: two Dash callbacks, one for those who look, one for the operator.

The gate lets each callback through by its role; the callback that changes something checks the role again.
One call may tell of several touches; each of them is done, see `web.touches`.
"""

from __future__ import annotations

import json
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update

from dashboard.sensors_page import layout
from dashboard.sensors_page.acts import act_values, done
from dashboard.sensors_page.channel_acts import fault_said
from dashboard.sensors_page.live_feed import live_feed
from dashboard.sensors_page.sensors_desk import SensorsDesk
from dashboard.sensors_page.sensors_view import sensors_view
from dashboard.web.dash_page import operator_alone, role_now
from dashboard.web.gate import OPERATOR, VIEWER
from dashboard.web.touches import TOUCHES, TouchLog
from logger.errors import UserFault

# what both callbacks write, in the order of `_parts`
PARTS = (
    ("version", "data"), ("live", "data-live"), ("status", "children"), ("hand", "children"),
    ("step", "children"), ("step", "hidden"), ("channels", "children"), ("file", "children"),
    ("address", "children"), ("said", "children"),
)  # fmt: skip


def register(app: Dash, sensors: SensorsDesk) -> dict[str, str]:
    """Add the callbacks to an application; returns the role of each, by its registered output key."""
    before = set(app.callback_map)
    log = TouchLog()

    @app.callback(  # type: ignore[untyped-decorator]
        [Output(i, p) for i, p in PARTS],
        Input("look", "n_intervals"), Input("width", "data"),
        State("version", "data"),
    )  # fmt: skip
    def look(turn: Any, width: Any, version: Any) -> Any:
        """The page as it is, for whoever looks; only what runs by where nothing else is new."""
        del turn
        wider = "width" in _triggers() and sensors.store.state.step.kind == "where"
        if version == sensors.store.state.version and not wider:
            return _only(("live", "data-live"), _live(sensors))
        return [*_parts(sensors, width), no_update, no_update]

    looking = set(app.callback_map) - before

    @app.callback(  # type: ignore[untyped-decorator]
        [Output(i, p, allow_duplicate=True) for i, p in PARTS],
        Input(TOUCHES, "data"),
        State({"type": "field", "name": ALL, "act": ALL}, "value"),
        State("width", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def change(touches: Any, states: Any, width: Any) -> Any:
        """The page after what the operator did."""
        operator_alone()
        acts = [identity.get("act") for identity, _ in log.fresh(touches)]
        if not acts:
            return [no_update] * len(PARTS)
        fields = _fields(ctx.states_list[0])
        version = sensors.store.state.version
        said = [text for one in acts if (text := _did(sensors, one, fields))]
        sentence = " ".join(dict.fromkeys(said))
        if sentence and sensors.store.state.version == version:
            return _only(("said", "children"), sentence)  # what was typed stays where it is
        empty = layout.address() if any(_verb(one) == "address" for one in acts) else no_update
        return [*_parts(sensors, width), empty, sentence]

    changing = set(app.callback_map) - before - looking
    return dict.fromkeys(looking, VIEWER) | dict.fromkeys(changing, OPERATOR)


def _only(which: tuple[str, str], value: Any) -> list[Any]:
    """An answer that changes this part alone."""
    return [value if one == which else no_update for one in PARTS]


def _live(sensors: SensorsDesk) -> str:
    return json.dumps(live_feed(sensors, sensors.store.state, role_now() == OPERATOR))


def _verb(one: Any) -> Any:
    """What an act is called; None for none of this page."""
    try:
        return act_values(one)[0]
    except UserFault:
        return None


def _did(sensors: SensorsDesk, one: Any, fields: dict[str, Any]) -> str:
    """Do one act; what is to be said about it."""
    try:
        return done(sensors, act_values(one), fields)
    except UserFault as fault:
        return fault_said(fault)


def _triggers() -> set[str]:
    """The names of the components that this call is about."""
    return {str(entry.get("prop_id", "")).rpartition(".")[0] for entry in ctx.triggered}


def _fields(states: Any) -> dict[str, Any]:
    """What stands in the fields, by name."""
    fields: dict[str, Any] = {}
    for state in states if isinstance(states, list) else []:
        identity = state.get("id") if isinstance(state, dict) else None
        name = identity.get("name") if isinstance(identity, dict) else None
        if isinstance(name, str):
            fields[name] = state.get("value")
    return fields


def _parts(sensors: SensorsDesk, width: Any) -> list[Any]:
    """The values of `PARTS` but the last two, as they are now."""
    shown = sensors_view(sensors, width if type(width) is int else 0)
    return [
        shown.version, _live(sensors), shown.status, layout.hand(shown), layout.step(shown.asked),
        shown.asked is None, layout.channels(shown), layout.file(shown),
    ]  # fmt: skip
