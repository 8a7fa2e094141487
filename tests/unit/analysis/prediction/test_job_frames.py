"""The job as frames: the same way as the job's own figures, in the order in which a crew sees it."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from support.places import SHELF
from support.rigs import NINE, THREE, rig, rigs, with_distance

from analysis.mechanics.kinematics import LOAD
from analysis.mechanics.model import model, reset_setbacks
from analysis.mechanics.travel import job, stroke
from analysis.prediction.job_frames import job_frames
from analysis.rig_file.load import load_rig

JOB = "[load]\npull_distance_m = %s\n"


def frames_and_job(rig_, mode="each", **more):
    done = job(rig_, mode, reset_setbacks(model(rig_)))
    return job_frames(rig_, done, **more), done


def test_a_job_of_three_strokes_is_told_stroke_by_stroke():
    """3:1 whose grab starts 3 m off: 2.7 m a stroke; 8 m take 2.7, 2.7 and 2.6 m: hand arithmetic."""
    found = rig(THREE.replace("@50", "@3"), length=12.0, extra=JOB % 8)
    frames = frames_and_job(found)[0].frames
    assert frames[0].kind == "start" and frames[0].haul_travel_m == 0
    ends = [f for f in frames if f.kind == "two-blocked"]
    assert [f.load_travel_m for f in ends] == pytest.approx([2.7, 5.4])
    assert [f.haul_travel_m for f in ends] == pytest.approx([8.1, 16.2])
    assert ends[0].caption.text() == "stroke 1: G1 has met the anchor: reset G1"
    resets = [f for f in frames if f.kind == "reset"]
    assert [f.slid for f in resets] == [(("G1", pytest.approx(0.3), pytest.approx(3.0)),)] * 2
    assert frames[-1].kind == "end" and frames[-1].load_travel_m == pytest.approx(8.0)
    assert frames[-1].haul_travel_m == pytest.approx(24.0)
    assert "hauling until G1 meets the anchor" in frames[1].caption.text()


def test_setback_comes_before_the_grab_is_slid():
    path = "tie:load grab:G1@3 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 haul"
    found = rig(path, length=12.0, extra=JOB % 8 + "[capture.C1]\nsetback_m = 0.05\n")
    frames = frames_and_job(found)[0].frames
    for before, after in pairwise(frames):
        if after.kind == "reset":
            assert after.setback_m == pytest.approx(0.05)
            assert before.load_travel_m - after.load_travel_m == pytest.approx(0.05)
            assert before.haul_travel_m == after.haul_travel_m
    assert frames[-1].haul_travel_m == pytest.approx(3 * (8.0 + 2 * 0.05))


@pytest.mark.parametrize("mode", ["each", "together"])
@pytest.mark.parametrize("path", SHELF, ids=lambda p: p.stem)
def test_the_story_ends_where_the_job_does_and_never_goes_astray(path, mode):
    found = with_distance(load_rig(path), 5.0)
    whole, done = frames_and_job(found, mode)
    frames = whole.frames
    if not done.why_not:
        assert frames[-1].load_travel_m == pytest.approx(done.load_m)
        assert frames[-1].haul_travel_m == pytest.approx(done.haul_m)
        slid = [name for f in frames for name, _, _ in f.slid]
        assert {name: slid.count(name) for name in done.resets} == dict(done.resets)
    else:
        assert done.why_not.text() in frames[-1].caption.text()
    for before, after in pairwise(frames):
        assert after.haul_travel_m >= before.haul_travel_m - 1e-9
        assert after.stroke >= before.stroke
        assert after.load_travel_m == pytest.approx(float(found.start_m[LOAD] - after.x_m[LOAD]))
    for f in frames:
        assert f.x_m.shape == found.start_m.shape and np.all(np.isfinite(f.x_m))
        fixed = [k for k, body in enumerate(found.bodies) if not body.moves]
        assert np.array_equal(f.x_m[fixed], found.start_m[fixed])


def test_stages_close_up_within_a_stroke():
    """Both grabs of a 9:1 come nearer the anchor with every frame of a stroke, G2 three times as fast."""
    found = rig(NINE.replace("@90", "@9").replace("@80", "@8"), length=12.0, extra=JOB % 2.4)
    frames = [f for f in frames_and_job(found)[0].frames if f.stroke == 1]
    assert len(frames) >= 5
    g1, g2 = (np.array([f.x_m[found.index[n]] for f in frames[:-1]]) for n in ("G1", "G2"))
    assert np.all(np.diff(g1) < 0)
    assert np.diff(g2) == pytest.approx(3 * np.diff(g1))


def test_beside_the_axis_the_ways_add_up_to_the_strokes_own():
    found = with_distance(load_rig(SHELF[0].with_name("3-redirect-own-anchor.toml")), 10.0)
    whole, done = frames_and_job(found)
    hauled = [f.haul_travel_m for f in whole.frames if f.kind == "hauling"]
    assert hauled[-1] == pytest.approx(done.haul_m)
    halves = stroke(found, None, 5.0)
    middle = next(f for f in whole.frames if f.load_travel_m == pytest.approx(5.0, abs=1e-6))
    assert middle.haul_travel_m == pytest.approx(halves.haul_m, rel=1e-4)


def test_an_unknown_distance_gives_the_first_stroke_with_the_reason():
    found = rig(THREE.replace("@50", "@3"), length=12.0)
    whole = frames_and_job(found)[0]
    assert whole.frames[-1].load_travel_m == pytest.approx(2.7)
    assert (
        "pull_distance_m is not in the rig file: only the first stroke is shown"
        in whole.frames[-1].caption.text()
    )
    assert [f.kind for f in whole.frames].count("two-blocked") == 1


def test_a_long_job_is_thinned_by_whole_strokes_and_says_so():
    found = rig(NINE.replace("@90", "@9").replace("@80", "@1.5"), length=300.0, extra=JOB % 250)
    whole, done = frames_and_job(found)
    assert done.strokes > 200
    assert len(whole.frames) <= 400
    assert f"of {done.strokes} strokes are shown" in whole.left_out.text()
    assert whole.frames[-1].stroke == done.strokes
    assert whole.frames[-1].haul_travel_m == pytest.approx(done.haul_m)
    few = frames_and_job(found, most=40)[0]
    assert len(few.frames) <= 40


def test_what_cannot_be_finished_is_told_up_to_there():
    found = rig("tie:anchor pulley:L@load haul", length=10.0, extra=JOB % 9.9)
    last = frames_and_job(found)[0].frames[-1]
    assert last.kind == "end" and "no grab can be slid back" in last.caption.text()
    assert last.load_travel_m == pytest.approx(9.7)


@settings(max_examples=12, deadline=None)
@given(rigs())
def test_every_rig_has_a_story(rig_):
    whole = frames_and_job(with_distance(rig_, 3.0))[0]
    assert whole.frames[0].kind == "start" and whole.frames[-1].kind == "end"
    assert len(whole.frames) <= 402
