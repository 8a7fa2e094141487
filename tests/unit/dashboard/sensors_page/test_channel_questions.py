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
    told = hand.told()  # one look: its noise makes each look another
    assert re.search(r"\b(99|100|101)% of it", told), told


def test_a_pull_is_seen_soon_after_the_load_was_changed(hand, plug, channel):
    """A weight was hung on a moment ago; its step is no noise in which the pull vanishes."""
    device = plug(BARE)
    name = channel(device, "force", "kg")
    until(lambda: "No number has moved" in hand.told(), 20, "the rest")
    device.value = 20.0
    until(lambda: "rose by 2" in hand.told(), 20, "the weight")
    hand.do("pull again")
    until(
        lambda: re.search(r"At rest haul_force shows (19\.9|20|20\.1)\.", hand.told()),
        20,
        "the new rest",
    )
    device.value = 35.0
    until(
        lambda: re.search(
            rf"{name} rose by 15(\.[0-2])?, from (19\.9|20|20\.1) to 35", hand.told()
        ),
        20,
        "the pull",
    )
    assert "positive, as it shall" in hand.told() and "let go" not in hand.told()


def test_letting_go_of_a_weight_may_be_no_pull_and_the_page_says_so(hand, plug, channel):
    device = plug(BARE)
    channel(device, "force", "kg")
    until(lambda: "No number has moved" in hand.told(), 20, "the rest")
    device.value = 20.0
    until(lambda: "rose by 2" in hand.told(), 20, "the weight")
    hand.do("pull again")
    until(lambda: "At rest haul_force shows" in hand.told(), 20, "the new rest")
    device.value = 0.0
    until(lambda: "fell by" in hand.told(), 20, "the release")
    assert "It was there shortly before: if you let go just now, touch Pull again." in hand.told()


def test_lines_that_come_in_pieces_are_no_pull(hand, plug, channel):
    """What is left of a number whose beginning came before is another number."""
    device = plug(replace(CATALOGUE["7E1 pounds"], baud=9600, rate_hz=60.0), value=125.5)
    channel(device, "force", "lb")
    until(lambda: "No number has moved" in hand.told(), 20, "the rest")
    begun = len(device.sent)
    until(lambda: len(device.sent) > begun + 300 or "moved yet" not in hand.told(), 20, "300 lines")
    assert "No number has moved yet. At rest haul_force shows 125.5." in hand.told()


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


@pytest.mark.many
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


def hung(hand, device, reading: float, unit: str) -> None:
    """Let the device show a reading, and wait until it hangs still there."""
    device.value = reading
    until(lambda: f"It shows {reading:g} {unit}" in hand.told(), 20, f"{reading:g}")
    still(hand)


def weighed(hand, name: str, point: str = "") -> None:
    """Take what hangs on it as a point, "" for nothing; again where a busy machine made the device stutter."""
    act = ("point", name) if point else ("nothing", name)
    until(
        lambda: hand.do(*act, **({"point": point} if point else {})) == "", 20, f"the point {point}"
    )


# what a device shows for 20 kg, or for 196.133 N by g = 9.80665 m/s2, in its own unit, and the unit that is set;
# 1 lb = 0.45359237 kg, NIST SP 811
WRONG = [
    (196.133, "lbf", "N"),
    (196.133, "kg", "N"),
    (44.0925, "N", "lb"),
    (44.0925, "kgf", "lb"),
    (20.0, "N", "kg"),
]


@pytest.mark.parametrize(
    ("shows", "unit", "fits"),
    [WRONG[0], *(pytest.param(*one, marks=pytest.mark.many) for one in WRONG[1:])],
)
def test_a_known_weight_says_which_unit_fits(hand, plug, channel, shows, unit, fits):
    """Before any scale is offered, which would hide the wrong unit."""
    device = plug(replace(BARE, decimals=4, write=lambda v: b"%.4f\r\n" % v), noise=0.0)
    name = channel(device, "force", unit)
    hand.do("ask", name, "weight")
    hung(hand, device, 0.0, unit)
    weighed(hand, name)
    hung(hand, device, shows, unit)
    weighed(hand, name, "20 kg")
    assert re.search(
        rf"It looks like [^.]*\b{fits}\b[^.]*, not {unit}: {shows:.4g} is shown for 20 kg",
        hand.step(),
    )
    assert "Use the scale" not in hand.step() and f"Make it {fits}" in hand.step()
    hand.do("take unit", name, fits)
    assert rows(hand)[0]["unit"] == fits and "not " + fits not in hand.step()
    assert re.search(r"Use the scale (1|0\.9999|1\.000)", hand.step())
    # a third point makes a line, which says it too
    hand.do("take unit", name, unit)
    hung(hand, device, shows / 2, unit)
    weighed(hand, name, "10 kg")
    assert "A straight line through 3 points" in hand.step() and f"not {unit}" in hand.step()
    assert "The calibration puts the size right" in hand.step() and f"Make it {fits}" in hand.step()


def test_two_names_of_one_unit_are_no_wrong_unit(hand, plug, channel):
    device = plug(BARE, noise=0.0)
    name = channel(device, "force", "kgf")
    hand.do("ask", name, "weight")
    still(hand)
    weighed(hand, name)
    hung(hand, device, 20.0, "kgf")
    weighed(hand, name, "20 kg")
    assert "looks like" not in hand.step() and "Use the scale 1" in hand.step()


def test_a_unit_that_the_device_writes_and_a_weight_that_fits_another_are_both_said(
    hand, plug, channel
):
    """It writes lb, and shows 20 for 20 kg."""
    device = plug(replace(CATALOGUE["7E1 pounds"], baud=9600, rate_hz=20.0), noise=0.0)
    name = channel(device, "force", "lb")
    hand.do("ask", name, "weight")
    still(hand)
    weighed(hand, name)
    hung(hand, device, 20.0, "lb")
    weighed(hand, name, "20 kg")
    assert "It looks like kg or daN, not lb" in hand.step()
    assert "the device writes lb behind it: look at its display" in hand.step()
    assert "Make it" not in hand.step() and "Use the scale 2.205" in hand.step()


@pytest.mark.parametrize("points", [2, pytest.param(3, marks=pytest.mark.many)])
def test_a_reversed_cell_is_turned_round_by_its_calibration_and_told_so(
    hand, plug, channel, points
):
    """20 kg take it from 1 to -19; a scale or a line below 0 makes that a force above 0."""
    device = plug(BARE, noise=0.0)
    name = channel(device, "force", "kg")
    hand.do("ask", name, "weight")
    for weight, reading in ((0, 1.0), (20, -19.0), (10, -9.0))[:points]:
        hung(hand, device, reading, "kg")
        weighed(hand, name, f"{weight} kg" if weight else "")
    assert (
        "Its number falls under the weight: the cell is reversed. This turns it round"
        in hand.step()
    )
    said = hand.do("use curve" if points > 2 else "use scale", name)
    assert "its number falls" in said.lower() and "turns it round" in said
    device.value = -19.0
    until(
        lambda: hand.live()["channels"][name][0].startswith("196 N"), 10, "20 kg as a force above 0"
    )
    # and the pull knows it: what falls counts as positive now
    hand.do("ask", name, "pull")
    until(lambda: "At rest" in hand.told(), 20, "the rest")
    device.value = -39.0
    until(lambda: "fell by 20" in hand.told(), 20, "the pull")
    assert "positive, as it shall" in hand.told() and hand.live()["step"]["buttons"] == []
    hand.do("weighed", name, weighed="20 kg")
    until(lambda: re.search(r"100% of it|99% of it", hand.told()), 10, "its share")
    assert "looks like" not in hand.told()
    assert "counts as negative" not in hand.do("save", "as", file="yard")
    if points > 2:
        hand.do("no calibration", name)
        assert f"{name}: a pull counts as negative" in hand.do("save")


@pytest.mark.many
def test_a_cell_that_was_turned_at_the_pull_gets_its_scale_by_one_weight(hand, plug, channel):
    device = plug(BARE, noise=0.0, value=2.0)
    name = channel(device, "force", "kg")
    hand.do("turn", name)
    hand.do("ask", name, "weight")
    still(hand)
    weighed(hand, name)
    hung(hand, device, -8.0, "kg")  # 25 kg move it by 10, down
    weighed(hand, name, "25 kg")
    assert "Scale -2.5" in hand.do("use scale", name)
    assert rows(hand)[0]["scale"] == -2.5 and rows(hand)[0]["zero"] == 2.0


def test_a_counter_that_counts_down_is_turned_round_by_a_taped_length(hand, plug, channel):
    device = plug(BARE, noise=0.0, value=7.0)
    name = channel(device, "length", "m")
    hand.do("ask", name, "weight")
    hung(hand, device, 7.0, "m")
    weighed(hand, name)
    hung(hand, device, 5.0, "m")
    weighed(hand, name, "2 m")
    assert "Its number falls over the length: the counter is reversed" in hand.step()
    assert (
        hand.do("use scale", name)
        == "Scale -1, by one taped length; its number falls, so the scale turns it round."
    )
    until(
        lambda: hand.live()["channels"][name][0].startswith("2.00 m"), 10, "rope taken in above 0"
    )


def test_a_strand_that_is_touched_first_says_what_comes_before(hand, plug):
    device = plug(BARE, noise=0.0, value=5.0)
    touched = ("touched", {"strand": 0})
    assert hand.live_act(*touched) == (
        "where it sits: needs a number first; touch a number in the lines, and say what it tells and its unit."
    )
    hand.do("address", address=device.port)
    until(lambda: hand.places(device.port), 30, "a number")
    hand.live_act("number", device.port, hand.places(device.port)[0])
    assert "choose a force or a length first" in hand.live_act(*touched)
    hand.do("what", "force")
    assert "choose the unit first" in hand.live_act(*touched)
    hand.do("unit", "count")
    assert "type it, or choose Not known" in hand.do("where", "haul")
    assert rows(hand) == () and "How much is one count?" in hand.step()
    hand.do("count later")
    assert hand.do("where", "haul") == "" and len(rows(hand)) == 1


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
