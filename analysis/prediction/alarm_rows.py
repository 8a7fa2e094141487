"""Makes the alarm table of the recorder: the rig's limits as stop levels of force cells.

A rated part that a cell measures gets its limit as that cell's level.  A cell that measures the load also
judges all parts held and running back, by their share of the load force.  All else is judged by the haul
cell: the part that reaches its limit at the lowest haul tension, in any condition and anywhere in the job,
sets its stop level.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from analysis.mechanics.kinematics import TINY
from analysis.mechanics.load_cases import condition_names
from analysis.mechanics.measured_parts import cells_of, measured_parts
from analysis.mechanics.model import Model, PartLoad
from analysis.messages.message import Message, UnitSystem, message, text_of
from analysis.prediction.job_limits import (
    LATER,
    LimitLevel,
    job_models,
    levels_by_haul,
    levels_by_load,
    lowest,
)
from analysis.rig.rig import Rig
from logger.channels.channel import Channel, Sensors
from logger.recorder.alarms import HOLD_S, LEVELS, AlarmRow
from logger.session.records import Event


def limit_rows(rig: Rig, sensors: Sensors) -> tuple[AlarmRow, ...]:
    """Alarm rows for a rig and its channels, levels in N.

    First the haul cell's row, if there is a haul cell and a rated part that no other cell judges; then,
    for each other cell, the part that it judges and that reaches its limit first.
    """
    rig_model = job_models(rig)[0]
    hauls = ("haul", rig.stations[rig.haul].name)
    haul = next((c for c in sensors.channels if c.quantity == "force" and c.at in hauls), None)
    rows = []
    level = haul_cell_level(rig_model, sensors.channels)
    if haul is not None and level is not None:
        rows.append(_level_row(haul, level))
    by_cell: dict[str, AlarmRow] = {}
    for cell, row in _cell_rows(rig_model, sensors.channels, haul):
        held = by_cell.get(cell.name)
        if held is None or _at(row) < _at(held) * (1 - TINY):
            by_cell[cell.name] = row
    return (*rows, *by_cell.values())


def haul_cell_level(rig_model: Model, channels: Iterable[Channel]) -> LimitLevel | None:
    """The stop level of all that the haul cell judges; None where that is nothing rated."""
    channels = tuple(channels)
    hauls = ("haul", rig_model.rig.stations[rig_model.rig.haul].name)
    others = cells_of(rig_model, (c for c in channels if c.at not in hauls))
    at_haul = measured_parts(rig_model, "haul")
    models = job_models(rig_model.rig)
    own = {
        k for k, one in enumerate(rig_model.parts)
        if one.limit_N is not None and k not in at_haul
        and any(_reaches(cell, one.limit_N) for cell in others.get(k, ()))
    }  # fmt: skip
    by_load = levels_by_load(models)
    on_load = others.get(_load_part(rig_model), ())
    return lowest(
        level for key, level in levels_by_haul(models).items()
        if key[0] not in own
        and not (key in by_load and any(_reaches(cell, by_load[key].level_N) for cell in on_load))
    )  # fmt: skip


def _load_part(rig_model: Model) -> int:
    """Index of the load into `Model.parts`."""
    return next(k for k, one in enumerate(rig_model.parts) if one.kind == "load")


def _cell_rows(
    rig_model: Model, channels: Iterable[Channel], haul: Channel | None
) -> Iterator[tuple[Channel, AlarmRow]]:
    """Each cell other than the haul cell, with each alarm row that it may judge."""
    measured = cells_of(rig_model, channels)
    for k, cells in measured.items():
        part_load = rig_model.parts[k]
        for cell in cells:
            if (
                part_load.limit_N is not None
                and cell is not haul
                and _reaches(cell, part_load.limit_N)
            ):
                yield cell, _own_row(cell, part_load, part_load.limit_N)
    for level in levels_by_load(job_models(rig_model.rig)).values():
        for cell in measured.get(_load_part(rig_model), ()):
            if cell is not haul and _reaches(cell, level.level_N):
                yield cell, _level_row(cell, level)


def _at(row: AlarmRow) -> float:
    """The value of its channel at which a row that has a stop level stops, N or m."""
    return ((row.stop or 0.0) - row.offset) / row.gain


def late_cautions(
    sensors: Sensors, rows: Iterable[AlarmRow], labels: Mapping[str, Message]
) -> tuple[Message, ...]:
    """A warning for each channel whose caution can never come first: a stop level lies at or below it.

    rows: the whole alarm table; labels: from `part_texts`.
    """
    listed = [row for row in rows if row.stop is not None]
    late = []
    for channel in sensors.channels:
        stops = [row for row in listed if row.channel == channel.name]
        first = min(stops, key=_at, default=None)
        if channel.warn_at is None or first is None or channel.warn_at < _at(first):
            continue
        label: Message | str = labels.get(first.label, first.label)
        if first.label == channel.name:
            label = "stop_at"
        if channel.quantity == "force":
            late.append(
                message(
                    "caution_never_first_force", channel=channel.name, warn_N=channel.warn_at,
                    stop_N=_at(first), label=label,
                )
            )  # fmt: skip
        else:
            late.append(
                message(
                    "caution_never_first_length", channel=channel.name, warn_m=channel.warn_at,
                    stop_m=_at(first), label=label,
                )
            )  # fmt: skip
    return tuple(late)


def part_texts(rig_model: Model) -> dict[str, Message]:
    """By text of an `alarm` or `ack` row of events.csv, the message that it was written from.

    Covers alarms of rated parts, also in the wording of earlier recordings.  The recorder writes plain
    texts in SI; with the message the text can be shown in other units.
    """
    messages: dict[str, Message] = {}
    for part_load in rig_model.parts:
        if part_load.limit_N is not None:
            for label in _labels_in_conditions(rig_model, part_load):
                messages |= {one.text(): one for one in _told(label)}
            alarms = _alarms(part_load, part_load.why)
            for why in (_worded_before(part_load.why), part_load.why):
                messages |= {
                    one.text(): now
                    for one, now in zip(_alarms(part_load, why), alarms, strict=True)
                }
    return messages


def _alarms(part_load: PartLoad, why: Message | None) -> list[Message]:
    """The label of a part's alarm, and the alarm of each level, with this reason of the limit."""
    return _told(message("limit_of_a_part", name=part_load.name, why=why))


def _told(label: Message) -> list[Message]:
    """A label, and the alarm of each level with it."""
    return [label, *(message("alarm_told", level=level, label=label) for level in LEVELS)]


def _labels_in_conditions(rig_model: Model, part_load: PartLoad) -> list[Message]:
    """The labels that the alarm of the haul cell may have for a part: one a condition."""
    return [
        message(
            "limit_of_a_part_in",
            name=part_load.name,
            why=part_load.why,
            condition=condition,
            later=later,
        )
        for condition in condition_names(rig_model)
        for later in (("", LATER) if any(rig_model.rig.side_m) else ("",))
    ]


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
    `part_texts`), and the value that raised the alarm is appended.  A number that a person entered
    stands in front, in the unit in which it was entered.
    """
    if event.kind == "hand" and event.value is not None:
        unit = next((c.unit for c in sensors.channels if c.name == event.channel), "")
        return " ".join(filter(None, (event.channel, f"{event.value:.10g}", unit, event.text)))
    if event.kind not in ("alarm", "ack"):
        return event.text
    text = text_of(alarms.get(event.text), units) or event.text
    channel = next((c for c in sensors.channels if c.name == event.channel), None)
    if event.value is None or channel is None:
        return text
    unit, form = ("N", ".0f") if channel.quantity == "force" else ("m", ".2f")
    return f"{text} ({' '.join(units.written(event.value, form, unit))})"


def _reaches(cell: Channel, force_N: float) -> bool:
    """Whether this force is within the cell's capacity; beyond it the cell would raise no alarm."""
    return cell.capacity is None or cell.capacity > force_N


def _level_row(cell: Channel, level: LimitLevel) -> AlarmRow:
    """The alarm row of a cell for the part that sets its stop level; the level is in the cell's force."""
    label = message(
        "limit_of_a_part_in", name=level.part_load.name, why=level.part_load.why,
        condition=level.condition, later=LATER if level.later else "",
    )  # fmt: skip
    return AlarmRow(
        channel=cell.name,
        label=label.text(),
        gain=level.limit_N / level.level_N,
        offset=0.0,
        caution=None,
        stop=level.limit_N,
        hold_s=HOLD_S,
    )


def _own_row(cell: Channel, part_load: PartLoad, limit_N: float) -> AlarmRow:
    """The alarm row of a cell for a part that it measures."""
    return AlarmRow(
        channel=cell.name,
        label=message("limit_of_a_part", name=part_load.name, why=part_load.why).text(),
        gain=1.0,
        offset=0.0,
        caution=None,
        stop=limit_N,
        hold_s=HOLD_S,
    )
