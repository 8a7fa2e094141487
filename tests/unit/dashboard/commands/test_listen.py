"""`haul listen`: what it prints, writes and asks, with emulated devices on real wires."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from support.emulated_devices import CATALOGUE, PUBLISHED, Emulated, EmulatedDevice
from support.mqtt_broker import needs_broker
from support.mqtt_devices import MqttDevice
from support.places import ROOT
from support.rigs import STRAIGHT_PULL
from support.serial_wire import noting_framings, own_terminal
from support.systems import pseudo_terminals
from support.terminal import TypedTerminal
from support.tiers import every
from support.waiting import joined, long_enough, patience
from support.yard import ended_after_rows

from dashboard.cli import main
from logger.channels.sensors_file import load_sensors
from logger.session.reader import read_all

pytestmark = pseudo_terminals
Plug = Callable[[Emulated], EmulatedDevice]
KG = CATALOGUE["cr alone"]  # 1200 baud, 7E1
KEYS = set(json.loads((ROOT / "tests/project/interface/listen.json").read_text("utf-8")))


@pytest.fixture
def plug(tmp_path: Path) -> Iterator[Plug]:
    made: list[EmulatedDevice] = []

    def make(device: Emulated) -> EmulatedDevice:
        made.append(EmulatedDevice(device, tmp_path, len(made) + 1))
        return made[-1]

    with noting_framings():
        yield make
    for each in made:
        each.close()


@pytest.fixture
def listened(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, Any]]:
    """Exit status and object of `haul listen ... --json`."""

    def run(*argv: str) -> tuple[int, Any]:
        status = main(["listen", *argv, "--json"])
        said = capsys.readouterr()
        assert said.err == ""
        return status, json.loads(said.out)

    return run


def test_the_object_is_that_of_its_section(plug: Plug, listened: Any) -> None:
    device = plug(CATALOGUE["7E1 pounds"])
    status, said = listened(device.port)
    assert status == 0 and set(said) == KEYS
    assert (said["port"], said["heard"], said["baud"], said["framing"], said["ends"]) == (
        device.port, True, 2400, "7E1", "cr",
    )  # fmt: skip
    (channel,) = said["channels"]
    assert set(channel) == {"toml", "quantity", "unit", "values"}
    assert (channel["quantity"], channel["unit"]) == ("force", "lb")
    assert len(said["lines"]) == len(channel["values"]) == 20
    assert all(line.endswith(" lb\\r") for line in said["lines"])
    # the last lines and the last values are the same, by the digits before the unit
    assert [float(line.split()[0]) for line in said["lines"][-5:]] == channel["values"][-5:]
    assert 'framing = "7E1"' in channel["toml"] and said["unclear"] == []
    assert device.inbox == b"" and device.seen == (2400, "7E1")


@pytest.mark.many
def test_a_rate_and_a_framing_that_are_stated_are_not_sought(plug: Plug, listened: Any) -> None:
    device = plug(KG)
    _, said = listened(
        device.port, "--baud", "1200", "--framing", "7E1", "--for", str(long_enough(1.0))
    )
    assert (said["baud"], said["framing"]) == (1200, "7E1") and said["channels"]
    status, said = listened(device.port, "--baud", "38400", "--for", "3")
    assert status == 1 and said["channels"] == [] and said["baud"] == 38400
    assert [m["code"] for m in said["messages"]] == ["listen_no_text"]


@pytest.mark.many
def test_the_time_counts_from_the_start(plug: Plug, listened: Any) -> None:
    device = plug(KG)  # 1200 baud: the eighth rate that is tried
    began, for_s = time.monotonic(), long_enough(4.0)
    status, said = listened(device.port, "--for", str(for_s))
    assert status == 0 and said["baud"] == 1200
    assert for_s - 0.1 < time.monotonic() - began < for_s + 2.0 * patience(began)


def test_a_comma_is_asked_and_no_channel_is_made(plug: Plug, listened: Any) -> None:
    status, said = listened(plug(CATALOGUE["comma, kN"]).port)
    assert status == 1 and said["channels"] == []
    (unclear,) = said["unclear"]
    assert unclear.startswith("a comma: decimal or separator?") and 'decimal = ","' in unclear


def test_a_number_without_a_unit_is_listed_and_unclear(
    plug: Plug, listened: Any, tmp_path: Path
) -> None:
    out = tmp_path / "sensors.toml"
    status, said = listened(plug(CATALOGUE["bare number"]).port, "--write", str(out))
    (channel,) = said["channels"]
    assert status == 1 and channel["unit"] is None and channel["quantity"] is None
    assert "\nunit =" not in channel["toml"] and 'format = "columns"' in channel["toml"]
    assert "shows no unit" in said["unclear"][0] and not out.exists()


@pytest.mark.parametrize("wire", every(3, ["tcp", "udp", "listen"]))
def test_a_port_without_rate_has_none(wire: str, plug: Plug, listened: Any) -> None:
    device = plug(replace(CATALOGUE["key with unit"], wire=wire))
    status, said = listened(device.port)
    assert status == 0 and (said["baud"], said["framing"]) == (None, None)
    assert [c["unit"] for c in said["channels"]] == ["N", "m"]
    assert "baud" not in said["channels"][0]["toml"] and device.inbox == b""


@pytest.mark.many
def test_the_channels_of_two_devices_come_into_one_file(
    plug: Plug, listened: Any, tmp_path: Path
) -> None:
    """The second device's name is taken by the first, and gets a number; the first file is left as it is."""
    first, both = tmp_path / "first.toml", tmp_path / "both.toml"
    one, two = plug(CATALOGUE["asked by TCP"]), plug(CATALOGUE["asked by TCP"])
    ask = ("--ask", r"MEAS?\n", "--for", str(long_enough(1.5)))
    assert listened(one.port, *ask, "--write", str(first))[0] == 0
    before = first.read_text("utf-8")
    assert listened(two.port, *ask, "--with", str(first), "--write", str(both))[0] == 0
    cell, other = load_sensors(both).channels
    assert (cell.port, other.port, other.name) == (one.port, two.port, f"{cell.name}_2")
    assert first.read_text("utf-8") == before and both.read_text("utf-8").startswith(before)


@pytest.mark.many
def test_the_same_device_twice_is_refused_in_one_line(
    plug: Plug, listened: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    device, first = plug(CATALOGUE["centimetres"]), tmp_path / "first.toml"
    for_s = str(long_enough(1.5))
    assert listened(device.port, "--for", for_s, "--write", str(first))[0] == 0
    argv = ["--for", for_s, "--json", "--with", str(first), "--write", str(tmp_path / "both.toml")]
    assert main(["listen", device.port, *argv]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
    assert "reads the same number of the same port" in said.err
    assert not (tmp_path / "both.toml").exists()


def test_with_needs_a_file_to_write_and_one_to_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for argv in (["--with", "x.toml"], ["--with", str(tmp_path / "no.toml"), "--write", str(tmp_path / "new.toml")]):  # fmt: skip
        assert main(["listen", "/nonexistent/port", *argv]) == 2
        said = capsys.readouterr().err
        assert said.count("\n") == 1 and ("--with is for --write" in said or "no such file" in said)


@needs_broker
@pytest.mark.many
def test_a_board_that_publishes_is_heard_through_its_broker(listened: Any, tmp_path: Path) -> None:
    """The retained message of 999.125 kN is no number of the board's; what is written is recorded as it stands."""
    device, out = MqttDevice(PUBLISHED["retained by a broker"]), tmp_path / "sensors.toml"
    try:
        status, said = listened(device.port, "--for", str(long_enough(2.5)), "--write", str(out))
        rig = tmp_path / "rig.toml"
        rig.write_text(STRAIGHT_PULL, "utf-8")
        with ended_after_rows(tmp_path / "haul", 20):
            assert main(["record", str(rig), str(out), "--out", str(tmp_path / "haul")]) == 0
    finally:
        device.close()
    assert status == 0 and (said["baud"], said["framing"]) == (None, None)
    (channel,) = said["channels"]
    assert (channel["quantity"], channel["unit"]) == ("force", "kN")
    assert set(channel["values"]) <= set(device.sent) and len(channel["values"]) == 20
    assert said["lines"][-1].startswith('{"pull_kN":') and device.inbox == b""
    readings = read_all(tmp_path / "haul").readings[load_sensors(out).channels[0].name].reading
    assert len(readings) > 10 and set(readings.tolist()) <= set(device.sent)


# -- a line every four to five seconds ---------------------------------------------------------------
SLOW = replace(CATALOGUE["7E1 pounds"], rate_hz=0.22)  # 2400 baud: the seventh rate that is tried
SLOW_9600 = replace(SLOW, baud=9600)  # the first


@pytest.mark.parametrize("baud", [115200])
@pytest.mark.many
def test_a_slow_line_of_seven_bits_is_found_by_waiting_for_it(
    plug: Plug, listened: Any, baud: int
) -> None:
    device = plug(replace(SLOW, baud=baud))
    status, said = listened(device.port)
    assert status == 0 and (said["baud"], said["framing"]) == (baud, "7E1")
    (channel,) = said["channels"]
    assert channel["unit"] == "lb" and set(channel["values"]) <= set(device.sent)
    assert len(channel["values"]) >= 2 and said["messages"] == []


@pytest.mark.many
def test_too_few_slow_lines_are_told_as_too_few_with_what_they_look_like(
    plug: Plug, listened: Any
) -> None:
    """7 s hold one or two lines of ten bytes: parity is believed from 24 bytes on."""
    status, said = listened(plug(SLOW_9600).port, "--for", "7")
    (told,) = said["messages"]
    assert status == 1 and (said["baud"], said["framing"]) == (None, None) and said["heard"]
    assert told["code"] == "listen_few_lines"
    assert "look like lines at 9600 baud, 7E1, too few to be sure" in told["text"]
    assert "binary" not in told["text"] and said["lines"] and said["channels"] == []


@pytest.mark.many
def test_a_slow_line_at_a_rate_not_tried_yet_is_no_binary_device(plug: Plug, listened: Any) -> None:
    status, said = listened(plug(SLOW).port, "--for", "12")
    (told,) = said["messages"]
    assert status == 1 and told["code"] == "listen_few", told
    assert "too few lines to find the rate and the framing" in told["text"]
    assert (said["baud"], said["framing"], said["channels"]) == (None, None, [])


def test_an_asked_device_gets_its_question_alone(plug: Plug, listened: Any) -> None:
    device = plug(CATALOGUE["asked, 7E1"])
    status, said = listened(device.port, "--ask", r"W\r")
    assert status == 0 and (said["baud"], said["framing"]) == (19200, "7E1")
    assert (
        'ask = "W\\r"' in said["channels"][0]["toml"] and "every_s" in said["channels"][0]["toml"]
    )
    assert device.inbox.replace(b"W\r", b"") == b"" and device.inbox


def test_a_silent_device_is_told_what_to_try_and_gets_no_byte(plug: Plug, listened: Any) -> None:
    device = plug(CATALOGUE["asked, newtons"])
    status, said = listened(device.port, "--for", "1.5")
    assert status == 1 and said["heard"] is False and said["baud"] is None
    codes = [m["code"] for m in said["messages"]]
    assert codes == ["listen_silent", "listen_try_power", "listen_try_ask", "listen_try_framing", "listen_try_wires"]  # fmt: skip
    assert said["lines"] == [] and said["lines_per_s"] is None and device.inbox == b""


def test_what_another_program_prints_is_heard() -> None:
    out = subprocess.run(
        [sys.executable, "-m", "dashboard.cli", "listen", "stdin:", "--json"], input="12.5 N\n" * 5,
        capture_output=True, text=True, timeout=600, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    said = json.loads(out.stdout)
    assert out.returncode == 0 and said["channels"][0]["values"] == [12.5] * 5
    assert said["messages"][0]["code"] == "listen_lost"


def test_an_existing_file_is_refused_before_the_port_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = tmp_path / "sensors.toml"
    there.write_text("mine")
    assert main(["listen", "/nonexistent/port", "--write", str(there)]) == 2
    assert "exists, and is not overwritten" in capsys.readouterr().err
    assert there.read_text() == "mine"


@pytest.mark.parametrize(
    ("argv", "words"),
    [(["hand:"], ["is a person"]), (["modbus://host:502"], ["sends nothing by itself", 'format = "modbus"']),
     (["spy:///dev/ttyUSB0?file=/tmp/x"], ["no kind of port"]), (["udp://0.0.0.0:7001"], ["every address"]),
     (["/nonexistent/port"], ["cannot be opened", "o such file"]),
     (["socket://127.0.0.1:1"], ["cannot be opened", "refused"]),
     (["x", "--ask", "\\q"], ["escapes of TOML"]), (["x", "--ask", ""], ["empty"]),
     (["x", "--framing", "9X7"], ["no framing"]), (["x", "--baud", "fast"], ["9600"]),
     (["socket://127.0.0.1:1", "--baud", "9600"], ["--baud is for a serial line"])],
)  # fmt: skip
def test_a_wrong_call_is_one_line(
    argv: list[str], words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["listen", *argv]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1 and all(word in said.err for word in words)


def test_a_question_takes_the_escapes_of_a_toml_string() -> None:
    from dashboard.commands.listen import _question

    assert _question(r"READ?\r\n") == "READ?\r\n" and _question(r'a "b" \u0005') == 'a "b" \x05'


# -- on a terminal ---------------------------------------------------------------------------------
class PulledAmplifier:
    """An amplifier on a pseudo-terminal that prints its number, a comma and a status, ten times a second.

    shown: the number, in newtons, that falls when somebody pulls
    """

    def __init__(self) -> None:
        self.shown, self.count = 1.8, 0
        self.lead, self.follow = own_terminal()
        self.port = os.ttyname(self.follow)
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._halt.wait(0.02):
            self.count += 1
            try:
                os.write(self.lead, b"%.1f;7\r\n" % (self.shown + 0.1 * (self.count % 2)))
            except BlockingIOError:
                continue

    def pull(self, force_N: float) -> None:
        """Show a pull until some lines are out."""
        self.shown = 1.8 - force_N
        self.send_on(30)

    def send_on(self, lines: int) -> None:
        """Wait until so many lines are out; more on a busy machine, so that they were read too."""
        until_count = self.count + long_enough(lines)
        while self.count < until_count:
            self._halt.wait(0.01)

    def close(self) -> None:
        self._halt.set()
        joined(self._thread)
        os.close(self.lead)
        os.close(self.follow)


@pytest.fixture
def amplifier() -> Iterator[PulledAmplifier]:
    made = PulledAmplifier()
    yield made
    made.close()


def test_a_person_pulls_types_a_weight_and_gets_a_file_that_records(
    amplifier: PulledAmplifier, tmp_path: Path
) -> None:
    """20 kg weigh 196.13 N with g = 9.80665 m/s2 (by definition): the number is in newtons."""
    out = tmp_path / "sensors.toml"
    terminal = TypedTerminal("listen", amplifier.port, "--write", out)
    terminal.wait_for("as sent:")
    assert "unit not shown" in terminal.wait_for("Pull once now")
    amplifier.pull(150.0)
    amplifier.shown = 1.8
    amplifier.send_on(10)
    terminal.type("")
    assert "* column 1 fell by 15" in terminal.wait_for("Turn it round")
    terminal.type("y")
    terminal.wait_for("this is its zero?")
    terminal.type("y")
    terminal.wait_for("known weight")
    amplifier.pull(196.1)
    amplifier.send_on(60)
    terminal.type("20 kg")
    assert "fits N" in terminal.wait_for("leave it out")
    terminal.type("N")
    assert "column 2 did not move" in terminal.wait_for("Keep it?")
    terminal.type("n")
    terminal.wait_for("Enter: not known.")
    terminal.type("0.5")
    terminal.wait_for("next: haul record RIG")
    assert terminal.end() == 0
    (channel,) = load_sensors(out).channels
    assert (channel.unit, channel.scale, channel.u_percent) == ("N", -1.0, 0.5)
    assert channel.zero == pytest.approx(1.85, abs=0.06)
    amplifier.shown = 1.8 - 100.0
    rig = tmp_path / "rig.toml"
    rig.write_text(STRAIGHT_PULL, "utf-8")
    with ended_after_rows(tmp_path / "haul", 20):
        assert main(["record", str(rig), str(out), "--out", str(tmp_path / "haul")]) == 0
    readings = read_all(tmp_path / "haul").readings[channel.name].reading
    assert len(readings) > 10 and channel.si(readings).mean() == pytest.approx(100.0, abs=0.3)


def test_a_person_says_what_a_comma_means(tmp_path: Path) -> None:
    device = EmulatedDevice(CATALOGUE["decimal comma"], tmp_path, apart=True)
    out = tmp_path / "sensors.toml"
    terminal = TypedTerminal(
        "listen", device.port, "--baud", 9600, "--framing", "8N1", "--write", out
    )
    try:
        terminal.wait_for("Which is it?")
        terminal.type("nonsense")
        terminal.wait_for("Which is it?")
        terminal.type("decimal")
        terminal.wait_for("Pull once now")
        terminal.type("s")
        terminal.wait_for("How good is force?")
        terminal.type("")
        terminal.wait_for("without u or u_percent in force")
        assert terminal.end() == 0
    finally:
        device.close()
    (channel,) = load_sensors(out).channels
    assert (channel.decimal, channel.unit) == (",", "kN")
