"""The plain table that the recorder judges alarms by: the rig's limits as levels of force cells.

A rated part that a cell measures is judged by that cell.  Of all others the one that reaches its
limit first sets the stop level of the haul cell: its force is taken frictionless, the most that it
can carry at a haul tension while hauling.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from analysis.mechanics.measured_parts import cells_of, measured_parts
from analysis.mechanics.model import Model, PartLoad, model
from analysis.messages.message import Message, UnitSystem, message, text_of
from analysis.prediction.predict import first_limit
from analysis.rig.rig import Rig
from logger.channels.channel import Channel, Sensors
from logger.recorder.alarms import HOLD_S, LEVELS, AlarmRow
from logger.session.records import Event


def limit_rows(rig: Rig, sensors: Sensors) -> tuple[AlarmRow, ...]:
    """The haul cell's row, where there is a cell and a rated part that the haul loads and no other
    cell measures; then for each cell the lowest limit of the parts that it measures."""
    rig_model = model(rig)
    hauls = ("haul", rig.stations[rig.haul].name)
    haul = next((c for c in sensors.channels if c.quantity == "force" and c.at in hauls), None)
    rows = []
    first = first_by_haul(rig_model, sensors.channels)
    if haul is not None and first is not None and first.limit_N is not None:
        rows.append(_row(haul, first, abs(first.ideal), first.limit_N))
    lowest: dict[str, AlarmRow] = {}
    for k, cells in cells_of(rig_model, sensors.channels).items():
        part = rig_model.parts[k]
        for cell in cells:
            if part.limit_N is None or cell is haul or not _reaches(cell, part):
                continue
            held = lowest.get(cell.name)
            if held is None or held.stop is None or part.limit_N < held.stop:
                lowest[cell.name] = _row(cell, part, 1.0, part.limit_N)
    return (*rows, *lowest.values())


def part_texts(rig_model: Model) -> dict[str, Message]:
    """By text of an `alarm` or `ack` row of events.csv: what it says of a rated part.  The recorder,
    which knows no messages, has the text in SI."""
    said: dict[str, Message] = {}
    for part in rig_model.parts:
        if part.limit_N is not None:
            label = _label(part)
            told = [label, *(message("alarm_told", level=level, label=label) for level in LEVELS)]
            said |= {one.text(): one for one in told}
    return said


def recorded(event: Event, said: Mapping[str, Message], sensors: Sensors, units: UnitSystem) -> str:
    """A row of events.csv as people read it: as it was recorded, but an alarm of a rated part (said:
    `part_texts`) with its limit in these units, and every alarm with the value that it was told at."""
    if event.kind not in ("alarm", "ack"):
        return event.text
    text = text_of(said.get(event.text), units) or event.text
    channel = next((c for c in sensors.channels if c.name == event.channel), None)
    if event.value is None or channel is None:
        return text
    unit, form = ("N", ".0f") if channel.quantity == "force" else ("m", ".2f")
    return f"{text} ({' '.join(units.written(event.value, form, unit))})"


def first_by_haul(rig_model: Model, channels: Iterable[Channel]) -> PartLoad | None:
    """The rated part that reaches its limit at the lowest haul tension, of those that the haul cell
    judges; None where there is none."""
    return first_limit(judged_by_haul(rig_model, channels))


def judged_by_haul(rig_model: Model, channels: Iterable[Channel]) -> Model:
    """The model with those parts alone that no other cell measures up to their limit."""
    hauls = ("haul", rig_model.rig.stations[rig_model.rig.haul].name)
    others = cells_of(rig_model, (c for c in channels if c.at not in hauls))
    at_haul = measured_parts(rig_model, "haul")
    left = tuple(
        p for k, p in enumerate(rig_model.parts)
        if k in at_haul or not any(_reaches(cell, p) for cell in others.get(k, ()))
    )  # fmt: skip
    return replace(rig_model, parts=left)


def _reaches(cell: Channel, part: PartLoad) -> bool:
    """Whether the cell still reads at the part's limit: beyond its capacity it would raise no alarm."""
    return part.limit_N is None or cell.capacity is None or cell.capacity > part.limit_N


def _row(cell: Channel, part: PartLoad, gain: float, limit_N: float) -> AlarmRow:
    return AlarmRow(
        channel=cell.name,
        label=_label(part).text(),
        gain=gain,
        offset=0.0,
        caution=None,
        stop=limit_N,
        hold_s=HOLD_S,
    )


def _label(part: PartLoad) -> Message:
    return message("limit_of_a_part", name=part.name, why=part.why)
