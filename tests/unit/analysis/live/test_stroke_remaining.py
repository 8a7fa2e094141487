"""The page counts rope fed back as a reset by the same rule as the review."""

from __future__ import annotations

import pytest
from support.rigs import rig

from analysis.live.stroke_remaining import StrokeRoom
from analysis.rig.rig import Rig
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
