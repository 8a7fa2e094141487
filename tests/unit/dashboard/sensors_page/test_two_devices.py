"""Two devices that nobody described, on real terminals: touched into a sensors file that `haul record` takes."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from support.desk_server import OpenDesk
from support.emulated_devices import CATALOGUE
from support.held_device import HeldDevice
from support.rigs import three_to_one
from support.sensors_desk import SensorsHand
from support.serial_wire import noting_framings
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import ended_after_rows

from dashboard.cli import main
from logger.channels.sensors_file import load_sensors
from logger.session.reader import read_all

pytestmark = pseudo_terminals
CELL = replace(CATALOGUE["7E1 pounds"], rate_hz=20.0)  # 2400 baud, 7E1: sign, places, lb
COUNTER = replace(CATALOGUE["bare number"], rate_hz=20.0, decimals=2)  # shows no unit


@pytest.fixture
def hand(tmp_path: Path):
    (tmp_path / "launch.toml").write_text(three_to_one(), "utf-8")
    desk = OpenDesk(tmp_path)
    yield SensorsHand(desk)
    desk.close()


@pytest.fixture
def devices(tmp_path: Path):
    folder = tmp_path / "wires"
    folder.mkdir()
    with noting_framings():
        made = [HeldDevice(CELL, folder, 1), HeldDevice(COUNTER, folder, 2, noise=0.0)]
        yield made
        for one in made:
            one.close()


def test_two_undescribed_devices_are_recorded_with_the_right_values(hand, devices, tmp_path):
    cell, counter = devices
    cell.value, counter.value = 12.0, 0.5
    for device in devices:
        assert hand.do("address", address=device.port) == ""
        until(lambda d=device: hand.places(d.port), 30, f"numbers of {device.port}")
    shown = hand.port(cell.port)
    assert "2400 baud 7E1" in shown["word"] and "lines a second" in shown["word"]
    # the cell: its own word for the unit is offered, and where it sits is touched on the drawing
    (place,) = hand.places(cell.port)
    hand.live_act("number", cell.port, place)
    assert "What does this number tell?" in hand.step() and "writes lb" in hand.step()
    hand.do("what", "force")
    assert "lb, as the device says" in hand.step()
    assert "the device writes lb" in hand.do("unit", "kg")
    hand.do("unit", "lb")
    assert "data-svg" in str(hand.shown()["step"])
    hand.live_act("touched", {"element": "team"})
    assert "Pull once" in hand.step()
    until(
        lambda: hand.told() == "No number has moved yet. At rest haul_force shows 12.", 20, "a rest"
    )
    cell.value = -60.0  # wired the wrong way round
    until(lambda: "fell by" in hand.told(), 20, "the pull")
    assert hand.live()["step"]["buttons"][0][0] == "Turn it round"
    hand.do("turn", "haul_force")
    assert "positive, as it shall" in hand.told()
    cell.value = 12.0
    hand.do("next")
    assert "moved within the last 3 s" in hand.do("zero", "haul_force")
    until(lambda: "it moves" not in hand.told(), 20, "the rest")
    said = hand.do("zero", "haul_force")
    assert re.search(r"Zero of haul_force: 1[12](\.\d+)? lb, the mean of \d+ readings over 3 s; they scatter by 0\.0\d+ lb", said)  # fmt: skip
    hand.do("next")  # no known weight
    said = hand.do("levels", "haul_force", warn_at="3 kN", stop_at="2000 N", capacity="")
    assert "caution" in said and "above the stop" in said
    assert hand.do("levels", "haul_force", warn_at="1500 N", stop_at="2 kN", capacity="") == ""
    # the counter: the device shows no unit, so it is chosen
    (place,) = hand.places(counter.port)
    hand.live_act("number", counter.port, place)
    hand.do("what", "length")
    assert "The device shows none" in hand.step()
    hand.do("unit", "m")
    hand.live_act("touched", {"strand": 99})
    assert "Where does it sit?" in hand.step()
    hand.do("where", "haul")
    hand.do("close")
    assert (
        hand.do("save", "as", file="boatyard")
        == "Saved as boatyard.toml. It is the file of the next haul. haul_force, haul_rope: no accuracy is stated, "
        "so the review gives no interval; say how good it is under Change."
    )
    sensors = load_sensors(tmp_path / "boatyard.toml")
    force, rope = sensors.channels
    assert (force.name, force.at, force.unit, force.scale) == ("haul_force", "haul", "lb", -1.0)
    assert (force.baud, force.framing, force.warn_at, force.stop_at) == (
        2400,
        "7E1",
        1500.0,
        2000.0,
    )
    assert (rope.name, rope.quantity, rope.unit) == ("haul_rope", "length", "m")
    assert cell.inbox == b"" and counter.inbox == b""  # nothing was ever sent
    # `haul record` takes it as it is, once the page lets go of the ports
    cell.value, counter.value = -88.0, 3.5
    for device in devices:
        hand.do("stop", device.port)
    out = tmp_path / "haul"
    files = [str(tmp_path / name) for name in ("launch.toml", "boatyard.toml")]
    with ended_after_rows(out, 60):
        assert main(["record", *files, "--out", str(out)]) == 0
    session = read_all(out)
    read = session.readings["haul_force"].reading
    assert len(read) > 10 and set(read) <= {-88.1, -88.0, -87.9}
    # turned round, the weight of 100 lb above the zero: 4.4482216152605 N/lb, NIST SP 811
    assert force.si(-88.0) == pytest.approx(100.0 * 4.4482216152605, rel=0.001)
    assert set(session.readings["haul_rope"].reading) == {3.5}
