"""A device's own time spaces the readings of a chunk; arrival stays the anchor; drift is told."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest
from support.channels import COLUMNS, JSON, TEXT, channel
from support.rigs import STRAIGHT_PULL
from support.waiting import until
from support.yard import Yard, recording, silent_wire

from logger.channels.channel import Channel
from logger.channels.device_clock import MOST_SENSELESS, DeviceClock, placed
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.formats.registry import decoder_for
from logger.session.reader import read_all


def timed(more: str = 'time_unit = "ms"') -> Channel:
    return parse_sensors(JSON + 'time = "t"\n' + more + "\n", "s").channels[0]


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        (JSON + 'time = "at.ms"\n', '{{"HAUL": 5, "at": {{"ms": {}}}}}'),
        (COLUMNS + "time_column = 3\n", "1,5,{}"),
        (COLUMNS + "count = 3\ntime_column = 1\n", "{},5,1"),
        (TEXT + 'after = "N="\ntime_after = "t="\n', "t= {} N= 5 N"),
    ],
)
def test_each_format_gives_the_time_beside_its_reading(text: str, lines: str) -> None:
    decoder = decoder_for(parse_sensors(text, "s").channels)
    out = decoder.feed("".join(lines.format(t) + "\n" for t in (10, 20.5, 30)).encode())
    assert out.readings == {"f": [b"5"] * 3} and out.times == {"f": [10.0, 20.5, 30.0]}
    out = decoder.feed(lines.format("x").encode() + b"\n")
    assert all(map(math.isnan, out.times.get("f", [])))


def test_readings_stand_as_far_apart_as_the_device_says() -> None:
    clock = DeviceClock(timed())
    assert clock.offsets([100.0, 110.0, 140.0], 1.0) == pytest.approx([0.0, 0.01, 0.04])
    turning = DeviceClock(timed('time_unit = "us"\ntime_modulus = 65536'))
    assert turning.offsets([65000.0, 464.0, 2464.0], 1.0) == pytest.approx([0.0, 0.001, 0.003])


@pytest.mark.parametrize(
    "times", [[1.0, math.nan, 3.0], [5.0, 4.0, 6.0], [1.0, 1.0, 2.0], [1.0, 2.0, 9000.0]]
)
def test_times_that_do_not_tell_are_not_used(times: list[float]) -> None:
    assert DeviceClock(timed()).offsets(times, 1.0) is None


def test_arrival_is_the_anchor() -> None:
    offsets = [0.0, 0.01, 0.04]
    assert placed(offsets, 5.0, 5.1, 4.0) == pytest.approx([5.0, 5.01, 5.04])
    assert placed(offsets, 5.0, 5.02, 4.0) == pytest.approx([4.98, 4.99, 5.02])  # held back
    assert placed(offsets, 5.0, 5.02, 5.0) == pytest.approx([5.0, 5.005, 5.02])  # never before
    assert placed(offsets, 5.0, 5.0, 6.0) == [6.0, 6.0, 6.0]


def test_a_drift_is_told_once_and_again_when_it_has_doubled() -> None:
    clock = DeviceClock(timed('time_unit = "s"'))
    told = []
    for k in range(2000):  # 1 % fast, ten readings a second
        clock.offsets([k * 0.101], k * 0.1)
        told.append(clock.complaint(k * 0.1))
    first, *later = [(k * 0.1, text) for k, text in enumerate(told) if text]
    assert 24.0 < first[0] < 27.0 and "fast: 0.25 s in 25 s (1.0" in first[1]
    assert len(later) == 2 and "fast" in later[-1][1]
    true = DeviceClock(timed('time_unit = "s"'))
    for k in range(2000):
        true.offsets([k * 0.1], k * 0.1 + 0.1 * (k % 2))
        assert not true.complaint(k * 0.1 + 0.1 * (k % 2))


def test_a_wrong_unit_or_modulus_is_told_once() -> None:
    clock = DeviceClock(timed('time_unit = "s"'))  # the device counts milliseconds
    told = []
    for k in range(50):
        clock.offsets([k * 10_000.0], k * 0.1)
        told.append(clock.complaint(k * 0.1))
    assert [text for text in told if text] == [told[MOST_SENSELESS]]
    assert "correct time_unit or time_modulus" in told[MOST_SENSELESS]


CELL = channel(
    "cell", "force", format="json", id="f", unit="N", port="{}", baud=9600, time="t", time_unit="ms"
)


def test_a_burst_is_recorded_with_the_devices_spacing(tmp_path: Path) -> None:
    yard = Yard(tmp_path, rig=STRAIGHT_PULL)
    device = yard.pty()
    yard.write(CELL.replace("{}", device.url))
    apart_ms = [0, 10, 50, 60, 200]
    with recording(yard) as running:
        silent_wire()
        time.sleep(0.3)  # the burst reaches back so far
        device.send(b"".join(b'{"f": 5, "t": %d}\n' % (7000 + t) for t in apart_ms))
        until(lambda: len(yard.values()) == 5)
        running.end()
    yard.close()
    times = read_all(yard.out).readings["cell"].time_s
    assert np.diff(times) == pytest.approx(np.diff(apart_ms) / 1000.0, abs=2e-4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (JSON + 'time_unit = "ms"', "time_unit: does not go without time"),
        (COLUMNS + "time_modulus = 100", "time_modulus: does not go without time_column"),
        (COLUMNS + "time_column = 2", "is the column of the reading"),
        (JSON + 'time = "t"\ntime_unit = "min"', "time_unit"),
        (TEXT + 'time = "t"', "time: does not belong to format text"),
        (JSON + "time_column = 2", "time_column: does not belong to format json"),
    ],
)
def test_a_time_that_makes_no_sense_is_refused(text: str, said: str) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text + "\n", "s")
    assert said in str(caught.value)
