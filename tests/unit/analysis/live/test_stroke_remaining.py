"""The page counts rope fed back as a reset by the same rule as the review."""

from __future__ import annotations

import pytest
from support.rigs import rig

from analysis.live.stroke_remaining import StrokeRoom
from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from analysis.strokes.segmentation import RESET_M, RESET_SHARE, is_reset
from analysis.strokes.stroke import Stroke

THREE = "tie:load grab:G1@10 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 haul"


def stroke(start_s: float, haul_m: float, *, growing: bool = False) -> Stroke:
    return Stroke(
        direction="haul",
        start_s=start_s,
        end_s=start_s + 10.0,
        haul_travel_m=haul_m,
        load_travel_m=None,
        work_J=0.0,
        out_J=(),
        mean_force_N=None,
        peak_force_N=0.0,
        peak_s=start_s,
        steady=None,
        growing=growing,
    )


def three() -> Rig:
    return rig(THREE)


def at_rest(haul_m: float, fed_m: float) -> str | None:
    """Code of the reason, if any, why no travel remains after a stroke and rope fed back."""
    room = StrokeRoom(three(), 3.0)
    room.follow([stroke(0.0, haul_m)], None, lambda time_s: haul_m)
    why = room.remaining(None, haul_m - fed_m).why_not
    return None if why is None else why.code


@pytest.mark.parametrize("haul_m", [0.5, 0.9, 2.0, 6.0])
def test_rope_fed_back_is_a_reset_from_the_same_rope_on_as_in_the_review(haul_m):
    least_m = max(RESET_M, RESET_SHARE * haul_m)
    assert is_reset(least_m + 1e-6, haul_m) and not is_reset(least_m - 1e-6, haul_m)
    assert at_rest(haul_m, least_m + 1e-6) == "after_the_reset"
    assert at_rest(haul_m, least_m - 1e-6) is None


@pytest.mark.parametrize("fed_m, slid", [(0.08, False), (0.15, True)])
def test_a_short_reset_slides_the_grab(fed_m, slid):
    room = StrokeRoom(three(), 3.0)
    position = {10.0: 0.9, 20.0: 0.9 - fed_m}
    room.follow([stroke(0.0, 0.9), stroke(20.0, 0.3, growing=True)], None, position.__getitem__)
    unslid = StrokeRoom(three(), 3.0).places(None, position[20.0])
    places = room.places(None, position[20.0])
    assert unslid is not None and places is not None
    grab = three().index["G1"]
    assert (places[grab] > unslid[grab] + 0.01) == slid


def test_the_last_haul_stroke_sets_the_least_rope():
    room = StrokeRoom(three(), 3.0)
    position = {10.0: 6.0, 20.0: 0.0, 30.0: 0.9}
    room.follow([stroke(0.0, 6.0), stroke(20.0, 0.9)], None, position.__getitem__)
    assert room.remaining(None, 0.9 - 0.15).why_not.code == "after_the_reset"


# -- after a change of the rig: the load starts at 20 m and was hauled 5 m with the first rig ------
SECOND_ROPE = parse_rig(
    """
anchor_to_load_m = 20.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { grab = "G1", at_m = 17 }, { capture = "C1", on = "anchor" }, { free = true } ]
[[rope]]
name = "second"
path = [ { tie = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" } ]
""",
    "second.toml",
)
WAY_M = 5.0


def changed(other: Rig) -> StrokeRoom:
    first = "tie:load grab:G1@17 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 haul"
    room = StrokeRoom(rig(first, length=20.0), 3.0)
    room.change_rig(other, 2.0)
    return room


def test_a_rig_of_two_ropes_is_known_from_the_next_reset_on():
    """By hand: load at 20 - 5 - 1 = 14 m, grab 0.3 m before it at 13.7 m, 2:1 until it is 0.3 m from the anchor."""
    room = changed(SECOND_ROPE)
    strokes = [stroke(0.0, 2.0), stroke(20.0, 0.5, growing=True)]
    room.follow(strokes[:1], None, lambda time_s: 2.0, lambda k: WAY_M + k)
    assert room.remaining(None, 2.0).why_not.code == "rig_was_changed"
    position = {10.0: 2.0, 20.0: 0.0}
    room.follow(strokes, None, position.__getitem__, lambda k: WAY_M + k)
    left = room.remaining(None, 0.0)
    assert left.load_m == pytest.approx(13.7 - 0.3) and left.rope_m == pytest.approx(2 * 13.4)
    assert left.meets == ("G1", "anchor")
    assert room.remaining(None, 0.5).load_m == pytest.approx(13.4 - 0.25)


def test_a_rig_without_grabs_is_known_as_soon_as_it_is_hauled():
    """By hand: load at 15 m, a 2:1 until it is 0.3 m from the anchor; 1 m of rope moves it 0.5 m."""
    room = changed(rig("tie:anchor pulley:L1@load haul", length=20.0))
    assert room.remaining(None, 3.0).why_not.text().endswith("known again when hauling goes on")
    room.follow([stroke(0.0, 1.0, growing=True)], None, lambda time_s: 3.0, lambda k: WAY_M)
    left = room.remaining(None, 4.0)
    assert left.load_m == pytest.approx(15.0 - 0.3 - 0.5) and left.meets == ("load", "anchor")


def test_where_the_plates_of_a_new_rig_stand_is_not_known_and_said():
    plated = parse_rig(
        """
anchor_to_load_m = 20.0
[plate.B1]
at_m = 15.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { tie = "B1" } ]
[[rope]]
name = "second"
path = [ { tie = "anchor" }, { pulley = "T1", on = "B1" }, { haul = "team" } ]
""",
        "plated.toml",
    )
    room = changed(plated)
    room.follow([stroke(0.0, 1.0)], None, lambda time_s: 1.0, lambda k: WAY_M)
    left = room.remaining(None, 1.0)
    assert (left.load_m, left.rope_m, left.why_not.code) == (None, None, "plates_not_known")


# -- after the moves of a conversion: the new rig's file has its bodies where they are ------
CONVERTED = parse_rig(
    """
anchor_to_load_m = 15.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { grab = "G1", at_m = 12 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" } ]
""",
    "converted.toml",
)


def converted(way_m: float, other: Rig = CONVERTED) -> StrokeRoom:
    room = changed(other)
    room.change_rig(other, 3.0, stands_s=5.0)
    room.follow([], None, lambda time_s: 7.0, lambda k: way_m)
    return room


def test_a_converted_rig_goes_on_from_where_its_file_has_it():
    """By hand: grab at 12 m, until it is 0.3 m from the anchor, three to one; at once, and while it is hauled."""
    room = converted(WAY_M)
    left = room.remaining(None, 7.0)
    assert left.load_m == pytest.approx(11.7) and left.rope_m == pytest.approx(3 * 11.7)
    # a metre of slack is taken up before the first stroke: it moves no load
    room.follow([stroke(20.0, 3.0, growing=True)], None, lambda time_s: 8.0, lambda k: WAY_M)
    assert room.remaining(None, 11.0).load_m == pytest.approx(11.7 - 1.0)
    # and the first reset is seen as one with known places: 3 m of rope slide the grab home by a metre
    position = {30.0: 11.0, 40.0: 8.0}
    strokes = [stroke(20.0, 3.0), stroke(40.0, 0.3, growing=True)]
    room.follow(strokes, None, position.__getitem__, lambda k: WAY_M)
    assert room.remaining(None, 8.0).load_m == pytest.approx(11.7)


@pytest.mark.parametrize("way_m", [WAY_M - 0.4, WAY_M + 0.4, 0.0])
def test_a_converted_rig_whose_load_stands_elsewhere_is_not_known(way_m):
    assert converted(way_m).remaining(None, 7.0).why_not.code == "rig_was_changed"
    assert converted(WAY_M + 0.2).remaining(None, 7.0).load_m is not None
