"""The job of every shelf rig along one line, walked by kinematics and resets that are the tests' own."""

import tomllib

import pytest
from support.places import SHELF
from support.walked_job import straight, walked

from analysis.mechanics.travel import job
from analysis.rig_file.load import parse_rig

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
LINES = [name for name, text in TEXTS.items() if straight(tomllib.loads(text))]


def test_only_rigs_with_an_anchor_aside_are_left_out():
    assert set(TEXTS) - set(LINES) == {"3-on-3-redirect-own-anchor", "3-redirect-own-anchor"}


@pytest.mark.parametrize("mode", ["each", "together"])
@pytest.mark.parametrize("name", LINES)
def test_strokes_resets_and_rope_are_those_of_the_walk(name, mode):
    told = 0
    for distance_m in (2.0, 5.0, 12.0, 15.0):
        rig = parse_rig(TEXTS[name] + f"\n[load]\npull_distance_m = {distance_m}\n", name)
        for setback_m in (0.0, 0.07):
            done = job(rig, mode, dict.fromkeys(rig.grabs, setback_m))
            way = walked(tomllib.loads(TEXTS[name]), distance_m, mode, setback_m)
            assert (way is None) == (done.why_not is not None)
            if way is not None:
                told += 1
                assert (way.strokes, way.resets) == (done.strokes, done.resets)
                assert way.haul_m == pytest.approx(done.haul_m)
    assert told
