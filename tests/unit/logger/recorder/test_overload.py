"""What a device tells as an overload is kept in rejects, told as saturated, and an alarm until a number comes."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from support.channels import channel
from support.rigs import STRAIGHT_PULL
from support.waiting import until
from support.yard import Yard, recording, silent_wire

from analysis.live.channel_track import Track
from analysis.review.review import review_session
from logger.channels.sensors_file import parse_sensors
from logger.session.records import ChannelReadings

CELL = channel("cell", "force", format="text", unit="kg", port="{}", baud=9600)


def test_an_overload_is_a_reject_a_saturated_event_and_an_alarm(tmp_path: Path) -> None:
    yard = Yard(tmp_path, rig=STRAIGHT_PULL)
    device = yard.pty()
    yard.write(CELL.replace("{}", device.url))
    with recording(yard) as running:
        silent_wire()
        device.send(b"12.5 kg\r")
        until(lambda: yard.values() == [12.5])
        device.send(b"   OL  kg\r" * 3)
        until(lambda: "alarm" in yard.kinds())
        device.send(b"13.5 kg\r")
        until(lambda: yard.kinds().count("alarm") == 2)
        running.end()
    yard.close()
    told = [(e.kind, e.channel, e.text.split(":")[0]) for e in yard.events()]
    assert ("saturated", "cell", "the device tells an overload in place of a number") in told
    assert [t for kind, _, t in told if kind == "alarm"] == ["stop", "clear"]
    with (yard.out / "rejects.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [(r["cause"], r["line"].strip()) for r in rows] == [
        ("overload: beyond the device's capacity", "OL  kg")
    ] * 3
    assert yard.values() == [12.5, 13.5]
    events = review_session(yard.out)["events"]
    assert [e["channel"] for e in events if e["kind"] == "saturated"] == ["cell"]


def test_the_live_page_shows_the_channel_as_saturated_until_a_later_reading() -> None:
    track = Track(parse_sensors(CELL, "s").channels[0])
    track.push(ChannelReadings(np.array([1.0]), np.array([5.0])))
    track.overload(2.0)
    assert track.saturated
    track.push(ChannelReadings(np.array([1.5]), np.array([5.0])))
    assert track.saturated
    track.push(ChannelReadings(np.array([2.5]), np.array([5.0])))
    assert not track.saturated
