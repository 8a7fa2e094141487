"""Makes channels and open questions of a capture: what `haul listen` says of a device."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from logger.device_units import COUNT, FORCE_UNITS, LENGTH_UNITS
from logger.listening.capture import Answers, Capture, Remark
from logger.listening.channel_toml import PortKeys, ProposedChannel, channel_text
from logger.listening.keyed_series import (
    are_objects,
    are_sentences,
    object_series,
    sentence_series,
)
from logger.listening.line_splitting import line_end, lines_of, raw_lines, stated_end
from logger.listening.number_series import (
    NumberSeries,
    channel_name,
    remark,
    restart_modulus,
    time_unit,
)
from logger.listening.proof import read_capture
from logger.listening.text_series import plain_series

SHOWN = 20  # interface section 7: lines and values, the last ones at most
# share of the lines that a channel must read; chosen by us: noise may hit some
LEAST_READ = 0.8
MOST_BYTES = 60_000  # of a capture that are looked at; speed only
EVERY_S = 0.2  # of a proposed question; chosen by us: slow buses can follow


@dataclass(frozen=True)
class UnderstoodChannel:
    """A channel that was found, with what it read."""

    channel: ProposedChannel  # as proposed
    toml: str  # its table
    values: tuple[float, ...]  # the last SHOWN readings, in its unit

    @property
    def understood(self) -> bool:
        """Whether its unit is certain, so that it can be recorded."""
        return self.channel.unit is not None


@dataclass(frozen=True)
class Understanding:
    """What is understood of a device."""

    end: str | None  # what ends a line, see `line_splitting.line_end`
    lines: tuple[bytes, ...]  # the last SHOWN lines as they came, with their ends
    lines_per_s: float | None  # rate of the lines; None where too few came
    channels: tuple[UnderstoodChannel, ...]  # in the order in which they stand in the line
    unclear: tuple[Remark, ...]  # what a person must say
    remarks: tuple[Remark, ...]  # what is worth knowing
    port: PortKeys  # what all channels state
    series: tuple[NumberSeries, ...] = ()  # every number of the lines, whether understood or not

    @property
    def understood(self) -> tuple[UnderstoodChannel, ...]:
        """The channels that can be recorded."""
        return tuple(one for one in self.channels if one.understood)

    def beside(self, taken: Collection[str]) -> Understanding:
        """The same with channels of other names where one is taken."""
        names, channels = set(taken), []
        for one in self.channels:
            name, number = one.channel.name, 1
            while name in names:
                number += 1
                name = f"{one.channel.name}_{number}"
            names.add(name)
            renamed = replace(one.channel, name=name)
            channels.append(replace(one, channel=renamed, toml=channel_text(renamed, self.port)))
        return replace(self, channels=tuple(channels))

    def file_text(self) -> str:
        """A sensors file of all channels that can be recorded."""
        return "\n".join(one.toml for one in self.understood)


def understand(capture: Capture, answers: Answers | None = None) -> Understanding:
    """What the lines of a capture hold; answers: what a person has said so far."""
    answers = answers or Answers()
    capture = capture.latest(MOST_BYTES)
    end = line_end(capture)
    lines = lines_of(capture, end)
    port = PortKeys(
        port=capture.port,
        baud=capture.baud,
        framing=capture.framing,
        ends=stated_end(end),
        ask=capture.ask,
        every_s=EVERY_S,
    )
    series, unclear = _series(lines, answers)
    remarks = [one for one in unclear if one.code == "other_transducer"]
    unclear = [one for one in unclear if one.code != "other_transducer"]
    took_s = capture.pieces[-1].to_s - capture.pieces[0].to_s if capture.pieces else 0.0
    times = {one.place: unit for one in series if (unit := time_unit(one, took_s)) is not None}
    time_notes = [
        f'{next(iter(one.time_keys))} = {_quoted(one)}, time_unit = "{times[one.place]}": '
        "the device's own time, if it is one"
        for one in series
        if one.place in times
    ]
    shows_unit = any(one.unit is not None for one in series)
    proposals: list[ProposedChannel] = []
    for one in series:
        if one.place in times and one.place not in answers.units:
            remarks.append(remark("device_time", one, unit=times[one.place]))
        elif one.place in answers.left_out:
            continue
        elif one.unit == COUNT and one.place not in answers.units:
            unclear.append(remark("counts", one))
        elif one.steady and one.unit is None and shows_unit and one.place not in answers.units:
            remarks.append(remark("steady", one))
        elif one.other and one.unit is None and one.place not in answers.units:
            flag = len(one.other) == 1 and one.other.isupper()
            (unclear if flag else remarks).append(remark("flag" if flag else "other_unit", one))
        else:
            proposals.append(_proposal(one, answers, time_notes, [p.name for p in proposals]))
    channels, failed = _proved(proposals, series, capture, port)
    unclear += [
        remark("no_unit", _of(series, c.channel.place)) for c in channels if not c.understood
    ]
    remarks += failed
    return Understanding(
        end=end,
        lines=tuple(raw_lines(capture, end)[-SHOWN:]),
        lines_per_s=_rate(capture, lines),
        channels=tuple(channels),
        unclear=tuple(unclear),
        remarks=tuple(remarks),
        port=port,
        series=tuple(series),
    )


def heard_numbers(capture: Capture, answers: Answers | None = None) -> tuple[NumberSeries, ...]:
    """Every number of the lines of a capture, in their order; no channel is made of them."""
    capture = capture.latest(MOST_BYTES)
    return tuple(_series(lines_of(capture, line_end(capture)), answers or Answers())[0])


def _series(lines: Sequence[bytes], answers: Answers) -> tuple[list[NumberSeries], list[Remark]]:
    """The numbers of the lines by their format."""
    if not lines:
        return [], []
    if are_sentences(lines):
        return sentence_series(lines)
    if are_objects(lines):
        return object_series(lines)
    return plain_series(lines, answers)


def _proposal(
    series: NumberSeries, answers: Answers, notes: Sequence[str], names: Sequence[str]
) -> ProposedChannel:
    """The channel that is to read a series, with the first of its candidates."""
    unit = answers.units.get(series.place, series.unit)
    more = answers.keys.get(series.place, {})
    quantity = series.quantity or _quantity(unit)
    if unit == COUNT:
        quantity = str(more.get("quantity", "")) or None
    modulus = restart_modulus(series)
    if modulus is not None:
        notes = [*notes, f"modulus = {modulus}: the counter seems to start again there"]
    keys = {**series.candidates[0], **{k: v for k, v in more.items() if k != "quantity"}}
    return ProposedChannel(
        place=series.place,
        name=channel_name(series.hint, quantity, names),
        quantity=quantity,
        unit=unit,
        keys=keys,
        expected=series.texts,
        notes=tuple(notes),
    )


def _quantity(unit: str | None) -> str | None:
    if unit in FORCE_UNITS:
        return "force"
    return "length" if unit in LENGTH_UNITS else None


def _proved(
    proposals: Sequence[ProposedChannel],
    series: Sequence[NumberSeries],
    capture: Capture,
    port: PortKeys,
) -> tuple[list[UnderstoodChannel], list[Remark]]:
    """The channels that read what the lines hold, each with the candidate that does; the others are
    told."""
    chosen: list[UnderstoodChannel] = []
    failed: list[Remark] = []
    for one in proposals:
        of_series = _of(series, one.place)
        more = {k: v for k, v in one.keys.items() if k not in of_series.candidates[0]}
        for keys in of_series.candidates:
            tried = replace(one, keys={**keys, **more})
            values = _read(tried, capture, port)
            if values is not None:
                chosen.append(UnderstoodChannel(tried, channel_text(tried, port), values))
                break
        else:
            failed.append(remark("not_proved", of_series))
    together = [one for one in chosen if one.understood]
    if len(together) > 1:
        together_read = read_capture("\n".join(one.toml for one in together), capture)
        if together_read.fault or any(
            not _agrees(together_read.readings[one.channel.name], one.channel.expected)
            for one in together
        ):
            failed.append(Remark("not_together", {"fault": together_read.fault}))
    return chosen, failed


def _read(channel: ProposedChannel, capture: Capture, port: PortKeys) -> tuple[float, ...] | None:
    """The last values that a channel reads from the capture; None if they are not those of the lines.

    A channel without a unit is read as if it had one.
    """
    tried = channel
    if channel.unit is None:
        tried = replace(channel, unit="N", quantity="force")
    elif channel.quantity is None:
        tried = replace(channel, quantity="force")
    proved = read_capture(channel_text(tried, port), capture)
    taken = proved.readings.get(channel.name, ())
    if proved.fault or not taken or not _agrees(taken, channel.expected):
        return None
    if proved.dropped > (1.0 - LEAST_READ) * proved.lines:
        return None
    return tuple(float(text) for text in taken[-SHOWN:])


def _agrees(taken: Sequence[str], expected: Sequence[str]) -> bool:
    """Whether the readings are the expected ones, in their order, of which few may be missing."""
    rest = iter([float(text) for text in expected])
    inside = all(any(value == one for one in rest) for value in map(float, taken))
    return inside and len(taken) >= LEAST_READ * (len(expected) - 1) and bool(taken)


def _of(series: Sequence[NumberSeries], place: str) -> NumberSeries:
    return next(one for one in series if one.place == place)


def _quoted(series: NumberSeries) -> str:
    value = next(iter(series.time_keys.values()))
    return f'"{value}"' if isinstance(value, str) else str(value)


def _rate(capture: Capture, lines: Sequence[bytes]) -> float | None:
    """Lines a second over the time in which they came; None where too few came."""
    if len(lines) < 2 or not capture.pieces:
        return None
    took_s = capture.pieces[-1].to_s - capture.pieces[0].to_s
    return round((len(lines) - 1) / took_s, 2) if took_s > 0.0 else None
