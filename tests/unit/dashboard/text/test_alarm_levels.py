"""Alarm levels in SI and as the device shows them; how an alarm is told on the terminal."""

import json
import math
import time
from contextlib import redirect_stderr

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import channel
from support.processes import ended
from support.terminal import TerminalText
from support.waiting import patience, until

from dashboard.commands.record import StatusLine
from dashboard.text.alarm_headline import AlarmWords
from dashboard.text.alarm_levels import check_levels, level_text, row_text
from dashboard.text.units import METRIC, US
from logger.channels.channel import Channel
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.recorder.alarms import AlarmRow
from logger.recorder.disk_retry import EventRow
from logger.recorder.recorder import RecorderStatus
from logger.transports.simulated import Player, serve_tcp

CELL = channel("haul_force", "force", format="json", id="f")


def cell(**keys):
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
    return parse_sensors(CELL + lines, "sensors.toml")


def curved(newton):
    """A channel whose readings are worth what `newton` makes of them."""

    class Curved(Channel):
        def si(self, reading, zero=None):
            return newton(reading)

    return Curved(**vars(cell(unit="N").channels[0]))


@pytest.mark.parametrize(
    ("keys", "newton", "reading"),
    # NIST SP 811 (2008) B.8: 1 lbf = 4.448 222 N, 1 kgf = 9.806 65 N, both exact with all digits
    [({"unit": "lbf"}, 4448.2216152605, 1000.0), ({"unit": "kgf"}, 980.665, 100.0),
     ({"unit": "kN"}, 1200.0, 1.2), ({"unit": "N", "zero": 1.8}, 900.0, 901.8),
     ({"unit": "count", "scale": 0.05, "zero": 8000.0}, 1000.0, 28000.0),
     ({"unit": "count", "scale": -0.05, "zero": 8000.0}, 1000.0, -12000.0)],
)  # fmt: skip
def test_the_reading_at_a_level(keys, newton, reading):
    (channel,) = cell(**keys).channels
    assert channel.reading_at(newton) == pytest.approx(reading, rel=1e-9)


@given(
    st.sampled_from(["N", "kN", "kgf", "lbf", "count"]),
    st.floats(1e-6, 1e6) | st.floats(-1e6, -1e-6), st.floats(-1e6, 1e6), st.floats(0.001, 1e6),
)  # fmt: skip
def test_the_device_at_that_reading_is_at_that_level(unit, scale, zero, newton):
    (channel,) = cell(unit=unit, scale=scale, zero=zero).channels
    reading = channel.reading_at(newton)
    # a large zero takes digits from a small step; that is all that may be lost
    lost = 4 * math.ulp(abs(zero) + abs(reading)) * abs(channel.si(1.0, 0.0))
    assert channel.si(reading) == pytest.approx(newton, rel=1e-9, abs=lost)


def test_a_curve_is_followed_and_one_that_never_gets_there_is_said(tmp_path):
    """reading = 2 + 0.5 F + 1e-4 F^2: at 1000 N the device sends 602."""
    from dashboard.cli import main

    rows = [f"{f},{2 + 0.5 * f + 1e-4 * f * f}" for f in range(0, 2100, 100)]
    (tmp_path / "points.csv").write_text("applied,reading\n" + "\n".join(rows) + "\n", "utf-8")
    made = tmp_path / "cell.toml"
    assert (
        main(["calibrate", str(tmp_path / "points.csv"), "--out", str(made), "--degree", "2"]) == 0
    )
    text = CELL + 'unit = "count"\ncalibration = "cell.toml"\n'
    (channel,) = parse_sensors(text, "sensors.toml", tmp_path).channels
    assert channel.reading_at(1000.0) == pytest.approx(602.0, rel=1e-6)
    assert curved(lambda reading: 0.0).reading_at(1000.0) is None
    assert curved(math.tanh).reading_at(2.0) is None


def test_levels_are_said_in_si_and_in_the_devices_unit():
    sensors = cell(unit="lbf", warn_at=900.0, stop_at=1200.0)
    row = AlarmRow("haul_force", "haul_force", caution=900.0, stop=1200.0)
    assert row_text(row, sensors, {}, METRIC) == (
        "alarm haul_force: caution 900 N (the device sends 202.328 lbf), "
        "stop 1200 N (the device sends 269.771 lbf)"
    )
    assert "caution 202 lbf (900 N; the device sends 202.328 lbf)" in row_text(row, sensors, {}, US)
    half = AlarmRow("haul_force", "haul_force", stop=1200.0)
    assert row_text(half, sensors, {}, METRIC).startswith(
        "alarm haul_force: caution none, stop 1200 N"
    )
    assert "never read" in level_text(curved(lambda reading: 0.0), 900.0, METRIC)


def test_a_limit_of_the_rig_beyond_the_cell_is_said():
    sensors = cell(unit="N", capacity=1000.0)
    row = AlarmRow("haul_force", "G1: slips", gain=3.0, stop=6000.0)
    text = row_text(row, sensors, {}, METRIC)
    assert "stop at 2000 N" in text and "(6000 N on it)" in text and "cannot read it" in text


@pytest.mark.parametrize(
    ("keys", "good"),
    [({"stop_at": 4900.0}, True), ({"stop_at": 5000.0}, True), ({"stop_at": 4900.0, "zero": 300.0}, False),
     ({"warn_at": 4900.0, "zero": 300.0}, False), ({"stop_at": 4900.0, "zero": -300.0}, True),
     ({"stop_at": 4600.0, "zero": 300.0}, True)],
)  # fmt: skip
def test_a_level_beyond_what_the_cell_can_read_is_refused(keys, good):
    sensors = cell(unit="N", capacity=5000.0, **keys)
    if good:
        check_levels(sensors)
        return
    with pytest.raises(SensorsFault, match="beyond the capacity 5000") as said:
        check_levels(sensors)
    assert "\n" not in str(said.value) and "channel haul_force" in str(said.value)


@pytest.mark.parametrize("level", ["stop_at = 6000.0", "stop_at = 4900.0\nzero = 300.0"])
def test_record_refuses_it_before_a_port_opens(haul, rig, tmp_path, level):
    sensors = tmp_path / "sensors.toml"
    sensors.write_text(
        CELL + 'unit = "N"\nport = "socket://127.0.0.1:1"\ncapacity = 5000.0\n' + level + "\n"
    )
    said = haul("record", rig, sensors, "--out", tmp_path / "s")
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert "capacity" in said.err and "no port" not in said.err


# -- on the terminal -----------------------------------------------------------------------------
@pytest.fixture
def line():
    """A status line on a terminal, its clock and what it said in the test's hands."""
    screen, now = TerminalText(), [0.0]
    with redirect_stderr(screen):
        sensors = cell(unit="N", warn_at=300.0, stop_at=400.0)
        words = AlarmWords(sensors, METRIC)
        shown = StatusLine(sensors, words, METRIC, ["alarm ..."], lambda: now[0])

    def show(at, *alarms, news=()):
        now[0] = at
        before = len(screen.getvalue())
        status = RecorderStatus(at, {"haul_force": 3}, {"haul_force": 0}, {"haul_force": "450"}, {"p": ""},
                        "", tuple(news), alarms)  # fmt: skip
        with redirect_stderr(screen):
            shown.show(status)
        assert shown.printer.flush(5)
        return screen.getvalue()[before:]

    return show


def alarm(at, text, value=450.0, kind="alarm"):
    return EventRow(time_s=at, kind=kind, channel="haul_force", value=value, text=text)


def test_an_alarm_rings_and_is_said_and_a_stop_rings_until_it_is_acknowledged(line):
    assert "\a" not in line(0.0)
    assert "\aCAUTION: haul_force, 310 of 300 N, at 1.0 s (warn_at of the sensors file)" in line(
        1.0, alarm(1.0, "caution: haul_force", 310.0)
    )
    assert "\a" not in line(5.0)
    said = line(6.0, alarm(6.0, "stop: haul_force"))
    assert "\aSTOP: haul_force, 450 of 400 N, at 6.0 s (stop_at of the sensors file)\n" in said
    assert [line(6.0 + k / 2).count("\a") for k in range(1, 9)] == [0, 0, 0, 1, 0, 0, 0, 1]
    assert "alarm acknowledged" in line(11.0, alarm(11.0, "haul_force", None, "ack"))
    assert "\a" not in line(20.0)
    assert "\aSTOP" in line(21.0, alarm(21.0, "stop: haul_force"))
    assert "alarm over: haul_force, 300 N at 22.0 s" in line(
        22.0, alarm(22.0, "clear: haul_force", 300.0)
    )
    assert "\a" not in line(30.0)


def test_what_is_said_stands_above_the_line_that_is_written_over(line):
    assert line(0.0).startswith("alarm ...\n\r")
    said = line(0.1, news=["disk: 40 GB left"])
    first, rest = said.split("\n", 1)
    assert first.startswith("\rdisk: 40 GB left ") and rest.startswith("\r")
    assert line(0.2) == ""  # twice a second is enough to read


def test_no_label_or_news_writes_on_the_terminal_what_it_likes(line):
    said = line(0.0, alarm(0.0, "stop: a\x1b[2J\nb"), news=["disk \x1b]0;x\x07"])
    assert "\x1b" not in said and said.count("\a") == 1 and "a [2J b" in said


def test_a_recording_without_a_page_rings_and_prints(rig, tmp_path):
    """Wire to terminal: from the device's first line above the level to the bell."""
    from support.processes import start_haul
    from support.yard import silent_wire

    device = serve_tcp()
    path = tmp_path / "sensors.toml"
    path.write_text(CELL + f'unit = "N"\nport = "{device.url}"\nstop_at = 400.0\n', "utf-8")
    sensors = parse_sensors(path.read_text("utf-8"), "sensors.toml")
    process = start_haul("record", rig, path, "--out", tmp_path / "s", "--for", 3600)
    until(lambda: device.wait_client(0.1), 20, "the recorder")
    events = tmp_path / "s" / "events.csv"
    until(lambda: events.exists() and ",connect," in events.read_text("utf-8"), 10, "a connection")
    silent_wire()
    rows = [(k / 50, {"haul_force": 300.0 if k < 25 else 450.0}) for k in range(200)]
    began = time.monotonic()
    player = Player([(device, sensors.channels)], rows).start()
    said = []
    for text in process.stderr:
        said.append(text)
        if "STOP" in text:
            break
    took = time.monotonic() - began - 0.5
    assert said[-1].startswith("\aSTOP: haul_force, 450 of 400 N, at "), said
    assert took < 1.0 * patience(
        began
    )  # 250 ms is meant; a machine with other work may take longer
    process.terminate()
    out, _ = ended(process)
    player.stop()
    device.close()
    assert process.returncode == 0 and "sealed" in out
    assert any(text.startswith("disk: ") for text in said)
    assert any(text.startswith(("power: ", "on battery")) for text in said)
    print(f"alarm after {1000 * took:.0f} ms")
