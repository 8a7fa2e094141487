"""An alarm on the terminal has the page's headline: what, how much of how much, and nothing of it is cut."""

from __future__ import annotations

from contextlib import redirect_stderr

import pytest
from support.channels import force
from support.rigs import three_to_one
from support.terminal import TerminalText

from analysis.mechanics.model import model
from analysis.prediction.alarm_headlines import parts_at_risk
from analysis.prediction.alarm_rows import part_texts
from analysis.rig_file.load import parse_rig
from dashboard.commands.record import StatusLine
from dashboard.text.alarm_headline import STOP, AlarmWords
from dashboard.text.units import METRIC, US
from logger.channels.sensors_file import parse_sensors
from logger.recorder.alarm_judge import BEYOND_CAPACITY
from logger.recorder.disk_retry import EventRow
from logger.recorder.recorder import RecorderStatus

NAME = "middle-double-pulley-of-the-second-stage"  # the longest that a rig file takes
RIG = (
    three_to_one(knot=0.5)
    .replace('name = "main"\n', 'name = "main"\nmbs_kN = 102.0\n')
    .replace('"T1"', f'"{NAME}"')
    + f"[pulley.{NAME}]\nwll_kN = 4.0\n"
)


def words(units=METRIC):
    rig_model = model(parse_rig(RIG, "rig.toml"))
    made = AlarmWords(parse_sensors(force("stop_at = 560.0\nwarn_at = 500.0"), "s.toml"), units)
    made.add(part_texts(rig_model), parts_at_risk(rig_model))
    return made


def label_of(made, what):
    return next(text for text, rated in made.at_risk.items() if rated.what.text() == what)


# by hand: 102 kN x 0.5 / 10 = 5.1 kN; 1 lbf = 4.4482216152605 N (NIST SP 811): 8.5 kN = 1911 lbf, 5.1 kN =
# 1147 lbf, of which two figures are shown
@pytest.mark.parametrize(
    ("units", "said"),
    [
        (METRIC, "knot at the load, 8.5 of 5.1 kN"),
        (US, "knot at the load, 1900 of 1100 lbf"),
    ],
)
def test_the_headline_says_what_and_how_much_of_how_much(units, said):
    made = words(units)
    label = label_of(made, "knot at the load")
    assert made.headline("haul_force", label, STOP, 8500.0) == said


def test_two_values_that_round_alike_are_told_apart():
    made = words()
    label = label_of(made, f"pulley {NAME}")
    assert made.headline("haul_force", label, STOP, 4004.0).endswith("4.004 of 4.000 kN")
    assert made.headline("haul_force", label, STOP, 4040.0).endswith("4.04 of 4.00 kN")
    # 1.4 of 1.3 would say 8 % over where it is 2 %
    assert METRIC.force_of(1370.0, 1340.0) == "1.37 of 1.34 kN"
    assert made.headline("haul_force", "haul_force", STOP, 990.0) == "haul_force, 990 of 560 N"


def test_what_is_not_known_of_the_rig_still_names_its_channel():
    made = words()
    assert made.headline("haul_force", BEYOND_CAPACITY, STOP, None) == (
        f"haul_force: {BEYOND_CAPACITY}"
    )


@pytest.fixture
def said():
    made, screen = words(), TerminalText()
    with redirect_stderr(screen):
        line = StatusLine(made.sensors, made, METRIC)

    def show(*rows):
        before, line._line_due = len(screen.getvalue()), 0.0
        line.show(
            RecorderStatus(3.0, {"haul_force": 3}, {"haul_force": 0}, {"haul_force": "450"}, {"p": ""},
                           "", (), rows)
        )  # fmt: skip
        assert line.printer.flush(5)
        return screen.getvalue()[before:]

    return show, made


def test_the_line_of_an_alarm_and_the_status_line_begin_with_the_headline(said):
    show, made = said
    label = label_of(made, f"pulley {NAME}")
    headline = f"STOP: pulley {NAME}, 4.4 of 4.0 kN"
    first = show(EventRow(2.0, "alarm", "haul_force", 4400.0, f"stop: {label}"))
    assert f"\a{headline}, at 2.0 s ({NAME}: WLL 4 kN" in first and "…" not in first
    assert first.split("\r")[-1].startswith(f"{headline}  ")  # stands while it lasts
    assert show().split("\r")[-1].startswith(f"{headline}  ")
    both = show(EventRow(3.0, "alarm", "haul_force", 510.0, "caution: haul_force"))
    assert "CAUTION: haul_force, 510 of 500 N, at 3.0 s (warn_at of the sensors file)" in both
    assert both.split("\r")[-1].startswith(f"{headline}  CAUTION: haul_force, 510 of 500 N  ")
    after = show(EventRow(3.2, "ack", "haul_force", None, label))
    assert "acknowledged at 3.2 s" in after and headline not in after.split("\r")[-1]
