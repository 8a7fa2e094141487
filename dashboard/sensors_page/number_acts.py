"""What an answer about a touched number does: what it is, its unit, and where it sits make it a channel."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from analysis.sensors_edit.channel_edits import AddChannel, SetKeys
from dashboard.sensors_page.sensors_desk import SensorsDesk
from dashboard.sensors_page.sensors_store import OpenStep, SensorsState
from dashboard.sensors_page.spots import known_spot, touched_spot
from dashboard.sensors_page.typed import count_size_typed
from logger.device_units import COUNT, units_for
from logger.errors import CallFault
from logger.listening.channel_toml import channel_rows
from logger.listening.number_series import NumberSeries

QUANTITIES = ("force", "length")
_NAMES = {
    ("force", "haul"): "haul_force", ("length", "haul"): "haul_rope",
    ("force", "load"): "load_force", ("length", "load"): "load_way",
}  # fmt: skip
# what comes before the place of a number, by the question that is open: fault and cure
_BEFORE_WHERE = {
    "": ("needs a number first", "touch a number in the lines, and say what it tells and its unit"),
    "what": ("comes after what the number tells", "choose a force or a length first"),
    "unit": ("comes after the unit", "choose the unit first"),
    "count": ("comes after the size of one count", "type it, or choose Not known"),
}


def series_at(sensors: SensorsDesk, port: Any, place: Any) -> NumberSeries:
    """A number of a port's lines; raises CallFault where it is not there."""
    heard = sensors.heard(port)
    understood = None if heard is None else heard.news().understood
    for one in () if understood is None else understood.series:
        if one.place == place:
            return one
    raise CallFault("number", "is not heard any more", "listen to the port, and touch it again")


def touch_number(sensors: SensorsDesk, state: SensorsState, port: Any, place: Any) -> SensorsState:
    """A number was touched: the first question about it, or the channel that it is already."""
    series_at(sensors, port, place)
    heard = sensors.heard(port)
    assert heard is not None and isinstance(place, str)
    for row in sensors.rows(state):
        if sensors.heard(row.get("port")) is heard and sensors.place_of(row) == place:
            return replace(state, step=OpenStep(kind="change", channel=str(row.get("name", ""))))
    return replace(state, step=OpenStep(kind="what", port=heard.port, place=place))


def answer_what(sensors: SensorsDesk, state: SensorsState, quantity: Any) -> SensorsState:
    """It is a force, or a length."""
    if quantity not in QUANTITIES:
        raise CallFault("what is it", "is neither force nor length", "choose one of them")
    if state.step.kind != "what":
        raise CallFault("what is it", "is not asked now", "look at the page again")
    step = replace(state.step, kind="unit", quantity=quantity)
    if not step.channel:
        return replace(state, step=step)
    row = sensors.row(state, step.channel)
    if row.get("quantity") == quantity:
        return replace(state, step=replace(step, kind="change"))
    return replace(state, step=step)


def answer_unit(sensors: SensorsDesk, state: SensorsState, unit: Any) -> SensorsState:
    """It is in this unit."""
    step = state.step
    if step.quantity not in QUANTITIES or unit not in units_for(step.quantity):
        raise CallFault("unit", "is none for this", "choose one of the buttons")
    if not step.channel:
        shown = series_at(sensors, step.port, step.place).unit
        if shown is not None and shown != unit:
            raise CallFault(
                "unit", f"the device writes {shown} behind the number", f"choose {shown}"
            )
        kind = "count" if unit == COUNT else "where"
        return replace(state, step=replace(step, kind=kind, unit=unit))
    shown = shown_unit(sensors, state, step)
    if shown is not None and shown != unit:
        raise CallFault("unit", f"the device writes {shown} behind the number", f"choose {shown}")
    if unit == COUNT:
        return replace(state, step=replace(step, kind="count", unit=unit))
    return _unit_of_channel(sensors, state, unit, None)


def shown_unit(sensors: SensorsDesk, state: SensorsState, step: OpenStep) -> str | None:
    """The unit that the device writes behind a number or a channel's number; None where it shows none."""
    port, place = step.port, step.place
    if step.channel:
        row = sensors.row(state, step.channel)
        port, place = str(row.get("port")), sensors.place_of(row) or ""
    try:
        return series_at(sensors, port, place).unit
    except CallFault:
        return None


def answer_count(sensors: SensorsDesk, state: SensorsState, typed: Any) -> SensorsState:
    """One count is so many newtons or metres; nothing typed: that is not known yet."""
    size = count_size_typed(typed)
    step = state.step
    if step.kind != "count" or step.quantity not in QUANTITIES:
        raise CallFault("one count", "is not asked now", "look at the page again")
    if size is not None and size[1] != step.quantity:
        raise CallFault(
            "one count", f"is a {size[1]}, and the number is a {step.quantity}", "type anew"
        )
    scale = 0.0 if size is None else size[0]
    if step.channel:
        return _unit_of_channel(sensors, state, COUNT, scale or None)
    return replace(state, step=replace(step, kind="where", scale=scale))


def _unit_of_channel(
    sensors: SensorsDesk, state: SensorsState, unit: str, scale: float | None
) -> SensorsState:
    """The state with another quantity and unit of a channel; what hangs on the old one is taken out."""
    step = state.step
    row = sensors.row(state, step.channel)
    values: dict[str, Any] = {"unit": unit, "quantity": step.quantity}
    if row.get("unit") == COUNT or unit == COUNT:
        values["scale"] = scale
    if row.get("quantity") != step.quantity:
        values |= dict.fromkeys(
            ("scale", "modulus", "warn_at", "stop_at", "capacity", "u", "calibration", "zero")
        )
        if scale is not None:
            values["scale"] = scale
        place = known_spot_or_haul(sensors, step.quantity, row.get("at"))
        values["at"] = place
    draft = state.draft.make(SetKeys(step.channel, values))
    return replace(state, draft=draft, step=OpenStep(kind="change", channel=step.channel))


def known_spot_or_haul(sensors: SensorsDesk, quantity: str, at: Any) -> str:
    """The place if the quantity can be measured there, else the haul."""
    try:
        return known_spot(sensors.rig(), quantity, at)
    except CallFault:
        return "haul"


def answer_where(sensors: SensorsDesk, state: SensorsState, at: Any, touched: Any) -> SensorsState:
    """It sits there: the number is a channel now.  touched: what was touched on the drawing; None: `at` holds."""
    step, rig = state.step, sensors.rig()
    quantity = step.quantity
    if step.channel:
        quantity = str(sensors.row(state, step.channel).get("quantity"))
    elif step.kind in _BEFORE_WHERE:
        raise CallFault("where it sits", *_BEFORE_WHERE[step.kind])
    if quantity not in QUANTITIES:
        raise CallFault("where", "is not asked now", "look at the page again")
    at = known_spot(rig, quantity, at) if touched is None else touched_spot(rig, quantity, touched)
    if step.channel:
        draft = state.draft.make(SetKeys(step.channel, {"at": at}))
        return replace(state, draft=draft, step=OpenStep(kind="change", channel=step.channel))
    return _made_channel(sensors, state, at)


def _made_channel(sensors: SensorsDesk, state: SensorsState, at: str) -> SensorsState:
    """The state with the channel that reads the touched number."""
    step = state.step
    heard = sensors.heard(step.port)
    stand_in = "N" if step.quantity == "force" else "m"  # the lines say counts by no word
    unit = stand_in if step.unit == COUNT else step.unit
    understood = None if heard is None else heard.understanding({step.place: unit})
    proven = next(
        (c for c in (understood.channels if understood else ()) if c.channel.place == step.place),
        None,
    )
    if heard is None or understood is None or proven is None:
        raise CallFault(
            "number",
            "is not read alike from all lines yet",
            "listen a little longer, and touch it again",
        )
    name = free_name(sensors, state, step.quantity, at)
    proposed = replace(proven.channel, name=name, quantity=step.quantity, unit=step.unit)
    values: dict[str, Any] = {
        key: value
        for key, value in channel_rows(proposed, understood.port, at)
        if value is not None
    }
    if step.unit == COUNT and step.scale:
        values["scale"] = step.scale
    draft = state.draft.make(AddChannel(tuple(values.items())))
    return replace(state, draft=draft, step=OpenStep(kind="pull", channel=name))


def free_name(sensors: SensorsDesk, state: SensorsState, quantity: str, at: str) -> str:
    """A name for a channel, after what it measures and where, which no other has."""
    plain = re.sub(r"[^A-Za-z0-9]+", "_", at).strip("_")[:40] or "place"
    base = _NAMES.get((quantity, at), f"{quantity}_{plain}")
    taken = {row.get("name") for row in sensors.rows(state)}
    name, number = base, 1
    while name in taken:
        number += 1
        name = f"{base}_{number}"
    return name
