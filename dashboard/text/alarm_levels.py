"""Writes alarm levels as text: in the reader's units, in SI, and as the device displays them."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.messages.message import Message, text_of
from dashboard.text.units import METRIC, Units
from logger.channels.channel import Channel, Sensors
from logger.errors import SensorsFault, one_line
from logger.recorder.alarms import AlarmRow

Labels = Mapping[
    str, Message
]  # recorded label of an alarm -> its sentence, by `part_texts` of the rigs


def check_levels(sensors: Sensors) -> None:
    """Raise SensorsFault if a device, with its zero, would read an alarm level beyond its
    capacity."""
    for channel in sensors.channels:
        for key, level in (("stop_at", channel.stop_at), ("warn_at", channel.warn_at)):
            if level is None or channel.capacity is None:
                continue
            reading = channel.reading_at(level)
            if reading is None or bool(channel.saturated(reading * (1 - 1e-9))):
                what = "no reading" if reading is None else f"read as {reading:.6g} {channel.unit}"
                raise SensorsFault(
                    sensors.file,
                    f"{key} = {level:g} is {what}, beyond the capacity {channel.capacity:g} "
                    "once the zero is counted", f"lower {key}, or take a larger cell",
                    f"channel {channel.name}",
                )  # fmt: skip


def level_text(channel: Channel, value_si: float, shown: Units) -> str:
    """One alarm level of a channel, value_si in N or m: in the units shown, in SI, as the device
    sends it."""
    si, own = (
        (u.force if channel.quantity == "force" else u.length)(value_si) for u in (METRIC, shown)
    )
    reading = channel.reading_at(value_si)
    device = "never read by the device" if reading is None else (
        f"the device sends {reading:.6g} {channel.unit}"
    )  # fmt: skip
    return f"{own} ({device})" if own == si else f"{own} ({si}; {device})"


def label_text(label: str, labels: Labels, shown: Units) -> str:
    """The label of a recorded alarm in these units; as it was recorded if it is not one of the
    rig's."""
    return one_line(text_of(labels[label], shown) if label in labels else label)


def row_text(row: AlarmRow, sensors: Sensors, labels: Labels, shown: Units) -> str:
    """One row of the alarm table as a sentence: each level as the channel reads it, and the force or
    length that it stands for on the part that the row protects."""
    channel = sensors.by_name(row.channel)
    same = (row.gain, row.offset) == (1.0, 0.0)
    levels = []
    for word, level in (("caution", row.caution), ("stop", row.stop)):
        if level is None:
            levels += [f"{word} none"] if same else []
            continue
        at = (level - row.offset) / row.gain
        text = level_text(channel, at, shown)
        if not same:
            on_part = (shown.force if channel.quantity == "force" else shown.length)(level)
            text = f"{text} of {row.channel} ({on_part} on it)"
        if channel.capacity is not None and at > channel.capacity:
            text += ", which is beyond the cell's capacity: the cell cannot read it"
        levels.append(f"{word} {text}" if same else f"{word} at {text}")
    label = label_text(row.label, labels, shown)
    return one_line(f"alarm {label}: {', '.join(levels)}")
