"""What is asked about a channel: its size, its zero, a known weight, its levels; and what a number may mean."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from support.emulated_devices import CATALOGUE
from support.systems import pseudo_terminals
from support.waiting import until

from dashboard.cli import main
from dashboard.sensors_page.channel_acts import mean_text
from dashboard.sensors_page.typed import shown_port
from logger.calibration.calibration import load

pytestmark = pseudo_terminals
BARE = replace(CATALOGUE["bare number"], rate_hz=30.0)  # a number alone, without a unit
NEWTON_PER_KG = 9.80665  # by definition


def rows(hand):
    """The tables of the draft."""
    sensors = hand.desk.server.sensors
    return sensors.rows(sensors.store.state)


def still(hand) -> None:
    """Wait until the device has hung still for as long as a zero takes."""
    until(lambda: "mean of" in hand.told() and "it moves" not in hand.told(), 20, "stillness")


def test_a_number_that_looks_like_kilograms_is_made_so_with_one_touch(hand, plug, channel):
    device = plug(BARE)
    name = channel(device, "force", "N")
    until(lambda: "No number has moved" in hand.told(), 20, "the rest")
    device.value = 20.0  # 20 kg hang on it, and it shows 20
    until(lambda: "rose by" in hand.told(), 20, "the pull")
    assert "positive, as it shall" in hand.told()
    until(lambda: hand.live()["channels"][name][0].startswith(("20", "19.9")), 20, "the weight")
    hand.do("weighed", name, weighed="20 kg")
    until(lambda: "It looks like kg or daN, not N" in hand.told(), 20, "the unit that fits")
    (button,) = [b for b in hand.live()["step"]["buttons"] if b[0] == "Make it kg"]
    hand.live_act(*json.loads(button[1]))
    assert rows(hand)[0]["unit"] == "kg"
    assert "100% of it" in hand.told() or "99% of it" in hand.told() or "101% of it" in hand.told()


def test_a_count_needs_its_size_and_says_so_at_its_place(hand, plug, channel):
    device = plug(replace(CATALOGUE["encoder, letter"], rate_hz=30.0), noise=0.0, value=100.0)
    name = channel(device, "length", "count")
    shown = hand.shown()
    texts = json.dumps(shown["channels"])
    assert "scale" in texts and "metres in one count" in texts
    assert "can't be saved" not in texts and "not saved" in hand.do("save", "as", file="yard")
    hand.do("ask", name, "unit")
    hand.do("unit", "count")
    assert "needs a number other than 0 with its unit" in hand.do("count", count="5")
    assert "is a force" in hand.do("count", count="2 N")
    assert hand.do("count", count="0.5 mm") == ""
    assert rows(hand)[0]["scale"] == pytest.approx(0.0005) and rows(hand)[0]["unit"] == "count"
    assert "Saved as yard" in hand.do("save", "as", file="yard")


def test_a_comma_is_asked_and_then_the_number_is_there(hand, plug):
    device = plug(CATALOGUE["comma, kN"], value=12.0)
    hand.do("address", address=device.port)
    until(lambda: hand.port(device.port)["asks"], 30, "the question")
    (asked,) = hand.port(device.port)["asks"]
    assert "comma" in asked["text"] and hand.places(device.port) == []
    assert hand.live_act("comma", device.port, "nonsense") != ""
    hand.live_act("comma", device.port, "decimal")
    until(lambda: hand.places(device.port), 20, "the number")


def test_three_points_make_the_file_that_haul_calibrate_makes(
    hand, plug, channel, folder, tmp_path
):
    device = plug(BARE, noise=0.0)
    name = channel(device, "force", "kg")
    hand.do("ask", name, "weight")
    table = ["applied,reading"]
    for weight, reading in ((0, 1.0), (10, 11.2), (20, 21.3), (30, 31.6)):
        device.value = reading
        until(lambda r=reading: f"It shows {r:g} kg" in hand.told(), 20, "the weight")
        still(hand)
        if weight:
            assert hand.do("point", name, point=f"{weight} kg") == ""
        else:
            hand.do("nothing", name)
        table.append(f"{weight},{reading}")
        if weight == 10:
            assert "One known weight can't show whether the device is straight" in hand.step()
    assert "A straight line through 4 points" in hand.step()
    assert f"Written to {name}-cal.toml" in hand.do("use curve", name)
    (tmp_path / "points.csv").write_text("\n".join(table) + "\n", "utf-8")
    out = tmp_path / "own.toml"
    assert main(["calibrate", str(tmp_path / "points.csv"), "--unit", "kg", "--out", str(out)]) == 0
    ours, theirs = load(folder / f"{name}-cal.toml"), load(out)
    assert ours.coefficients == pytest.approx(theirs.coefficients, rel=1e-9)
    assert ours.residual_sd == pytest.approx(theirs.residual_sd, rel=1e-6)
    (row,) = rows(hand)
    assert row["calibration"] == f"{name}-cal.toml" and "zero" not in row and "scale" not in row
    until(
        lambda: hand.live()["channels"][name][0].startswith(("293 N", "294 N", "295 N")),
        10,
        "its value",
    )
    # a second one overwrites nothing, and a zero after it leaves c0 to the curve
    assert f"Written to {name}-cal-2.toml" in hand.do("use curve", name)
    device.value = 1.1
    until(lambda: "It shows 1.1 kg" in hand.told(), 20, "nothing on it")
    still(hand)
    hand.do("zero", name)
    assert abs(rows(hand)[0].get("zero", 0.0)) < 0.2
    assert "Saved as yard" in hand.do("save", "as", file="yard")


def test_one_weight_makes_a_scale(hand, plug, channel):
    device = plug(BARE, noise=0.0, value=2.0)
    name = channel(device, "force", "kg")
    hand.do("ask", name, "weight")
    still(hand)
    hand.do("nothing", name)
    device.value = 12.0  # 20 kg move it by 10
    until(lambda: "It shows 12 kg" in hand.told(), 20, "the weight")
    still(hand)
    hand.do("point", name, point="20 kg")
    assert "Scale 2" in hand.do("use scale", name)
    assert rows(hand)[0]["scale"] == 2.0 and rows(hand)[0]["zero"] == 2.0
    until(lambda: hand.live()["channels"][name][0].startswith("196 N"), 10, "20 kg as its weight")
    hand.do("drop point", name, 7)
    assert "needs" in hand.do("point", name, point="many kg") or "is no number" in hand.do(
        "point", name, point="x"
    )


def test_levels_are_refused_at_once_and_shown_as_the_device_sends_them(hand, plug, channel):
    device = plug(BARE, noise=0.0, value=5.0)
    name = channel(device, "force", "kg")
    before = rows(hand)
    said = hand.do("levels", name, warn_at="3000 N", stop_at="2 kN", capacity="")
    assert "caution" in said and "above the stop at 2000 N" in said
    assert "is above the capacity" in hand.do(
        "levels", name, warn_at="", stop_at="9 kN", capacity="5 kN"
    )
    for typed in ("-5", "0", "1e999", "nan", "1,5 kN", "5 m", "x" * 400, {"a": 1}, True, ["5"]):
        assert hand.do("levels", name, warn_at=typed) != "", typed
    assert rows(hand) == before
    assert hand.do("levels", name, warn_at="20", stop_at="40 N", capacity="") == ""
    shown = json.dumps(hand.shown()["channels"])
    assert "caution at 20.0 N (the device sends 2.03943 kg)" in shown
    until(lambda: hand.live()["channels"][name] == ["49.0 N STOP (5 kg)", "stop"], 10, "the stop")
    assert hand.do("good", name, good="150") != "" and hand.do("good", name, good="0.5 %") == ""
    assert rows(hand)[0]["u_percent"] == 0.5


def test_a_channel_is_changed_renamed_and_taken_out_and_undo_brings_it_back(hand, plug, channel):
    device = plug(BARE, noise=0.0, value=5.0)
    name = channel(device, "force", "kg")
    hand.do("rename", name, name="slipway cell")
    assert rows(hand)[0]["name"] == "slipway cell"
    assert hand.do("rename", "slipway cell", name=" ") != ""
    hand.do("ask", "slipway cell", "what")
    hand.do("what", "length")
    hand.do("unit", "m")
    assert rows(hand)[0]["quantity"] == "length"
    # the number that is touched again opens its channel
    hand.live_act("number", device.port, hand.places(device.port)[0])
    assert "Change this channel" in hand.step()
    hand.do("take out", "slipway cell")
    assert rows(hand) == ()
    hand.do("undo")
    assert rows(hand)[0]["name"] == "slipway cell"


def test_no_two_parts_of_the_page_have_one_name(hand, plug, channel):
    """Dash would read the touches of the one from the other."""
    device = plug(BARE, noise=0.0, value=5.0)
    name = channel(device, "force", "kg")
    for kind in ("change", "pull", "zero", "weight", "levels", "good", "what", "unit", "where"):
        hand.do("ask", name, kind)
        names = re.findall(r'"id": (\{[^{}]*\})', json.dumps(hand.shown()))
        assert len(names) > 8 and len(set(names)) == len(names), kind


@pytest.mark.parametrize(
    ("mean", "sd", "n", "text"),
    [
        (0.0499828, 0.00077, 58, "0.0500"),  # u = 0.0001
        (11.8437, 0.03, 9, "11.84"),  # u = 0.01
        (1234.567, 60.0, 36, "1230"),  # u = 10
        (2.5, 0.0, 30, "2.5"),
    ],
)
def test_a_mean_is_shown_as_far_as_it_is_sure(mean, sd, n, text):
    assert mean_text(mean, sd, n) == text


def test_of_a_long_port_the_end_is_shown_which_tells_devices_apart():
    first, second = (f"/dev/serial/by-path/{'pci-' * 30}port{k}" for k in (1, 2))
    assert shown_port(first) != shown_port(second) and shown_port(first).startswith("…")
    assert len(shown_port(first)) == 80 and first.endswith(shown_port(first)[1:])
    assert shown_port("/dev/ttyUSB0") == "/dev/ttyUSB0"
