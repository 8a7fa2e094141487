"""The best places of grabs, against brute force over a grid on every shelf rig that has grabs."""

import copy
import itertools
import tomllib

import numpy as np
import pytest
from support.held_rope import beyond_their_strand, places
from support.places import SHELF
from support.walked_job import joined, straight, walked

from analysis.prediction.grab_places import MODES, best_placing, fits, grab_places, placing
from analysis.rig_file.load import parse_rig

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
JOB = "\n[load]\npull_distance_m = {distance}\n"
GRABBED = [
    name
    for name, text in TEXTS.items()
    if "grab" in text.replace("Hardware", "").split("path", 1)[1]
]
QUICK = ["3", "3-on-4"]


def rig_of(name, distance=15.0, more=""):
    text = TEXTS[name]
    if "[load]" in text:
        raise AssertionError("the shelf states no load")
    return parse_rig(text + JOB.format(distance=distance) + more, name)


def stands(data, filed):
    """Whether each grab stands on its strand, with clearance to the bodies that a strand joins it to and on the same side of
    them as in the file: rope that ran the other way would have to push."""
    at, was = places(data), places(filed)
    grabs = {s["grab"] for rope in data["rope"] for s in rope["path"] if "grab" in s}
    clear = all(
        abs(at[a][0] - at[b][0]) >= data.get("clearance_m", 0.3) - 1e-9
        for a, b in joined(data)
        if grabs & {a, b}
    )
    turned = any((at[a][0] - at[b][0]) * (was[a][0] - was[b][0]) <= 0 for a, b in joined(data))
    return clear and not turned and beyond_their_strand(data) == []


def put(data, where):
    """The rig with its grabs at these places, m."""
    made = copy.deepcopy(data)
    for rope in made["rope"]:
        for station in rope["path"]:
            if "grab" in station:
                station["at_m"] = where[station["grab"]]
    return made


def brute(name, mode, step_m, distance=15.0):
    """Fewest resets and then least rope over a grid of places, walked by the tests' own job; None where none does."""
    data = tomllib.loads(TEXTS[name])
    grabs = [s["grab"] for rope in data["rope"] for s in rope["path"] if "grab" in s]
    axis = [float(x) for x in np.arange(0.37, data["anchor_to_load_m"], step_m)]
    best = None
    for where in itertools.product(axis, repeat=len(grabs)):
        made = put(data, dict(zip(grabs, where, strict=True)))
        if not stands(made, data):
            continue
        one = walked(made, distance, mode)
        if one is not None and (best is None or rank(one) < rank(best)):
            best = one
    return best


def rank(one):
    """What is to be small: resets, then rope."""
    return sum(one.resets.values()), one.rope_m


def against_brute_force(name):
    data = tomllib.loads(TEXTS[name])
    for mode in MODES:
        rig = rig_of(name)
        best = best_placing(rig, mode)
        if not straight(data):
            # the walk of the tests' own is along one line: the search's own judge on another grid
            grid = over_grid(rig, mode, {1: 0.25, 2: 1.1}[len(rig.grabs)])
            assert best is not None and grid is not None
            assert best.rank <= (grid.resets, grid.rope_m + 0.05), (name, mode)
            continue
        grid = brute(name, mode, {1: 0.25, 2: 1.1, 3: 2.3}[len(rig.grabs)])
        if best is not None:
            again = walked(put(data, best.at_m), 15.0, mode)
            assert stands(put(data, best.at_m), data) and again is not None
            assert again.resets == dict(best.resets_of) and again.strokes == best.strokes
            assert again.haul_m == pytest.approx(best.haul_m)
            assert again.rope_m == pytest.approx(best.rope_m)
        if grid is None:
            continue
        fewest, rope_m = rank(grid)
        assert best is not None and best.resets <= fewest, (name, mode)
        if best.resets == fewest:
            assert best.rope_m <= rope_m + 0.05, (name, mode)


def over_grid(rig, mode, step_m):
    """The best over a grid of places, each step_m apart, by the job of the search itself."""
    best = None
    axis = np.arange(0.37, float(rig.start_m[1]), step_m)
    for where in itertools.product(axis, repeat=len(rig.grabs)):
        x = rig.start_m.copy()
        for name, place in zip(rig.grabs, where, strict=True):
            x[rig.index[name]] = place
        one = placing(rig, mode, x) if fits(rig, x) else None
        if one is not None and (best is None or one.rank < best.rank):
            best = one
    return best


@pytest.mark.parametrize("name", QUICK)
def test_no_grid_beats_the_search(name):
    against_brute_force(name)


MOST_OFTEN = 1  # grabs of a rig that is searched in `many`; more take minutes and are in `long`


def tier(name):
    """The run in which a rig is searched on its grid."""
    grabs = len(rig_of(name).grabs)
    return pytest.param(name, marks=pytest.mark.many if grabs <= MOST_OFTEN else pytest.mark.long)


@pytest.mark.parametrize("name", [tier(name) for name in GRABBED if name not in QUICK])
def test_no_grid_beats_the_search_on_the_shelf(name):
    against_brute_force(name)


def test_the_three_to_one_by_hand():
    """By hand: the load goes 15 m, the grab with it, and must end 0.3 m before the anchor: 15.3 m is enough, and
    the nearest place that needs no reset takes the least rope."""
    placed = grab_places(rig_of("3"))
    assert placed.chosen is not None
    assert placed.chosen.resets == 0 and placed.chosen.mode == "each"
    assert placed.chosen.at_m["G1"] == pytest.approx(15.3, abs=0.02)
    assert placed.more_space is not None and placed.more_rope is None


def test_rope_that_is_too_short_for_the_fewest_resets_is_kept_to():
    """By hand, 3:1 with the grab at x: 20 m + 2 x from the load to the grab's pulley, x on to the team, 3 m in
    hand and 1 m for the tie; with 50 m in the bag the grab goes no farther than where that is used up."""
    text = TEXTS["3"].replace('name = "main"', 'name = "main"\nlength_m = 50.0')
    rig = parse_rig(text + JOB.format(distance=15.0), "short")
    placed = grab_places(rig)
    assert placed.chosen is not None and placed.chosen.resets == 1
    assert placed.chosen.rope_m <= 50.0
    assert placed.more_rope is not None


def test_what_cannot_be_answered_is_null_with_the_reason():
    without = grab_places(parse_rig(TEXTS["3"], "3"))
    assert without.chosen is None and without.json()["why"]
    none = grab_places(rig_of("2"))
    assert none.chosen is None and "no grab" in none.json()["why"]
    short = TEXTS["3"].replace('name = "main"', 'name = "main"\nlength_m = 5.0')
    placed = grab_places(parse_rig(short + JOB.format(distance=15.0), "short"))
    assert placed.chosen is None and placed.why is not None
