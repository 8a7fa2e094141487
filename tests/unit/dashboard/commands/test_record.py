"""`haul record` on a device that speaks over TCP or a pseudo-terminal."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from support.processes import ended
from support.waiting import long_enough, patience, until

from dashboard import cli
from dashboard.commands.record import status_text
from dashboard.text.alarm_levels import row_text
from dashboard.text.units import METRIC, US
from logger.channels.sensors_file import load_sensors
from logger.recorder.alarms import AlarmRow, alarm_rows
from logger.recorder.recorder import RecorderStatus
from logger.session.reader import open_session, read_all
from logger.transports.simulated import Player, serve_pty, serve_tcp

LEVELS = "u = 2.0\nwarn_at = 250.0\nstop_at = 400.0"


@pytest.fixture
def device():
    found = serve_tcp()
    yield found
    found.close()


@pytest.fixture
def wired(sensors, device):
    """The sensors file, with the device's port and alarm levels."""

    def wire(url):
        text = sensors.read_text("utf-8").replace("u = 2.0", LEVELS)
        text = text.replace('format = "json"', f'format = "json"\nport = "{url}"\nbaud = 115200')
        sensors.write_text(text, "utf-8")
        return sensors

    return wire


def rows(seconds, force):
    return [(k / 50, {"haul_force": force, "rope_out": k / 1000}) for k in range(int(50 * seconds))]


def test_a_recording_keeps_what_the_device_sent_and_is_sealed(haul, rig, wired, device, tmp_path):
    path = wired(device.url)
    player = Player([(device, load_sensors(path).channels)], rows(600, 310.5)).start()
    out = tmp_path / "session"
    began, for_s = time.monotonic(), long_enough(2.0)
    said = haul("record", rig, path, "--out", out, "--for", for_s)
    player.stop()
    assert said.status == 0, said.err
    sealed_s = float(said.out.removeprefix(f"{out}: sealed after ").split()[0])
    assert for_s - 0.1 <= sealed_s <= for_s + 0.5 * patience(began)
    assert "alarm haul_force: caution 250 N (the device sends 250 N), stop 400 N (" in said.err
    block = read_all(out)
    readings = block.readings["haul_force"]
    # 50 Hz from before the first reading to after the last; a busy machine opens a port late
    assert 10 <= len(readings.reading) <= 50 * (readings.time_s[-1] + 0.5 * patience(began))
    assert set(readings.reading) == {310.5}
    alarms = [event for event in block.events if event.kind == "alarm"]
    assert [event.text for event in alarms] == ["caution: haul_force"]
    assert haul("verify", out).status == 0


def test_a_caution_that_the_rig_stops_before_is_said_at_the_start(
    haul, rig, wired, device, tmp_path
):
    """The rig's strand allows 2,800 N, three times the haul: 933 N; the file's caution is at 2,000 N."""
    path = wired(device.url)
    text = path.read_text("utf-8")
    path.write_text(
        text.replace("warn_at = 250.0", "warn_at = 2000.0").replace("stop_at = 400.0", ""), "utf-8"
    )
    player = Player([(device, load_sensors(path).channels)], rows(600, 10.0)).start()
    said = haul("record", rig, path, "--out", tmp_path / "late", "--for", long_enough(0.5))
    player.stop()
    assert said.status == 0, said.err
    (line,) = (line for line in said.err.splitlines() if "never come first" in line)
    assert line.startswith(
        "! haul_force: its caution at 2000 N can never come first: the stop level is 933 N (load>G1"
    )


def test_a_wrong_rig_stops_before_a_port_opens(haul, rig, wired, device, tmp_path):
    rig.write_text(rig.read_text("utf-8").replace("grab", "grap"), "utf-8")
    said = haul("record", rig, wired(device.url), "--out", tmp_path / "s", "--for", 1)
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert "grap" in said.err and not device.wait_client(0.1)
    assert not (tmp_path / "s").exists()


def start(*argv):
    root = str(Path(cli.__file__).resolve().parents[1])
    return subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *map(str, argv)], text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": root},
    )  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no signals on Windows")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_and_sigterm_seal_within_two_seconds(haul, rig, wired, tmp_path, number):
    device = serve_pty()
    path = wired(device.url)
    player = Player([(device, load_sensors(path).channels)], rows(600, 200.0)).start()
    out = tmp_path / "session"
    process = start("record", rig, path, "--out", out)
    rows_file = out / "readings.csv"
    until(lambda: rows_file.exists() and rows_file.stat().st_size > 500, 10, "rows in the session")
    growing = haul("verify", out)
    assert (growing.status, growing.out.splitlines()[0]) == (1, "growing")
    assert json.loads(haul("review", out, "--json").out)["state"] == "growing"
    assert haul("record", rig, path, "--out", out).status == 2  # a second recorder
    began = time.monotonic()
    process.send_signal(number)
    out_text, err_text = ended(process)
    took = time.monotonic() - began
    player.stop()
    device.close()
    assert (process.returncode, took < 2.0 * patience(began)) == (0, True), err_text
    assert "sealed" in out_text and "Traceback" not in err_text
    assert haul("verify", out).out.startswith("complete")


# a signal just when the main thread has taken the lock of the event that it waits for
AT_THE_LOCK = """
import os, signal, sys, threading
from pathlib import Path
from dashboard.cli import main
events, wait, sent = Path(sys.argv[1]), threading.Event.wait, []

def at_the_lock(self, timeout=None):
    here = threading.current_thread() is threading.main_thread()
    if here and not sent and events.exists() and b",connect," in events.read_bytes():
        with self._cond:
            sent.append(os.kill(os.getpid(), signal.SIGTERM))
            for _ in range(1000):
                pass  # the handler runs here
    return wait(self, timeout)

threading.Event.wait = at_the_lock
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no signals on Windows")
def test_a_signal_while_the_main_thread_holds_its_events_lock_ends_the_recording(
    haul, rig, wired, tmp_path
):
    """Seen once as a recorder that no signal ended any more: the handler waited for that lock."""
    device, out = serve_pty(), tmp_path / "session"
    path = wired(device.url)
    player = Player([(device, load_sensors(path).channels)], rows(600, 200.0)).start()
    root = str(Path(cli.__file__).resolve().parents[1])
    process = subprocess.Popen(
        [sys.executable, "-c", AT_THE_LOCK, out / "events.csv", "record", rig, path, "--out", out],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": root}, text=True,
    )  # fmt: skip
    try:
        said, _ = ended(process)
    finally:
        process.kill()
        player.stop()
        device.close()
    assert process.returncode == 0 and "sealed" in said
    assert haul("verify", out).out.startswith("complete")


def test_wait_keeps_trying_until_the_device_is_there(haul, rig, wired, tmp_path):
    first = serve_tcp()
    url, port = first.url, first.port
    first.close()
    path = wired(url)
    assert haul("record", rig, path, "--out", tmp_path / "s", "--for", 1).status == 2
    process = start("record", rig, path, "--out", tmp_path / "s", "--wait")

    def said(name, text):
        return (tmp_path / "s" / name).exists() and text in (tmp_path / "s" / name).read_text()

    until(lambda: said("events.csv", ",disconnect,"), 20, "a try without a device")
    device = serve_tcp(port)
    player = Player([(device, load_sensors(path).channels)], rows(600, 200.0)).start()
    until(lambda: said("readings.csv", ",haul_force,200"), 10, "a reading")
    process.terminate()
    out, err = ended(process)
    player.stop()
    device.close()
    assert process.returncode == 0, err
    assert set(read_all(tmp_path / "s").readings["haul_force"].reading) == {200.0}, out


def test_the_truth_of_a_simulation_is_kept_in_the_session(haul, rig, wired, device, tmp_path):
    truth = tmp_path / "true.json"
    truth.write_text(json.dumps({"pulley_efficiency": 0.93}), "utf-8")
    said = haul(
        "record", rig, wired(device.url), "--out", tmp_path / "s", "--for", long_enough(0.3),
        "--simulation-true", truth,
    )  # fmt: skip
    assert said.status == 0, said.err
    assert open_session(tmp_path / "s").simulation_true == {"pulley_efficiency": 0.93}


def test_the_status_line_names_values_drops_and_what_is_wrong(wired, device):
    sensors = load_sensors(wired(device.url))
    status = RecorderStatus(
        12.3, {"haul_force": 615, "rope_out": 0}, {"haul_force": 2, "rope_out": 0},
        {"haul_force": "444.82", "rope_out": ""}, {device.url: "gone"}, "full",
    )  # fmt: skip
    line = status_text(status, sensors, METRIC)
    for text in ("12.3 s", "445 N (615, 2 dropped)", "no reading yet", "gone", "DISK: full"):
        assert text in line
    assert "100 lbf" in status_text(status, sensors, US)


def test_alarm_levels_are_those_of_the_sensors_file(wired, device):
    (row,) = alarm_rows(load_sensors(wired(device.url)))
    assert (row.channel, row.gain, row.offset) == ("haul_force", 1.0, 0.0)
    assert (row.caution, row.stop) == (250.0, 400.0)


def test_a_limit_of_the_rig_is_told_as_the_haul_cell_will_read_it(wired, device):
    """4 kN on a thing that feels eight times the haul: the cell reads 500 N then."""
    sensors = load_sensors(wired(device.url))
    row = AlarmRow("haul_force", "strand load>G1: 40 kN breaking strength / 10", 8.0, stop=4000.0)
    assert "stop at 500 N (the device sends 500 N) of haul_force (4000 N on it)" in row_text(
        row, sensors, {}, METRIC
    )


def test_what_was_overruled_before_the_start_is_an_event_each(haul, rig, wired, device, tmp_path):
    """The option of the desk; a text of several lines is one line."""
    out = tmp_path / "session"
    first = "zero of force: not taken; overruled: by hand"
    said = haul("record", rig, wired(device.url), "--out", out, "--for", long_enough(0.5),
                f"--override={first}", "--override", "a\nb")  # fmt: skip
    assert said.status == 0, said.err
    assert [one.text for one in read_all(out).events if one.kind == "override"] == [first, "a b"]
