"""A zero is taken from a channel that rests, on real serial channels; else it is refused, and why.

Interface: refused while a stroke runs, while unsteady, above 5 % of the capacity; the row keeps both
values and both times.
"""

from __future__ import annotations

import itertools
import re
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import channel
from support.systems import pseudo_terminals
from support.waiting import joined, long_enough, until
from support.yard import Yard

from logger.formats.registry import encode
from logger.recorder.recorder import record
from logger.recorder.request_inbox import ask
from logger.recorder.zeroing import KEPT_S, LEAST_READINGS, OVER_S, ReadingHistory
from logger.session.reader import Event, read_all

LOAD = channel("load_force", "force", at="load", format="xdr", id="LOAD", capacity=50000.0, u=20.0)


class SteadyDevice:
    """A recording of a device that sends, 50 times a second, what `sends(t)` says; t is since the
    last change of it."""

    def __init__(self, yard: Yard, device: Any, channels: Any) -> None:
        self.yard, self.device, self.channels = yard, device, channels
        self.stop = threading.Event()
        self.sends: Callable[[float], Mapping[str, float]] = lambda t: {}
        self.since = time.monotonic()

    def feed(self) -> None:
        while not self.stop.wait(0.02):
            values = self.sends(time.monotonic() - self.since)
            if values:
                self.device.send(encode(self.channels, values), 0.1)

    def now(self, sends: Callable[[float], Mapping[str, float]], more_s: float = 0.2) -> None:
        """Let the device send this for so long that all readings of the last second are of it.

        more_s: time beyond that second, which on a quiet machine is enough to read what was sent, s
        """
        self.sends, self.since = sends, time.monotonic()
        time.sleep(OVER_S + long_enough(more_s))  # the readings of this time are what is judged

    def zero(self, channel: str, verb: str = "zero", text: str = "") -> Event:
        request = ask(self.yard.out, verb, channel, text=text)
        return until(
            lambda: next((e for e in read_all(self.yard.out).events if e.id == request), None),
            3,
            f"an answer to {verb}",
        )


def set_at(answer: Event) -> float:
    """When the old zero was set, as told to 1 ms; its own row in the file tells it to 0.1 ms."""
    found = re.search(r"set at ([0-9]+\.[0-9]{3}) s, new zero", answer.text)
    assert found, answer.text
    return float(found[1])


@contextmanager
def slipway(yard: Yard, device: Any, text: str) -> Iterator[SteadyDevice]:
    port = f'port = "{device.url}"\nbaud = 115200\n'
    sensors = yard.write(text.replace("[[channel]]", "[[channel]]\n" + port))
    way = SteadyDevice(yard, device, sensors.channels)
    recorder = threading.Thread(
        target=record, args=(yard.rig, yard.sensors_file, yard.out), daemon=True
    )
    feeder = threading.Thread(target=way.feed, daemon=True)
    recorder.start()
    feeder.start()
    until((yard.out / "inbox").is_dir, 5, "the recorder's inbox")
    try:
        yield way
    finally:
        way.stop.set()
        joined(feeder)
        ask(yard.out, "end")
        joined(recorder)


@pseudo_terminals
def test_a_zero_is_taken_at_rest_and_refused_in_a_stroke(
    yard: Yard, force: str, travel: str
) -> None:
    with slipway(yard, yard.pty(), force + "zero = 5.0\n" + travel) as way:
        turns = itertools.count()
        way.now(lambda t: {"haul_force": 12.5 + 0.5 * (next(turns) % 2), "haul_travel": 3.0})
        first = way.zero("haul_force")
        assert first.kind == "zero" and first.value == pytest.approx(12.75, abs=0.02)
        assert first.text.startswith("old zero 5 N from the sensors file, new zero 12.7")
        second = way.zero("haul_force")
        assert second.kind == "zero"
        assert second.text.startswith(f"old zero {first.value:.9g} N set at ")
        assert set_at(second) == pytest.approx(first.time_s, abs=0.00056)
        undone = way.zero("haul_force", "undo", second.id)
        assert (undone.kind, undone.value) == ("undo", first.value)
        third = way.zero("haul_force")
        # the one that held again
        assert set_at(third) == pytest.approx(first.time_s, abs=0.00056)

        way.now(lambda t: {"haul_force": 12.5, "haul_travel": 3.0 + 0.1 * t})
        for channel in ("haul_force", "haul_travel"):
            answer = way.zero(channel)
            assert answer.kind == "refused"
            assert "a stroke is under way: haul_travel moved" in answer.text

        way.now(lambda t: {"haul_force": 12.5 + 60.0 * t, "haul_travel": 3.2})
        answer = way.zero("haul_force")
        assert answer.kind == "refused" and "not steady" in answer.text

        way.now(lambda t: {"haul_force": 400.0, "haul_travel": 3.2})
        answer = way.zero("haul_force")
        assert answer.kind == "refused" and "5 % of the capacity" in answer.text
        assert way.zero("haul_travel").kind == "zero"  # it stands: a counter may begin anew here

        way.now(lambda t: {}, 0.5)
        answer = way.zero("haul_force")
        assert answer.kind == "refused" and "no reading" in answer.text
    kept = [e for e in read_all(yard.out).events if e.kind == "zero"]
    assert len(kept) == 4 and all(e.value is not None and "old zero" in e.text for e in kept)


def test_a_large_cell_is_not_zeroed_while_the_haul_cell_pulls(yard: Yard, force: str) -> None:
    """900 N is under 5 % of 50 kN, and steady while the load hangs: only the haul cell tells."""
    with slipway(yard, yard.tcp(), force + LOAD) as way:
        way.now(lambda t: {"haul_force": 320.0, "load_force": 900.0})
        answer = way.zero("load_force")
        assert answer.kind == "refused"
        assert "a stroke is under way: haul_force is under tension, 320 N" in answer.text
        way.now(lambda t: {"haul_force": 3.0, "load_force": 900.0})
        # the load is held and the haul rope slack: the haul cell may be zeroed
        assert way.zero("haul_force").kind == "zero"


def test_without_a_capacity_a_pull_is_no_empty_cell(yard: Yard, force: str) -> None:
    text = force.replace("capacity = 5000.0\n", "")
    with slipway(yard, yard.tcp(), text) as way:
        way.now(lambda t: {"haul_force": 150.0})
        answer = way.zero("haul_force")
        assert answer.kind == "refused" and "more than an unloaded cell reads, 100 N" in answer.text
        way.now(lambda t: {"haul_force": 60.0})
        assert way.zero("haul_force").kind == "zero"
        # not upon each other either: the file's zero is what counts
        way.now(lambda t: {"haul_force": 120.0})
        assert way.zero("haul_force").kind == "refused"


def test_one_or_two_readings_do_not_show_rest(yard: Yard, force: str) -> None:
    # without it the readings might be too old before a busy machine has asked
    with slipway(yard, yard.tcp(), force + "stale_after_s = 4.5\n") as way:
        readings = itertools.chain([1.0, 1.0], itertools.repeat(None))

        def twice(t: float) -> Mapping[str, float]:
            value = next(readings)
            return {} if value is None else {"haul_force": value}

        until(lambda: "connect" in yard.kinds() and yard.devices[0].wait_client(0.1))
        way.sends = twice
        until(lambda: len(yard.values()) == 2)
        answer = way.zero("haul_force")
        assert answer.kind == "refused" and "too few readings" in answer.text


@given(
    steps=st.lists(st.floats(0.001, 2.0), min_size=1, max_size=60),
    later=st.floats(0.0, 2.0),
)
@settings(max_examples=200, deadline=None)
def test_the_last_second_is_kept_however_slow_the_device(steps: list[float], later: float) -> None:
    recent, moments = ReadingHistory(), list(itertools.accumulate(steps))
    for i, moment in enumerate(moments):
        recent.add(moment, 0.0, [b"%d" % i])
    now = moments[-1] + later
    found = recent.at(now)
    within = [m for m in moments if m >= now - OVER_S]
    three = [m for m in moments[-LEAST_READINGS:] if m >= now - KEPT_S]
    assert list(found.time_s) == max(within, three, key=len)
    assert list(found.reading) == [moments.index(m) for m in found.time_s]


def test_a_chunk_is_taken_line_by_line() -> None:
    recent = ReadingHistory()
    recent.add(10.0, 0.01, [b"%d" % i for i in range(200)])  # 10.00 to 11.99 s
    found = recent.at(12.0)
    assert found.reading == tuple(range(100, 200))
    assert found.time_s[0] == pytest.approx(11.0) and found.time_s[-1] == pytest.approx(11.99)
