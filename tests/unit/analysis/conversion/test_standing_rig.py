"""The file of a rig in the middle of its job: bodies where they are, and what is left of the distance."""

import pytest
from support.places import SHELF

from analysis.conversion.convert import convert
from analysis.conversion.standing_rig import as_it_stands
from analysis.mechanics.travel import stroke
from analysis.rig_file.load import parse_rig
from logger.errors import RigFault

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
JOB = "\n[load]\nresistance_N = 2000.0\npull_distance_m = 12.0\n"


@pytest.mark.parametrize("name", TEXTS)
def test_every_shelf_rig_stands_where_a_stroke_ended(name):
    rig = parse_rig(TEXTS[name] + JOB, name)
    places = stroke(rig).places
    x = (places[0] + places[-1]) / 2 if len(places) == 2 else places[len(places) // 2]
    made = parse_rig(as_it_stands(TEXTS[name] + JOB, name, x), name)
    assert made.start_m == pytest.approx(x, abs=0.001)
    moved_m = float(rig.start_m[1] - x[1])
    if moved_m < 12.0:
        assert made.load.pull_distance_m == pytest.approx(12.0 - moved_m, abs=0.001)
    else:
        assert made.load.pull_distance_m is None


@pytest.mark.parametrize("name", TEXTS)
def test_a_two_blocked_rig_stands_just_before_it(name):
    """That is when a crew converts: no room is left, and the file of the stage must still be a rig."""
    rig = parse_rig(TEXTS[name] + JOB, name)
    x = stroke(rig).places[-1]
    made = parse_rig(as_it_stands(TEXTS[name] + JOB, name, x), name)
    assert made.start_m[1] == pytest.approx(x[1], abs=0.06)
    assert made.start_m == pytest.approx(x, abs=0.06 * 27)


def test_lengths_in_feet_are_replaced_and_not_doubled():
    text = TEXTS["3"].replace("anchor_to_load_m = 20.0", "anchor_to_load_ft = 65.6168")
    text = text.replace("at_m = 17", "at_ft = 55.7743")
    rig = parse_rig(text, "feet")
    x = rig.start_m.copy()
    x[1] -= 2.0
    x[rig.index["G1"]] -= 2.0
    made = parse_rig(as_it_stands(text, "feet", x), "feet")
    assert made.start_m == pytest.approx(x, abs=0.001)


def test_a_conversion_from_there_leads_to_a_rig_that_stands_there():
    rig = parse_rig(TEXTS["3-on-4"] + JOB, "12")
    x = rig.start_m.copy()
    x[1:] -= 5.0
    made = convert(as_it_stands(TEXTS["3-on-4"] + JOB, "12", x), TEXTS["3-on-3-on-2"])
    last = parse_rig(made.moves[-1].rig, "last")
    assert last.start_m[1] == pytest.approx(15.0)
    # of 20 m the grabs stand at 17 and 15 m: of 15 m at three quarters of that
    assert last.start_m[last.index["G1"]] == pytest.approx(0.75 * 17, abs=0.01)


def test_bodies_that_cannot_stand_there_are_one_clear_fault():
    rig = parse_rig(TEXTS["3"], "3")
    x = rig.start_m.copy()
    x[rig.index["G1"]] = 25.0
    with pytest.raises(RigFault):
        as_it_stands(TEXTS["3"], "3", x)
