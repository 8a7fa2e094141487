"""Writes the lines of the check that follow from the sensors file and from what its ports send now."""

from __future__ import annotations

import contextlib
import tomllib
from collections.abc import Mapping

from dashboard.check_page.check_line import CheckLine, CheckState
from dashboard.check_page.port_listener import Heard
from dashboard.text.units import Units, number
from logger.channels.channel import Channel, Sensors

SILENT_S = (
    4.0  # without a number before a channel counts as silent; chosen by us: some send once in 2 s
)


def alive_lines(
    sensors: Sensors, heard: Mapping[str, Heard], passed_s: float, units: Units
) -> tuple[CheckLine, ...]:
    """A line a channel: the number that it sends now, or why none comes.

    heard: by channel; empty: nobody listens.  passed_s: since the listening began, s.
    """
    return tuple(
        _alive(channel, heard.get(channel.name), passed_s, units) for channel in sensors.channels
    )


def _alive(channel: Channel, seen: Heard | None, passed_s: float, units: Units) -> CheckLine:
    """One channel of a device or of a hand."""
    key, title = f"alive {channel.name}", f"{channel.name} at {channel.at}"
    port = channel.port or "no port"
    if seen is not None and seen.by_hand:
        return CheckLine(
            key, title, CheckState.GOOD, "a person enters its numbers on the live page"
        )
    if seen is None:
        return CheckLine(
            key=key,
            title=title,
            state=CheckState.MISSING,
            text=f"not listened to ({port})",
            cure="touch Listen",
            cause="nobody listened to it",
        )
    silent_s = max(SILENT_S, channel.stale_after_s)
    if seen.readings and seen.age_s is not None and seen.age_s <= silent_s:
        rate = "" if seen.rate_Hz is None else f", {number(seen.rate_Hz)} a second"
        reading = f"{_value(channel, seen.last, units)} ({seen.last} {channel.unit} sent{rate})"
        if _saturated(channel, seen.last):
            return CheckLine(
                key=key,
                title=title,
                state=CheckState.MISSING,
                text=f"{reading}: beyond its capacity",
                cure="take the load off, or take a larger cell",
                cause="reads beyond its capacity",
            )
        return CheckLine(key, title, CheckState.GOOD, reading)
    if seen.fault:
        return _not_open(key, title, port, seen)
    if seen.listening and passed_s < silent_s:
        return CheckLine(key, title, CheckState.WAITING, f"listening to {port}")
    why = f"; lines are dropped: {seen.dropped}" if seen.dropped else ""
    return CheckLine(
        key=key,
        title=title,
        state=CheckState.MISSING,
        text=f"no number comes from {port}{why}",
        cure="switch the device on and look at its cable and rate",
        cause="sends no number",
    )


def _not_open(key: str, title: str, port: str, seen: Heard) -> CheckLine:
    """A channel whose port does not open: held by another program, not there, or refused by the system."""
    text, cure = f"{port} does not open: {seen.fault}", "choose its port on the Sensors page"
    cause = "its port does not open"
    if seen.held:
        text = f"another program has {port} open"
        cure = "close that program, or choose another port on the Sensors page"
        cause = "another program has its port open"
    elif seen.missing:
        text, cure = f"{port} is not there", f"plug the device in, or {cure}"
    return CheckLine(
        key=key, title=title, state=CheckState.MISSING, text=text, cure=cure, cause=cause
    )


def _value(channel: Channel, reading: str, units: Units) -> str:
    """A reading as its value, in the reader's units."""
    try:
        si = channel.si(float(reading))
    except ValueError:
        return reading
    return (units.force if channel.quantity == "force" else units.length)(si)


def _saturated(channel: Channel, reading: str) -> bool:
    with contextlib.suppress(ValueError):
        return bool(channel.saturated(float(reading)))
    return False


def zero_lines(sensors: Sensors) -> tuple[CheckLine, ...]:
    """A line a force channel: whether its zero was taken.  Lengths count from where they begin."""
    stated = {
        str(table.get("name", ""))
        for table in tomllib.loads(sensors.text).get("channel", [])
        if "zero" in table
    }
    return tuple(
        _zero(one, one.name in stated) for one in sensors.channels if one.quantity == "force"
    )


def _zero(channel: Channel, stated: bool) -> CheckLine:
    key, title = f"zero {channel.name}", f"Zero of {channel.name}"
    if stated:
        return CheckLine(key, title, CheckState.GOOD, f"taken: {channel.zero:g} {channel.unit}")
    return CheckLine(
        key=key,
        title=title,
        state=CheckState.MISSING,
        text="not taken: what the device sends with nothing on it counts as nought",
        cure="take it on the Sensors page, or with Zero on the live page while the rope is slack",
        cause="the zero was not taken",
    )


def bytes_per_s(sensors: Sensors, heard: Mapping[str, Heard]) -> float | None:
    """What the session's tables will grow by, bytes a second, from the rates heard; None: not known.

    A row of readings.csv is a time with six decimals, the channel and the number; clock.csv has four rows a
    second with two counts a channel.
    """
    if not any(seen.rate_Hz for seen in heard.values()):
        return None
    rows = sum(
        (seen.rate_Hz or 0.0) * (TIME_BYTES + len(name) + len(seen.last))
        for name, seen in heard.items()
    )
    return rows + CLOCK_HZ * (CLOCK_BYTES + COUNT_BYTES * len(sensors.channels))


TIME_BYTES = 16  # of a row: "12345.123456", two commas and the line's end
CLOCK_HZ = 4  # rows of clock.csv a second (interface section 4)
CLOCK_BYTES, COUNT_BYTES = 42, 12  # of a row of clock.csv: times; two counts of a channel
