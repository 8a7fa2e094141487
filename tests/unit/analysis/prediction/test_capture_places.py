"""A capture on each strand of every shelf rig, against statics of the tests' own and the job walked by hand."""

import tomllib

import pytest
from support.held_rope import kind, tensions
from support.places import SHELF
from support.walked_job import straight, walked

from analysis.mechanics.model import model
from analysis.mechanics.travel import job
from analysis.messages.message import text_of
from analysis.prediction.capture_places import NEW, best_first, capture_places
from analysis.rig_file.load import parse_rig

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
JOB = '\n[load]\nkind = "hanging"\nmass_kg = 100.0\npull_distance_m = 12.0\n'


def tried(name, text):
    rig = parse_rig(text, name)
    return rig, capture_places(rig, tomllib.loads(text))


@pytest.mark.parametrize("name", TEXTS)
def test_each_strand_of_the_shelf_against_brute_force(name):
    """A capture is written into the file at each strand, and the forces balanced by the tests' own statics."""
    _, places = tried(name, TEXTS[name])
    assert places
    for one in places:
        data = tomllib.loads(TEXTS[name])
        rope = next(row for row in data["rope"] if row["name"] == one.rope)
        names = [station.get(kind(station)) for station in rope["path"]]
        names = ["free" if station.get("free") else n for n, station in zip(names, rope["path"], strict=True)]  # fmt: skip
        at = next(
            k for k in range(len(names) - 1) if (names[k], names[k + 1]) == (one.start, one.end)
        )
        rope["path"].insert(at + 1, {"capture": NEW, "on": one.on})
        force = tensions(data, NEW)
        if not one.holds:
            if force is not None:
                # the forces would balance: then it is the direction, or there is no room for it
                assert one.why is not None
            continue
        r = data["rope"].index(rope)
        assert force is not None
        assert abs(force[r][at] - force[r][at + 1]) == pytest.approx(one.held, abs=1e-9)
        free = set()
        for k, row in enumerate(data["rope"]):
            for j, station in enumerate(row["path"]):
                if kind(station) == "grab" and abs(force[k][j - 1] - force[k][j]) < 1e-9:
                    free.add(station["grab"])
        assert set(one.covers_resets) == free


# the walk of the tests' own is along one line
STRAIGHT = [name for name, text in TEXTS.items() if straight(tomllib.loads(text))]


@pytest.mark.parametrize("name", STRAIGHT)
def test_what_each_setback_costs_on_the_whole_shelf_against_a_walked_job(name):
    """The job is walked with and without the setback, by kinematics and resets of the tests' own."""
    data = tomllib.loads(TEXTS[name])
    rig, places = tried(name, TEXTS[name] + JOB)
    without = walked(data, 12.0, "each")
    for one in places:
        if not one.holds:
            continue
        with_it = walked(data, 12.0, "each", one.setback_m, set(one.covers_resets))
        if without is None or with_it is None:
            assert one.haul_more_m is None and one.why is not None
            continue
        more_m = with_it.haul_m - without.haul_m
        assert one.haul_more_m == pytest.approx(more_m, abs=1e-6)
        assert one.resets == sum(with_it.resets[g] for g in one.covers_resets)
        assert one.lost_m == pytest.approx(more_m / rope_a_metre(rig), abs=1e-6)


def rope_a_metre(rig):
    """Rope at the haul for one metre of load."""
    return model(rig).travel_ratio


def test_the_nine_to_one_by_hand():
    """By hand, hanging 100 kg = 980.665 N: at the anchor behind G1 a capture takes the whole load; on G1, where
    two strands share it, half, and setting with 0.9 over A1 the sum 1 = T + 0.9 T of the two."""
    _, places = tried("3-on-3", TEXTS["3-on-3"] + JOB)
    rows = {(one.start, one.end, one.on): one for one in places}
    first = rows["G1", "C1", "anchor"]
    assert (first.held, first.setting) == (pytest.approx(1.0), pytest.approx(1.0))
    assert first.held_N == pytest.approx(980.665)
    half = rows["A1", "T1", "G1"]
    assert half.held == pytest.approx(0.5)
    assert half.setting == pytest.approx(0.9 / 1.9)
    assert half.covers_resets == ("G2",)
    assert rows["load", "G1", "load"].holds is False
    assert best_first(places)[0].covers_resets == ("G1", "G2")


def test_what_the_setback_costs_is_the_job_with_it_less_the_job_without():
    text = TEXTS["3-on-3"] + JOB + "[capture.C1]\nsetback_m = 0.1\n"
    rig, places = tried("3-on-3", text)
    with_it, without = (job(rig, "each", dict.fromkeys(("G1", "G2"), back)) for back in (0.1, 0.0))
    one = next(one for one in places if one.on == "anchor" and one.end == "C1")
    assert one.setback_m == 0.1
    assert one.haul_more_m == pytest.approx(with_it.haul_m - without.haul_m)
    # each reset gives 0.1 m away, which is hauled again, nine to one
    assert one.lost_m == pytest.approx(0.1 * one.resets)
    assert one.haul_more_m == pytest.approx(9 * 0.1 * one.resets)


def test_without_a_distance_the_cost_is_null_with_the_reason():
    _, places = tried("3", TEXTS["3"])
    held = [one for one in places if one.holds]
    assert held and all(one.haul_more_m is None and text_of(one.why) for one in held)
    assert all(one.json()["lost_m"] is None for one in held)
