"""Makes all parts of the sensors page that only a touch changes, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.sensors_edit.sensors_draft import SensorsOutcome
from dashboard.sensors_page.acts import NO_ACCURACY, PULL_BACKWARD, act
from dashboard.sensors_page.questions import AskedChoice, OpenQuestion, asked
from dashboard.sensors_page.sensors_desk import SensorsDesk, said_of
from dashboard.sensors_page.sensors_store import SensorsState
from dashboard.sensors_page.spots import spot_text
from dashboard.sensors_page.typed import shown_port
from dashboard.text.alarm_levels import level_text
from dashboard.text.units import Units
from logger.channels.channel import Channel
from logger.errors import UserFault, one_line


@dataclass(frozen=True)
class ChannelRow:
    """One channel in the list."""

    name: str  # of the channel
    text: str  # what it measures, where and in which unit
    notes: tuple[str, ...]  # zero, scale, calibration, levels
    fault: str  # what is wrong with it, and the cure; "" for nothing
    change: AskedChoice  # the button that opens it


@dataclass(frozen=True)
class SensorsView:
    """The sensors page for one state."""

    version: int  # of the state
    status: str  # what the file holds
    asked: OpenQuestion | None  # the question that is open
    channels: tuple[ChannelRow, ...]  # in the order of the file
    fault: str  # what is wrong with the file as a whole; "" for nothing
    offers: tuple[AskedChoice, ...]  # about a file that another program changed
    files: tuple[AskedChoice, ...]  # the folder's sensors files, and a new one
    at_fault: tuple[str, ...]  # a line for each file of the folder that is at fault
    rigs: tuple[AskedChoice, ...]  # the folder's rigs, of which one is chosen
    rig: str  # title of the chosen rig; "" without one
    file: str  # name of the file; "" for a new one
    may_save: bool  # whether the file can be recorded with, and differs from the one on disk
    may_undo: bool  # whether there is a step to undo
    may_redo: bool  # whether there is a step to make again


def sensors_view(sensors: SensorsDesk, width: int) -> SensorsView:
    """The page as it is now.  width: of a drawing, px."""
    state = sensors.store.state
    outcome = sensors.outcome(state)
    rows = sensors.rows(state)
    changed = sensors.store.changed_on_disk()
    files = sensors.files()
    rig = sensors.rig_file(files)
    fault = outcome.fault or outcome.no_place
    named = False
    channels = []
    for k, row in enumerate(rows):
        mine = fault is not None and _names(fault, str(row.get("name", "")))
        named = named or mine
        own = fault if mine else None
        channels.append(_channel_row(k, row, outcome, own, sensors.desk.units, state.backward))
    whole = ""
    if fault is not None and not named and (rows or state.draft.text.strip()):
        whole = said_of(fault)
    return SensorsView(
        version=state.version,
        status=_status(state, changed),
        asked=asked(sensors, state, width),
        channels=tuple(channels),
        fault=whole,
        offers=(
            AskedChoice("Take the file as it is now", act("take file")),
            AskedChoice("Save over that change", act("save", "over")),
        ) if changed else (),
        files=_files(state, tuple(one.name for one in files.sensors)),
        at_fault=files.at_fault(rigs=False),
        rigs=tuple(
            AskedChoice(one.title, act("rig", one.name), rig is not None and one.name == rig.name)
            for one in files.rigs
        ),
        rig="" if rig is None else rig.title,
        file=state.file,
        may_save=outcome.fault is None and bool(rows) and state.changed,
        may_undo=len(state.draft.texts) > 1,
        may_redo=bool(state.draft.undone),
    )  # fmt: skip


def _names(fault: UserFault, name: str) -> bool:
    """Whether a fault is about the channel of this name."""
    place = fault.place
    return place == f"channel {name}" or place.startswith((f"channel {name}:", f"channel {name} "))


def _status(state: SensorsState, changed: bool) -> str:
    if changed:
        return "Another program changed the file since it was opened."
    if not state.file:
        return "a new file, not saved; the draft is kept" if state.changed else "a new file"
    called = f"{state.file}.toml"
    return f"{called}: not saved; the draft is kept" if state.changed else f"{called}: saved"


def _files(state: SensorsState, names: tuple[str, ...]) -> tuple[AskedChoice, ...]:
    made = [AskedChoice(f"{name}.toml", act("open", name), name == state.file) for name in names]
    return (*made, AskedChoice("A new file", act("new"), not state.file))


def _channel_row(
    index: int,
    row: dict[str, Any],
    outcome: SensorsOutcome,
    fault: UserFault | None,
    units: Units,
    backward: tuple[str, ...],
) -> ChannelRow:
    name = str(row.get("name", ""))
    quantity, at = str(row.get("quantity", "?")), str(row.get("at", "?"))
    where = spot_text(at, quantity) if quantity in ("force", "length") else at
    text = f"{quantity}: {where}; sends {row.get('unit', 'N or m')}; {shown_port(str(row.get('port', 'no port')))}"
    channel = None
    if outcome.sensors is not None:
        channel = next((one for one in outcome.sensors.channels if one.name == name), None)
    return ChannelRow(
        name=one_line(name, 60),
        text=one_line(text, 200),
        notes=(
            *((PULL_BACKWARD,) if name in backward else ()),
            *(() if channel is None else _notes(channel, units)),
        ),
        fault="" if fault is None else said_of(fault),
        change=AskedChoice("Change", act("ask", name, "change", index)),
    )


def _notes(channel: Channel, units: Units) -> tuple[str, ...]:
    notes = []
    if channel.zero:
        notes.append(f"zero {channel.zero:g} {channel.unit}")
    elif channel.quantity == "force" and channel.calibration is None:
        notes.append("no zero yet")
    if channel.scale != 1.0:
        notes.append(f"scale {channel.scale:.5g}")
    if channel.calibration_file is not None:
        notes.append(f"calibration {one_line(channel.calibration_file, 60)}")
    if channel.u_percent:
        notes.append(f"good to {channel.u_percent:g} %")
    elif not channel.states_u:
        notes.append(NO_ACCURACY)
    for word, level in (("caution", channel.warn_at), ("stop", channel.stop_at)):
        if level is not None:
            notes.append(f"{word} at {level_text(channel, level, units)}")
    return tuple(notes)
