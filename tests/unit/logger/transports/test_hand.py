"""Numbers that a person enters: through the inbox into the readings, at the moment of the touch."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from support.channels import channel
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import Yard, force, recording, serve_pty

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import SensorsFault
from logger.recorder.request_inbox import ask
from logger.session.reader import Event, read_all
from logger.session.verify import verify

HAND = channel("travel", "length", at="load", port="hand:", unit="ft")


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return Yard(tmp_path, HAND)


def answer(yard: Yard, **keys: object) -> Event:
    """Ask the recorder by a file in its inbox, as a page does; returns its row of events.csv."""
    count = len(list(yard.events()))
    asked = {"verb": "hand", "role": "operator", **keys}
    name = f"touch-{count}-{len(json.dumps(asked))}"
    inbox = yard.out / "inbox"
    (inbox / f".{name}").write_text(json.dumps(asked), "utf-8")
    (inbox / f".{name}").rename(inbox / f"{name}.json")
    return until(lambda: next((e for e in yard.events() if e.id == name), None))


def now_s(yard: Yard) -> float:
    return float(read_all(yard.out).clock[-1].time_s)


def test_a_number_is_a_reading_at_the_moment_of_the_touch(yard: Yard) -> None:
    """In the channel's unit, and in the events too."""
    with recording(yard) as running:
        until(lambda: len(read_all(yard.out).clock) >= 4)
        touched = round(now_s(yard) - 0.2, 3)
        told = answer(yard, channel="travel", time_s=touched, value=12.25, text="at the stake")
        until(lambda: yard.values() == [12.25])
        outcome = running.end()
    assert (told.kind, told.channel, told.value, told.text) == (
        "hand",
        "travel",
        12.25,
        "at the stake",
    )
    assert told.time_s == pytest.approx(touched, abs=1e-3)
    readings = read_all(yard.out).readings["travel"]
    assert readings.time_s.tolist() == pytest.approx([touched], abs=1e-3)
    assert outcome.readings == {"travel": 1} and outcome.drops == {"travel": 0}
    assert verify(yard.out).state == "complete"


def test_the_program_can_ask_as_a_page_does(yard: Yard) -> None:
    with recording(yard) as running:
        until(lambda: read_all(yard.out).clock)
        ask(yard.out, "hand", "travel", hand={"time_s": now_s(yard), "value": 3.0})
        until(lambda: yard.values() == [3.0])
        running.end()


def test_a_number_entered_right_before_the_end_is_kept(yard: Yard) -> None:
    with recording(yard) as running:
        until(lambda: read_all(yard.out).clock)
        moment = now_s(yard)
        for value in (1.0, 2.0):
            ask(yard.out, "hand", hand={"time_s": moment, "value": value})
        running.end()
    assert sorted(yard.values()) == [1.0, 2.0]


@pytest.mark.parametrize("state", ["haul", "held", "reset"])
def test_a_state_is_an_event_and_no_reading(yard: Yard, state: str) -> None:
    with recording(yard) as running:
        until(lambda: read_all(yard.out).clock)
        told = answer(yard, time_s=now_s(yard), state=state)
        outcome = running.end()
    assert (told.kind, told.text, told.value) == ("hand", state, None)
    assert outcome.readings == {"travel": 0}


@pytest.mark.parametrize(
    ("keys", "said"),
    [({"value": 1.0}, "time_s"), ({"time_s": "1", "value": 1.0}, "time_s"), ({"time_s": True, "value": 1.0}, "time_s"),
     ({"time_s": 0.1}, "one of value and state"), ({"time_s": 0.1, "value": 1.0, "state": "haul"}, "one of"),
     ({"time_s": 0.1, "value": "1"}, "not a number"), ({"time_s": 0.1, "value": True}, "not a number"),
     ({"time_s": 0.1, "value": 1e300}, "not a number"), ({"time_s": 0.1, "value": math.nan}, "not a number"),
     ({"time_s": 0.1, "state": "rest"}, "state is none of"), ({"time_s": 0.1, "state": ["haul"]}, "state is none of"),
     ({"time_s": 1e6, "value": 1.0}, "not of the last"), ({"time_s": -1.0, "value": 1.0}, "not of the last"),
     ({"time_s": 0.1, "value": 1.0, "channel": "other"}, "there is no channel"),
     ({"time_s": 0.1, "value": 1.0, "role": "viewer"}, "operator"),
     ({"time_s": 0.1, "value": 1.0, "speed": 2}, "unknown key speed"),
     ({"verb": "mark", "value": 1.0}, "unknown key value")],
)  # fmt: skip
def test_what_is_not_meant_is_refused_and_writes_no_reading(
    yard: Yard, keys: dict[str, object], said: str
) -> None:
    with recording(yard) as running:
        until(lambda: read_all(yard.out).clock)
        told = answer(yard, **keys)
        outcome = running.end()
    assert told.kind == "refused" and said in told.text
    assert outcome.readings == {"travel": 0}


def test_an_earlier_moment_than_the_last_is_refused(yard: Yard) -> None:
    """Time does not decrease within a channel."""
    with recording(yard) as running:
        until(lambda: len(read_all(yard.out).clock) >= 3)
        moment = now_s(yard)
        assert answer(yard, time_s=moment, value=1.0).kind == "hand"
        told = answer(yard, time_s=moment - 0.3, value=20.0)
        running.end()
    assert told.kind == "refused" and "later number" in told.text
    assert yard.values() == [1.0]


@pseudo_terminals
def test_a_number_goes_into_no_channel_of_a_device(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url) + HAND)
    with recording(yard) as running:
        until(lambda: read_all(yard.out).clock)
        told = answer(yard, time_s=now_s(yard), value=5.0, channel="force")
        assert told.kind == "refused" and "travel" in told.text
        assert answer(yard, time_s=now_s(yard), value=5.0).channel == "travel"
        running.end()
    device.close()
    assert yard.values("travel") == [5.0] and yard.values() == []


def test_silence_is_no_gap_and_no_fault(yard: Yard) -> None:
    """Nobody enters a number for longer than any device may be silent."""
    with recording(yard) as running:
        until(lambda: running.statuses and running.statuses[-1][1].time_s > 2.5)
        assert running.statuses[-1][1].ports == {"hand:": ""}
        running.end()
    assert yard.kinds() == ["start", "connect", "end", "stop"]


def test_the_channel_needs_a_unit_and_neither_format_nor_baud() -> None:
    sensors = parse_sensors(HAND, "s")
    for_recording(sensors)
    assert sensors.channels[0].stale_after_s == math.inf
    for more, said in (
        ('format = "json"', "format"), ("stale_after_s = 2.0", "stale_after_s"), ('ask = "x"\nevery_s = 1.0', "hand:"),
    ):  # fmt: skip
        with pytest.raises(SensorsFault, match=said):
            parse_sensors(HAND + more + "\n", "s")
    with pytest.raises(SensorsFault, match="unit: is missing"):
        parse_sensors(HAND.replace('unit = "ft"\n', ""), "s")
    with pytest.raises(SensorsFault, match="takes nothing behind it"):
        parse_sensors(HAND.replace("hand:", "hand:me"), "s")
    two = parse_sensors(HAND + HAND.replace("travel", "rope"), "s")
    assert len(two.ports()) == 1
