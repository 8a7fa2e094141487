"""`haul simulate` and `haul demo`: real processes, real channels, and the truth beside the estimate."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from support.channels import channel
from support.places import ROOT
from support.processes import ended
from support.systems import pseudo_terminals
from support.waiting import long_enough, until

from analysis.rig_file.load import load_rig
from analysis.simulation.stated_haul import Stated, as_sent, read_stated, rows, truth
from dashboard.commands.simulate import serving
from logger.channels.sensors_file import load_sensors
from logger.errors import CallFault, PortFault
from logger.session.reader import open_session, read_all


def start(*argv, **more):
    return subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *map(str, argv)], text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
        **more,
    )  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def thirty(tmp_path_factory):
    """`haul demo --headless --for 30 --out D` and its D, begun before the first test of this module:
    it records while they run, and the last one waits for what is left."""
    if sys.platform == "win32":
        yield None
        return
    out = tmp_path_factory.mktemp("thirty") / "D"
    process = start("demo", "--headless", "--for", 30, "--out", out)
    # its three processes are there before the first test, which would else be said to leave them behind
    until((out / "readings.csv").exists, 20, "the demo's session")
    yield process, out
    if process.poll() is None:
        process.terminate()
    ended(process)


@pytest.fixture
def true_file(tmp_path):
    path = tmp_path / "true.toml"
    path.write_text(
        "pulley_efficiency = 0.85\nload_force_N = 813.0\nrest_s = 1.0\nfor_s = 20.0\n"
        "rope_speed_m_s = 4.0\n", "utf-8",
    )  # fmt: skip
    return path


def test_the_stated_truth_is_what_the_channels_read(rig, sensors, true_file):
    # 3:1 of two pulleys: 1 + e + e^2 = 2.5725 at e = 0.85 (tension method)
    stated, real = read_stated(true_file), load_rig(rig)
    true = truth(real, stated)
    assert true["actual_ma"] == pytest.approx(2.5725)
    assert true["haul_force_N"] == pytest.approx(813.0 / 2.5725)
    found = list(rows(real, load_sensors(sensors), stated))
    assert found[0][1]["haul_force"] == pytest.approx(0.0, abs=10)
    steady = [v["haul_force"] for t, v in found if 2.0 < t < 5.0]
    assert sum(steady) / len(steady) == pytest.approx(813.0 / 2.5725, rel=0.01)
    # rope: out during the first stroke of 26.1 m, back afterwards
    out = [v["rope_out"] for _, v in found]
    assert max(out) == pytest.approx(26.1, abs=0.1)
    assert min(out[out.index(max(out)) :]) == pytest.approx(0.0, abs=0.5)


def test_the_same_seed_sends_the_same(rig, sensors):
    both = [list(rows(load_rig(rig), load_sensors(sensors), Stated(seed=3, for_s=5))) for _ in "ab"]
    other = list(rows(load_rig(rig), load_sensors(sensors), Stated(seed=4, for_s=5)))
    assert both[0] == both[1] != other


def test_what_a_device_sends_is_the_way_back_of_what_it_is_worth(sensors):
    text = sensors.read_text("utf-8")
    text = text.replace('unit = "N"', 'unit = "lbf"\nzero = 3.0\nscale = 1.02')
    sensors.write_text(text, "utf-8")
    channel = load_sensors(sensors).by_name("haul_force")
    assert channel.si(as_sent(channel, 500.0)) == pytest.approx(500.0)


@pytest.mark.parametrize(
    "text",
    ["pulley_eficiency = 0.9", "pulley_efficiency = 1.2", "load_force_N = -1", "for_s = true"],
)
def test_a_truth_that_cannot_be_is_refused(tmp_path, text):
    path = tmp_path / "t.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(CallFault, match=text.split()[0]):
        read_stated(path)


def wire(sensors, *ports):
    """Give the file's channels these ports, in order."""
    text, names = sensors.read_text("utf-8"), iter(ports)
    text = re.sub(
        'format = "json"', lambda _: f'format = "json"\nport = "{next(names)}"\nbaud = 9600', text
    )
    sensors.write_text(text, "utf-8")
    return sensors


@pseudo_terminals
def test_simulated_ports_are_recorded_and_give_the_stated_truth(
    haul, rig, sensors, true_file, tmp_path
):
    link = tmp_path / "cell"
    link.symlink_to("/dev/pts/nothing-is-here")  # what a run that was killed leaves
    process = start("simulate", rig, wire(sensors, link, link), "--true", true_file)
    assert process.stdout.readline().strip() == str(link)
    said = haul("record", rig, sensors, "--out", tmp_path / "s", "--for", 5)
    process.send_signal(signal.SIGINT)
    out, err = ended(process)
    assert (process.returncode, out, err) == (0, "", "")
    assert not link.is_symlink()
    assert said.status == 0, said.err
    review = json.loads(haul("review", tmp_path / "s", "--json").out)
    ma = review["measured"]["actual_ma"]
    assert abs(ma["value"] - 2.5725) <= ma["U95"]


@pytest.mark.parametrize(
    ("port", "words"),
    [("FILE", "exists already"), ("/nonexistent/folder/port", "folder that does not exist"),
     ("hwgrep://0403", "no virtual device"), ("rfc2217://127.0.0.1:1", "no virtual device"),
     ("spy:///dev/null?file=X", 'begins with "spy"'), ("SPY:///dev/null?file=X", 'begins with "SPY"'),
     ("loop://", 'begins with "loop"'), ("usb:0403:6001", "no virtual device"), ("stdin:", "no virtual device"),
     ("udp://127.0.0.1:7001", "no virtual device"), ("listen://127.0.0.1:7001", "no virtual device")],
)  # fmt: skip
def test_a_port_that_cannot_be_served_is_one_line(haul, rig, sensors, true_file, port, words):
    port = rig if port == "FILE" else port
    before = rig.read_bytes()
    said = haul("simulate", rig, wire(sensors, port, port), "--true", true_file)
    assert (said.status, said.err.count("\n")) == (2, 1)
    assert words in said.err and rig.read_bytes() == before


@pytest.mark.parametrize(
    ("keys", "words"),
    [({"format": "modbus", "table": "input", "register": 0, "type": "int16", "every_s": 0.1, "port": "modbus://h", "device_id": 1}, "registers (Modbus)"),
     ({"format": "modbus", "table": "input", "register": 0, "type": "int16", "every_s": 0.1, "port": "/dev/x", "baud": 9600, "device_id": 1}, "registers (Modbus)"),
     ({"format": "json", "id": "f", "port": "mqtt://h/t"}, "messages through a broker")],
)  # fmt: skip
def test_a_device_without_lines_is_told_in_one_line(haul, rig, tmp_path, true_file, keys, words):
    file = tmp_path / "other.toml"
    file.write_text(channel("haul_force", "force", unit="N", **keys), "utf-8")
    said = haul("simulate", rig, file, "--true", true_file)
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert words in said.err and "virtual devices send lines" in said.err


def test_no_virtual_device_is_made_under_a_name_of_another_scheme(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for port in ("usb:0403:6001", "stdin:", "hand:", "spy://x"):
        with (
            pytest.raises(PortFault, match=r"no virtual device|no kind of port"),
            serving(port, "sensors.toml"),
        ):
            pass
    assert list(tmp_path.iterdir()) == []


def recorded(out) -> None:
    """Wait until a second of the demo's readings is in the session."""
    path = out / "readings.csv"
    until(lambda: path.exists() and path.read_bytes().count(b"\n") > 100, 10, "recorded rows")


@pseudo_terminals
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_ending_the_demo_ends_everything_and_seals(haul, tmp_path, number):
    out = tmp_path / "D"
    process = start("demo", "--headless", "--for", 60, "--out", out)
    lines = [process.stdout.readline() for _ in range(2)]
    pids = [int(re.search(r"\(process (\d+)\)", line)[1]) for line in lines]
    recorded(out)
    process.send_signal(number)
    _, err = ended(process)
    assert "Traceback" not in err
    assert process.returncode == (-9 if number == signal.SIGKILL else 0)
    until(lambda: not any(map(alive, pids)), 5, "all processes end")
    assert haul("verify", out).out.startswith("complete")
    assert open_session(out).simulation_true["seed"] == 1


@pseudo_terminals
def test_a_recorder_that_is_killed_ends_the_demo_with_one_line(haul, tmp_path):
    out = tmp_path / "D"
    process = start("demo", "--http", 0, "--for", 60, "--out", out)
    lines = [process.stdout.readline() for _ in range(2)]
    pids = [int(re.search(r"\(process (\d+)\)", line)[1]) for line in lines]
    assert any(line.startswith("http://") for line in process.stdout)
    recorded(out)
    os.kill(pids[1], signal.SIGKILL)
    _, err = ended(process)
    assert process.returncode == 3
    assert "Traceback" not in err
    said = [line for line in err.splitlines() if line.startswith("haul: ")]
    assert len(said) == 1 and f"`haul verify {out} --repair` seals it" in said[0]
    assert not any(map(alive, pids))
    assert haul("verify", out).out.startswith("cut short")
    assert haul("verify", out, "--repair").out.startswith("complete")


def alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # an orphan that has ended but that nobody has waited for is not alive
    return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"


@pseudo_terminals
def test_the_demo_without_out_tells_its_page_and_its_session_and_both_end(haul):
    process = start("demo", "--for", long_enough(3.0), "--http", 0)
    said, err = ended(process)
    assert process.returncode == 0, err
    urls = re.findall(r"^(http://127\.0\.0\.1:[0-9]+/s/session/#[A-Za-z0-9_-]{22})$", said, re.M)
    assert len(urls) == 1
    with pytest.raises(OSError):
        urllib.request.urlopen(urls[0], timeout=600)
    session = Path(re.search(r"^session: (\S+);", said, re.M)[1])
    assert haul("verify", session).status == 0
    shutil.rmtree(session.parent)


@pseudo_terminals
def test_the_demo_as_promised(haul, thirty):
    """haul demo --headless --for 30 --out D && haul verify D && haul review D --json"""
    process, out = thirty
    said, err = ended(process)
    assert process.returncode == 0, err
    assert haul("verify", out).out.startswith("complete")
    review = json.loads(haul("review", out, "--json").out)
    assert review["state"] == "sealed"
    assert sum(stroke["direction"] == "haul" for stroke in review["strokes"]) >= 3
    true = json.loads((out / "datapackage.json").read_text("utf-8"))["simulation"]["true"]
    for key in ("actual_ma", "efficiency", "pulley_efficiency"):
        found = review["measured"][key]
        assert abs(found["value"] - true[key]) <= found["U95"], key
        assert found["U95"] <= 0.10 * found["value"], key
    # nothing that the devices sent was lost, but for what was on the way at the start and the end
    for name, count in review["readings"].items():
        times = read_all(out).readings[name].time_s
        assert count >= 80 * (times[-1] - times[0]) - 80 and times[-1] >= 29.0, name
    assert not any(review["dropped"].values())
    assert "beside the truth" in said and "within" in said and "OUTSIDE" not in said
    assert f"recording to {out}" in said
