"""A counter's travel, whatever its readings do."""

import numpy as np
import pytest
from support.channels import json_channel

from analysis.live.channel_track import Track
from logger.channels.sensors_file import parse_sensors
from logger.session.records import ChannelReadings


def counter():
    text = json_channel("r", "length", "r")
    return Track(parse_sensors(text, "sensors.toml").channels[0])


@pytest.mark.parametrize("cut", [1, 3, 7, 100])
def test_a_counter_that_starts_anew_keeps_its_way(cut):
    time_s = np.arange(100) / 10
    reading = 500.0 + time_s  # counts on from another day, then from nothing
    reading[60:] -= 506.0
    track = counter()
    for k in range(0, 100, cut):
        track.push(ChannelReadings(time_s[k : k + cut], reading[k : k + cut]))
    assert track.value == pytest.approx(9.9, abs=0.11)
    assert track.at(5.0) == pytest.approx(5.0, abs=0.15)
    assert track.moved(1.0, 9.9) == pytest.approx(1.0, abs=0.11)
    assert track.rate(9.9) == pytest.approx(10, rel=0.1)
