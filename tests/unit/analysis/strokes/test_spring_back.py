"""Rope that springs back after the last stroke is no reset; a counter that only counts up is said."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import analyse, block, review, sensors, three

from analysis.mechanics.model import model
from analysis.mechanics.rope_stretch import spring_back

STRETCHY = "stretch_percent = 5.0\nstretch_at_kN = 1.5\n"


def stretchy():
    from analysis.rig_file.load import parse_rig

    text = (
        'anchor_to_load_m = 40.0\n[[rope]]\nname = "main"\n' + STRETCHY + "path = [\n"
        '  { tie = "load" }, { grab = "G1", at_m = 35.0 }, { capture = "C1", on = "anchor" },\n'
        '  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" },\n]\n'
    )
    return parse_rig(text, "rig.toml")


def haul(back_m, in_s, later_m=0.0, again=False):
    """3 m at 400 N, let off at 8 s; back_m of rope comes back in in_s, later_m more from 12 s on; then again?"""
    t = np.arange(0, 40, 0.02)
    x = np.interp(t, [2, 8, 8 + in_s, 12, 18], [0, 3, 3 - back_m, 3 - back_m, 3 - back_m - later_m])
    force = np.where((t >= 2) & (t <= 8), 400.0, 0.0)
    if again:
        x = x + np.interp(t, [25, 31], [0, 3])
        force = force + np.where((t >= 25) & (t <= 31), 400.0, 0.0)
    return analyse(stretchy(), sensors("haul", "rope"), block(haul=(t, force), rope=(t, x)))


def test_what_springs_back_by_hand():
    """The capture keeps the load's strand.  Behind it three strands go slack, 35 m each but the one at the
    anchor: T1>team, A1>T1 and, of no length, C1>A1; each is 5 % longer at 1.5 kN and pulls as hard as the team."""
    rig_model = model(stretchy())
    tension = [t for p, t in zip(rig_model.parts, rig_model.tension, strict=False)]
    longer = 0.05 / 1500.0 * (35.0 * tension[-1] + 35.0 * tension[-2])
    assert spring_back(rig_model) == pytest.approx(longer, rel=1e-6)


def test_rope_that_springs_back_after_the_last_stroke_is_no_reset():
    assert 400 * spring_back(model(stretchy())) > 0.5
    assert haul(0.5, 0.6).resets == 0


@pytest.mark.parametrize(("back_m", "in_s"), [(2.0, 0.6), (0.9, 4.0)])
def test_more_than_the_stretch_explains_or_later_is_a_reset(back_m, in_s):
    assert haul(back_m, in_s).resets == 1


def test_a_reset_after_the_spring_back_is_one_with_all_its_rope():
    (reset,) = haul(0.5, 0.6, later_m=2.0).reset_list
    assert reset.rope_m == pytest.approx(2.5, abs=0.02)


def test_a_later_stroke_shows_that_rope_was_fed_back():
    assert haul(0.5, 0.6, again=True).resets == 1


def counted(turns_back):
    t = np.arange(0, 40, 0.02)
    x = np.interp(
        t, [2, 8, 10, 14, 20, 26], [0, 3, 3, 3 - turns_back, 3 - turns_back, 6 - turns_back]
    )
    force = np.where(((t >= 2) & (t <= 8)) | ((t >= 20) & (t <= 26)), 400.0, 0.0)
    data = block(haul=(t, force), rope=(t, x))
    return [m["code"] for m in review(three(), sensors("haul", "rope"), data)["messages"]]


def test_a_counter_that_only_counts_up_is_said():
    assert "counter_only_up" in counted(0.0)
    assert "counter_only_up" not in counted(2.0)


@pytest.mark.parametrize("springs_m", [0.6, 1.2])
def test_rope_that_springs_back_and_is_taken_in_again_is_no_reset(springs_m):
    """Three strokes of 3 m; the rope springs back after each, and each takes it in before the load moves.

    The rig file says nothing of stretch.  By hand: under the same force the rope is where it was.
    """
    corners = [2, 8, 9, 15, 16, 22, 23, 29, 30, 36, 37]
    rope = [
        0,
        3,
        3 - springs_m,
        3 - springs_m,
        3,
        6,
        6 - springs_m,
        6 - springs_m,
        6,
        9,
        9 - springs_m,
    ]
    pulls = [0, 400, 0, 0, 400, 400, 0, 0, 400, 400, 0]
    t = np.arange(0, 42, 0.02)
    force = np.interp(t, [2, 2.01, 8, 9, 15, 16, 22, 23, 29, 30, 36, 37], [0, 400, *pulls[1:]])
    channels = {"haul": (t, force), "rope": (t, np.interp(t, corners, rope))}
    found = review(three(), sensors(*channels), block(**channels))
    assert [s["direction"] for s in found["strokes"]] == ["haul", "haul", "haul"]
    assert found["resets"] == 0


def test_rope_fed_back_beyond_the_spring_back_is_a_reset():
    """As above, but 2 m more are fed back after the first stroke, and the next hauls from there."""
    t = np.arange(0, 42, 0.02)
    x = np.interp(t, [2, 8, 9, 11, 14, 15, 16, 22, 23], [0, 3, 2, 2, 0, 0, 1, 4, 3])
    force = np.interp(t, [2, 2.01, 8, 9, 15, 16, 22, 23], [0, 400, 400, 0, 0, 400, 400, 0])
    channels = {"haul": (t, force), "rope": (t, x)}
    found = review(three(), sensors(*channels), block(**channels))
    assert found["resets"] == 1
    [reset] = [e for e in found["events"] if e["kind"] == "reset"]
    assert reset["value"] == pytest.approx(3.0, abs=0.02)
