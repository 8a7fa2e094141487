"""The shelf's rigs by their names, and the choice among them on one job."""

import functools
import re
from collections import Counter
from importlib import resources

import pytest

from analysis.mechanics.model import force_gain, model
from analysis.prediction.choose_rig import GearRatings, Need, between, choose, judge, placed, shelf
from analysis.prediction.predict import predict
from analysis.rig.rig import Load
from logger.errors import RigFault

RIGS = shelf()
chosen = functools.cache(choose)


def ratio_in_name(name: str) -> int:
    """3-on-4 is 3 x 4; a redirect adds nothing; complex-5 and 5-second-rope say it themselves."""
    product = 1
    for number in re.findall(r"\d+", name):
        product *= int(number)
    return product


def test_at_least_24_rigs_with_notes():
    assert len(RIGS) >= 24
    assert all(rig.title and rig.note for rig in RIGS.values())


@pytest.mark.parametrize("name", sorted(RIGS))
def test_each_file_states_the_hardware_that_it_takes(name):
    rig = RIGS[name]
    first = (
        (resources.files("analysis") / "rigs" / f"{name}.toml").read_text("utf-8").split("\n")[0]
    )
    stated = {word.rstrip("s"): int(n) for n, word in re.findall(r"(\d+) ([a-z]+)", first)}
    stations = Counter(s.kind for s in rig.stations)
    bodies = Counter(b.kind for b in rig.bodies)
    assert first.startswith("# Hardware: ")
    assert stated == {
        "pulley": stations["pulley"], "grab": stations["grab"], "capture": stations["capture"],
        "anchor": 1 + bodies["further_anchor"], "rope": len(rig.ropes),
        **({"plate": bodies["plate"]} if bodies["plate"] else {}),
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(RIGS))
def test_ratio_is_the_one_in_its_name(name):
    """Compound rigs multiply (tension method, undated teaching texts); a slanted redirect costs under 1 %."""
    known = model(RIGS[name])
    slanted = "own-anchor" in name
    assert known.ideal_ma == pytest.approx(ratio_in_name(name), rel=0.01 if slanted else 1e-9)


@pytest.mark.parametrize("name", sorted(RIGS))
def test_equilibrium_of_the_whole(name):
    """Anchors and the team's pull balance the load, whatever the friction (statics)."""
    known = predict(RIGS[name])
    names = [r["name"] for r in known["elements"] if r["kind"] == "anchor"]
    anchors = sum(force_gain(RIGS[name], at)[1] for at in names)
    haul = RIGS[name].stations[RIGS[name].haul]
    own = 0.0 if haul.body is not None else {0.0: 1.0, 90.0: 0.0, 180.0: -1.0}[haul.toward_deg]
    assert anchors + own == pytest.approx(known["model_ma"], rel=1e-9)


@pytest.mark.parametrize("name", sorted(n for n in RIGS if RIGS[n].grabs))
def test_every_reset_is_covered_by_a_capture(name):
    covered = {g for held in model(RIGS[name]).held for g in held.covers}
    assert covered == set(RIGS[name].grabs)


def job_of(load_N=3000.0, rope_m=80.0, team_N=600.0, **gear):
    """The launch on greased ways: 3 kN over 15 m."""
    load = Load(resistance_N=load_N, resistance_u_N=0.1 * load_N, pull_distance_m=15.0)
    return Need(load, rope_m, team_N, gear=GearRatings(**gear))


JOB = job_of()


def why_not(option):
    return "; ".join(why.text() for why in option.why_not)


def test_a_bigger_team_needs_no_bigger_rig():
    fits = {o.name for o in chosen(JOB) if not o.why_not}
    more = {o.name for o in choose(job_of(team_N=1500.0)) if not o.why_not}
    assert fits and fits < more


def test_every_winner_can_by_its_own_figures():
    winners = [o for o in chosen(JOB) if not o.why_not]
    for option in winners:
        assert option.haul_force_N + 2 * option.haul_force_u_N <= JOB.team_N
        assert option.rope_needed_m <= JOB.rope_m
        assert option.time_s is not None
    assert [o.time_s for o in winners] == sorted(o.time_s for o in winners)


# what the figures of a rig must show where it is turned down, by the code of the reason
BEARS_OUT = {
    "team_pulls_less": lambda o: o.haul_force_N > JOB.team_N,
    "team_may_pull_less": lambda o: (
        o.haul_force_N <= JOB.team_N < o.haul_force_N + 2 * o.haul_force_u_N
    ),
    "needs_more_rope": lambda o: o.rope_needed_m > JOB.rope_m,
    "nothing_to_slide_back": lambda o: o.strokes is None and o.time_s is None,
    "needs_a_winch": lambda o: o.name.startswith("winch-on-load"),
}


def test_every_loser_has_a_reason_that_its_figures_bear_out():
    """Each reason of each, and whatever the figures show is a reason: none is made up, none is held back."""
    losers = [o for o in chosen(JOB) if o.why_not]
    given = {o.name: {why.code for why in o.why_not} for o in losers}
    shown = {o.name: {code for code, true in BEARS_OUT.items() if true(o)} for o in losers}
    assert given == shown
    assert set().union(*given.values()) == set(BEARS_OUT)


def test_twelve_against_eighteen_in_rope_time_and_force():
    """The bigger ratio takes less force and half as much rope again through the hands (12 : 18)."""
    by_name = {o.name: o for o in chosen(JOB)}
    twelve, eighteen = by_name["3-on-4"], by_name["3-on-3-on-2"]
    # per-pulley efficiency 0.90: 9.3197 and 13.9538 (closed forms of the tension method)
    assert twelve.haul_force_N == pytest.approx(3000 / 9.3197, rel=1e-4)
    assert eighteen.haul_force_N == pytest.approx(3000 / 13.9538, rel=1e-4)
    assert eighteen.rope_through_hands_m / twelve.rope_through_hands_m == pytest.approx(1.5)
    assert eighteen.time_s > twelve.time_s
    told = between(eighteen, twelve).text()
    assert "haul force 215 N against 322 N (33 % less)" in told
    assert "270 m against 180 m" in told


def test_gear_that_is_too_weak_loses_and_is_named():
    weak = {o.name: o for o in choose(job_of(grab_slips_N=1500.0))}
    strong = {o.name: o for o in chosen(JOB)}
    assert not strong["3-on-3"].why_not
    assert "grab G1, raising" in why_not(weak["3-on-3"])
    assert "allowed 1500 N (begins to slip at 1.5 kN)" in why_not(weak["3-on-3"])


def test_knots_of_the_crews_rope_are_taken_at_half_its_strength():
    """The shelf states no knots: 3 kN on the knot at the load of a 9:1 against 50 kN x 0.50 / 10."""
    option = {o.name: o for o in choose(job_of(rope_mbs_N=50_000.0))}["3-on-3"]
    assert option.most_used == pytest.approx(3000 / 2500)
    assert "x 0.5 (knot, assumed)" in why_not(option)
    assert not {o.name: o for o in choose(job_of(rope_mbs_N=65_000.0))}["3-on-3"].why_not


def test_a_load_whose_resistance_nobody_knows_is_refused():
    with pytest.raises(RigFault, match="mass_kg"):
        choose(Need(Load(kind="slope", pull_distance_m=5.0), 80.0, 600.0))


def test_nothing_fits_an_impossible_job():
    assert all(o.why_not for o in choose(job_of(load_N=1e6)))


def test_a_rig_is_placed_at_the_job():
    rig = placed(RIGS["3"], JOB)
    assert rig.start_m[1] == pytest.approx(17.0)
    option = judge("3", RIGS["3"], JOB)
    assert why_not(option).startswith("the haul needs 1107 N; the team pulls 600 N")
    assert (option.pulleys, option.grabs, option.captures, option.anchors, option.ropes) == (
        2, 1, 1, 1, 1,
    )  # fmt: skip
