"""Makes the alarm table of the recorder: the rig's limits as stop levels of force cells.

A rated part that a cell measures gets its limit as that cell's level.  Of all other parts, the one that
reaches its limit first sets the stop level of the haul cell, from its frictionless force: the most that
it can carry at a given haul tension while hauling.
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
    """Alarm rows for a rig and its channels, levels in N.

    First the haul cell's row, if there is a haul cell and a rated part that the haul loads and no other
    cell measures; then, for each other cell, the lowest limit of the parts that it measures.
    """
    rig_model = model(rig)
    hauls = ("haul", rig.stations[rig.haul].name)
    haul = next((c for c in sensors.channels if c.quantity == "force" and c.at in hauls), None)
    rows = []
    first = first_by_haul(rig_model, sensors.channels)
    if haul is not None and first is not None and first.limit_N is not None:
        rows.append(_row(haul, first, abs(first.ideal), first.limit_N))
    lowest: dict[str, AlarmRow] = {}
    for k, cells in cells_of(rig_model, sensors.channels).items():
        part_load = rig_model.parts[k]
        for cell in cells:
            if part_load.limit_N is None or cell is haul or not _reaches(cell, part_load):
                continue
            held = lowest.get(cell.name)
            if held is None or held.stop is None or part_load.limit_N < held.stop:
                lowest[cell.name] = _row(cell, part_load, 1.0, part_load.limit_N)
    return (*rows, *lowest.values())


def part_texts(rig_model: Model) -> dict[str, Message]:
    """By text of an `alarm` or `ack` row of events.csv, the message that it was written from.

    Covers alarms of rated parts, also in the wording of earlier recordings.  The recorder writes plain
    texts in SI; with the message the text can be shown in other units.
    """
    messages: dict[str, Message] = {}
    for part_load in rig_model.parts:
        if part_load.limit_N is not None:
            alarms = _alarms(part_load, part_load.why)
            for why in (_worded_before(part_load.why), part_load.why):
                messages |= {
                    one.text(): now
                    for one, now in zip(_alarms(part_load, why), alarms, strict=True)
                }
    return messages


def _alarms(part_load: PartLoad, why: Message | None) -> list[Message]:
    """The label of a part's alarm, and the alarm of each level, with this reason of the limit."""
    label = message("limit_of_a_part", name=part_load.name, why=why)
    return [label, *(message("alarm_told", level=level, label=label) for level in LEVELS)]


def _worded_before(why: Message | None) -> Message | None:
    """What sets a limit, in the wording of earlier recordings."""
    if why is not None and why.code == "knotted_strength":
        return message("knotted_strength_before", **why.values)
    if why is not None and why.code == "assumed_knot_strength":
        return message("assumed_knot_strength_before", **why.values)
    return why


def recorded(
    event: Event, alarms: Mapping[str, Message], sensors: Sensors, units: UnitSystem
) -> str:
    """Text of a row of events.csv in the reader's units.

    The text is as recorded, except for alarms: the limit of a rated part is converted (alarms: from
    `part_texts`), and the value that raised the alarm is appended.
    """
    if event.kind not in ("alarm", "ack"):
        return event.text
    text = text_of(alarms.get(event.text), units) or event.text
    channel = next((c for c in sensors.channels if c.name == event.channel), None)
    if event.value is None or channel is None:
        return text
    unit, form = ("N", ".0f") if channel.quantity == "force" else ("m", ".2f")
    return f"{text} ({' '.join(units.written(event.value, form, unit))})"


def first_by_haul(rig_model: Model, channels: Iterable[Channel]) -> PartLoad | None:
    """Of the parts that the haul cell judges, the rated one that reaches its limit at the lowest haul tension.

    None where there is no such part.
    """
    return first_limit(judged_by_haul(rig_model, channels))


def judged_by_haul(rig_model: Model, channels: Iterable[Channel]) -> Model:
    """A copy of the model with only the parts that no other cell measures up to their limit."""
    hauls = ("haul", rig_model.rig.stations[rig_model.rig.haul].name)
    others = cells_of(rig_model, (c for c in channels if c.at not in hauls))
    at_haul = measured_parts(rig_model, "haul")
    left = tuple(
        p for k, p in enumerate(rig_model.parts)
        if k in at_haul or not any(_reaches(cell, p) for cell in others.get(k, ()))
    )  # fmt: skip
    return replace(rig_model, parts=left)


def _reaches(cell: Channel, part_load: PartLoad) -> bool:
    """Whether the part's limit is within the cell's capacity; beyond it the cell would raise no alarm."""
    return part_load.limit_N is None or cell.capacity is None or cell.capacity > part_load.limit_N


def _row(cell: Channel, part_load: PartLoad, gain: float, limit_N: float) -> AlarmRow:
    """The alarm row of a cell for a part; gain: force on the part / reading of the cell."""
    return AlarmRow(
        channel=cell.name,
        label=_label(part_load).text(),
        gain=gain,
        offset=0.0,
        caution=None,
        stop=limit_N,
        hold_s=HOLD_S,
    )


def _label(part_load: PartLoad) -> Message:
    """Name of the part and what sets its limit."""
    return message("limit_of_a_part", name=part_load.name, why=part_load.why)
