"""The lines of the check before the pull, and what a person may say to them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.channels import force, rope
from support.rigs import HUNG, nine_to_one, three_to_one

from analysis.rig_file.load import parse_rig
from dashboard.check_page.check_line import LEFT, CheckLine, CheckState, left, said, typed_reason
from dashboard.check_page.machine_lines import disk_line, power_line, sleep_line
from dashboard.check_page.port_listener import Heard
from dashboard.check_page.rig_lines import levels_line, rig_lines
from dashboard.check_page.sensors_lines import alive_lines, bytes_per_s, zero_lines
from dashboard.text.units import METRIC, US
from logger.channels.sensors_file import parse_sensors
from logger.machine.keep_awake import HELD, NOT_HELD, TRYING
from logger.machine.power_supply import PowerState

PORT = ('port = "/dev/ttyHAUL"', "baud = 115200")
LEVELS = ("capacity = 3000.0", "warn_at = 600.0", "stop_at = 800.0")
MISSING = CheckLine(
    "zero f", "Zero of f", CheckState.MISSING, "not taken", cause="the zero was not taken"
)
ASKED = CheckLine("people", "Where people stand", CheckState.CONFIRM, "nobody stands there")


def of_rig(text: str, units=METRIC) -> dict[str, CheckLine]:
    return {line.key: line for line in rig_lines(parse_rig(text, "rig.toml"), units)}


def of_sensors(text: str):
    return parse_sensors(text, "sensors.toml")


def test_a_line_is_settled_by_what_was_said_to_it_alone():
    lines = said([MISSING, ASKED], [ASKED.mark], {MISSING.mark: "seen to by hand"})
    assert [line.state for line in lines] == [CheckState.OVERRULED, CheckState.CONFIRMED]
    assert left(lines) == ()
    assert lines[0].event == "Zero of f: the zero was not taken; overruled: seen to by hand"
    # what is missing is not confirmed, and what is to be confirmed is not overruled
    swapped = said([MISSING, ASKED], [MISSING.mark], {ASKED.mark: "why not"})
    assert left(swapped) == (MISSING, ASKED)


def test_an_overruling_lapses_with_its_cause_and_not_with_a_number():
    told = {MISSING.mark: "seen to by hand"}
    moved = replace(MISSING, text="not taken, reads 12 N now")
    (line,) = said([moved], [], told)
    assert line.state == CheckState.OVERRULED
    worse = replace(MISSING, cause="its port does not open")
    assert said([worse], [], told)[0].state == CheckState.MISSING
    # what is confirmed is what was seen: another level asks again
    levels = replace(ASKED, details=("stop 800 N",))
    assert (
        said([replace(levels, details=("stop 900 N",))], [levels.mark], {})[0].state
        == CheckState.CONFIRM
    )


def test_nobody_overrules_files_that_cannot_be_recorded_with():
    blocked = CheckLine("files", "Rig and sensors file", CheckState.BLOCKED, "no rig is chosen")
    assert left(said([blocked], [blocked.mark], {blocked.mark: "go"})) == (blocked,)
    assert CheckState.WAITING in LEFT


@pytest.mark.parametrize(
    ("given", "kept"),
    [("  by hand \n now", "by hand now"), ("", ""), (None, ""), (7, ""), (["x"], ""), ("\x00\x1b[2J", "[2J"),
     ("x" * 500, "x" * 119 + "…")],
)  # fmt: skip
def test_a_typed_reason_is_one_bounded_line(given, kept):
    assert typed_reason(given) == kept


def test_the_lines_of_a_rig_say_what_the_prediction_says():
    lines = of_rig(
        three_to_one(HUNG.partition("\n")[2] + "pull_distance_m = 6.0", rope="length_m = 60.0\n")
    )
    assert lines["resets"].state == CheckState.GOOD and "G1" in lines["resets"].text
    assert lines["rope main"].state == CheckState.GOOD and "60.0 m" in lines["rope main"].text
    assert lines["limits"].state == CheckState.MISSING and "no stop level" in lines["limits"].text
    rated = of_rig(three_to_one(rope="mbs_kN = 28.0\n"), US)
    assert (
        rated["limits"].state == CheckState.GOOD
        and "stop hauling at 210 lbf" in rated["limits"].text
    )


def test_a_short_rope_and_one_of_unknown_length_are_missing():
    short = of_rig(
        three_to_one("resistance_N = 900.0\npull_distance_m = 6.0", rope="length_m = 20.0\n")
    )
    assert short["rope main"].state == CheckState.MISSING and "20.0 m" in short["rope main"].text
    unknown = of_rig(three_to_one())["rope main"]
    assert unknown.state == CheckState.MISSING and "not known" in unknown.text
    assert short["rope main"].cause != unknown.cause


def test_a_reset_that_no_capture_covers_is_missing_where_the_load_runs_back():
    hung = HUNG.partition("\n")[2]
    bare = nine_to_one(hung).replace('{ capture = "C1", on = "anchor" },', "").replace("  ,\n", "")
    line = of_rig(bare)["resets"]
    assert line.state == CheckState.MISSING and "NO CAPTURE" in line.text
    level = bare.replace(hung, 'kind = "dragging"\nmass_kg = 300.0\nresistance_coefficient = 0.5\n')
    assert of_rig(level)["resets"].state == CheckState.GOOD


def test_levels_are_shown_as_the_display_shows_them_and_none_is_missing():
    rig = parse_rig(three_to_one(), "rig.toml")
    line = levels_line(
        rig,
        of_sensors(force(*PORT, *LEVELS, 'decimal = "."'))
        if False
        else of_sensors(force(*PORT, *LEVELS)),
        METRIC,
    )
    assert line.state == CheckState.CONFIRM
    assert line.details == (
        "alarm haul_force: caution 600 N (the device sends 600 N), stop 800 N (the device sends 800 N)",
    )
    none = levels_line(rig, of_sensors(force(*PORT)), METRIC)
    assert none.state == CheckState.MISSING and "nothing will sound" in none.text


def test_a_zero_is_taken_where_the_file_states_one_and_no_length_needs_it():
    taken, missing = (
        zero_lines(of_sensors(force(*PORT, *more) + rope(*PORT))) for more in (("zero = 0.0",), ())
    )
    assert [line.state for line in taken] == [CheckState.GOOD]
    assert [line.state for line in missing] == [CheckState.MISSING]


HEARD = Heard(readings=50, last="412.5", age_s=0.1, rate_Hz=10.0, tried=True, listening=True)


@pytest.mark.parametrize(
    ("seen", "passed_s", "state", "words"),
    [
        (None, 9.0, CheckState.MISSING, "not listened to"),
        (HEARD, 5.0, CheckState.GOOD, "412 N (412.5 N sent, 10.0 a second)"),
        (replace(HEARD, last="3500"), 5.0, CheckState.MISSING, "beyond its capacity"),
        (replace(HEARD, age_s=60.0), 90.0, CheckState.MISSING, "no number comes"),
        (Heard(tried=True, listening=True), 1.0, CheckState.WAITING, "listening"),
        (
            Heard(tried=True, listening=True, dropped="checksum"),
            9.0,
            CheckState.MISSING,
            "dropped: checksum",
        ),
        (
            Heard(tried=True, listening=True, fault="no such device"),
            0.5,
            CheckState.MISSING,
            "no such device",
        ),
        (Heard(by_hand=True), 0.0, CheckState.GOOD, "a person enters"),
    ],
)
def test_a_channel_is_alive_where_numbers_come_now(seen, passed_s, state, words):
    sensors = of_sensors(force(*PORT, "capacity = 3000.0"))
    heard = {} if seen is None else {"haul_force": seen}
    (line,) = alive_lines(sensors, heard, passed_s, METRIC)
    assert line.state == state and words in line.text, line


def test_the_disk_has_room_for_the_time():
    sensors = of_sensors(force(*PORT) + rope(*PORT))
    per_s = bytes_per_s(sensors, {"haul_force": replace(HEARD, rate_Hz=100.0)})
    assert per_s is not None and 2_500 < per_s < 5_000  # 100 rows of some 31 bytes, and clock.csv
    assert bytes_per_s(sensors, {}) is None
    assert disk_line(50_000_000_000, per_s, 7200.0).state == CheckState.GOOD
    short = disk_line(int(per_s * 7200.0), per_s, 7200.0)
    assert short.state == CheckState.MISSING and "short" in short.text
    assert disk_line(None, per_s, 7200.0).state == CheckState.MISSING


def test_power_and_sleep_are_said_as_the_machine_says_them():
    assert power_line(PowerState("mains", 80.0)).state == CheckState.GOOD
    assert power_line(PowerState("battery", 80.0)).state == CheckState.GOOD
    assert power_line(PowerState("battery", 12.0)).state == CheckState.MISSING
    assert power_line(PowerState()).state == CheckState.MISSING
    assert [sleep_line(state).state for state in (HELD, TRYING, NOT_HELD)] == [
        CheckState.GOOD, CheckState.WAITING, CheckState.MISSING,
    ]  # fmt: skip
