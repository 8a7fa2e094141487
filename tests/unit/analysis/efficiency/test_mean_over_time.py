"""The mean force over time against the two theorems it rests on, and where it must not be used.

Motions are stated in closed form and forces follow from m dv/dt = F - R (inverse dynamics), so the true values
come from the motion and not from a program.  Source: the impulse-momentum and the work-energy theorem of any
textbook of mechanics.  Masses, ripples and periods: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from support.readings import analyse, block, cut_at_random, sensors, three

from analysis.efficiency.estimate import estimate
from analysis.efficiency.uncertainty import budget_rows
from analysis.mechanics.model import model
from analysis.signals.lag_from_ripple import DOUBT, LIKELY, TRAVEL_LAGS
from analysis.signals.mean_over_time import MotionSums
from analysis.signals.time_cells import RATE

R, MASS, SPEED, MA, RATIO = (
    1000.0,
    600.0,
    0.2,
    2.5,
    3.0,
)  # N, kg, m/s of the load, load / haul force, travel
BY_TIME = "mean over time and over distance"
HZ = 200.0


@dataclass(frozen=True)
class Hands:
    """How the load moves: `ripple` of its mean speed, once every `period_s`; what it resists."""

    period_s: float = 1.4
    ripple: float = 0.45
    by_speed: float = 0.0  # relative change of the resistance per relative change of speed
    by_place: float = 0.0  # relative change of the resistance over the whole way
    pace: float = 0.0  # slow change of the mean speed over a stroke, relative
    stops: bool = False  # hands stop: the load stands for a third of each period
    strokes: int = 3
    lasts_s: float = 16.0


def _stroke(hands: Hands, number: int = 0) -> tuple[np.ndarray, ...]:
    """Time s, load travel m and force on the load N of one stroke from rest to rest, (n,) each."""
    t = np.arange(0, hands.lasts_s, 1 / HZ)
    phase = 2 * math.pi * t / hands.period_s
    v = SPEED * (1 + hands.ripple * np.sin(phase)) * (1 + hands.pace * np.sin(2 * math.pi * t / 11))
    if hands.stops:
        u = (t / hands.period_s) % 1.0
        v = SPEED * 1.5 * np.where(u < 2 / 3, 1 - np.cos(3 * math.pi * u), 0.0)
    v = v * np.clip(np.minimum(t, hands.lasts_s - t) / 0.5, 0, 1)  # from rest and to rest
    y = np.concatenate(([0.0], np.cumsum((v[1:] + v[:-1]) / 2))) / HZ
    place = (number + y / y[-1]) / hands.strokes - 0.5
    resists = R * (1 + hands.by_speed * (v / SPEED - 1)) * (1 + hands.by_place * place)
    return t, y, resists + MASS * np.gradient(v, 1 / HZ)


def _session(hands: Hands, late_s: float = 0.0, *, back: bool = False):
    """Haul cell `late_s` behind the counters: channels of a session, and the true mean haul force, N.

    back: after each stroke the load is lowered, by 0.6 of the force.
    """
    rest = np.zeros(int(2.5 * HZ))
    pulls, ways, at = [rest], [rest], 0.0
    for number in range(hands.strokes):
        _, y, force = _stroke(hands, number)
        pulls += [force / MA, 0 * rest]
        ways += [at + y, at + y[-1] + 0 * rest]
        at += y[-1]
        if back:
            held = np.full(len(rest), 0.6 * R / MA)
            lowers = 0.6 * (2 * R - force) / MA
            pulls[-1:] = [held, lowers, held, 0 * rest]
            ways[-1:] = [at + 0 * rest, at - y, at - y[-1] + 0 * rest, at - y[-1] + 0 * rest]
            at -= y[-1]
    pull, way = np.concatenate(pulls), np.concatenate(ways)
    time = np.arange(len(pull)) / HZ
    return {"haul": (time + late_s, pull), "rope": (time, RATIO * way), "way": (time, way)}


def _result(hands: Hands, late_s: float = 0.0, delays: str = "", **more):
    named = ("haul", "rope", "way")
    stated = dict.fromkeys(named, "u = 0.0\n" + delays) if delays else {}
    if delays:
        stated["haul"] = f"u = 0.0\ndelay_s = {late_s}\ndelay_u_s = 0.002\n"
    return analyse(three(), sensors(*named, **stated), block(**_session(hands, late_s, **more)))


def _estimates(hands: Hands, late_s: float = 0.0, **more):
    rig = three()
    return estimate(rig, model(rig), _result(hands, late_s, **more))


def _covered(quantity, true: float) -> bool:
    return abs(quantity.value - true) <= quantity.U95


def test_both_theorems_hold_for_the_stated_motion():
    """From rest to rest the mean over time and that over distance are what the load resists."""
    t, y, force = _stroke(Hands())
    v = np.gradient(y, t)
    assert np.trapezoid(force, t) / t[-1] == pytest.approx(R, rel=1e-3)
    assert np.trapezoid(force * v, t) / y[-1] == pytest.approx(R, rel=1e-3)


@pytest.mark.parametrize("late_s", [-0.25, -0.1, 0.0, 0.12, 0.28])
def test_no_delay_stated_and_still_the_true_force(late_s):
    """A cell up to 0.28 s late: the mean over distance as sent is off by percents, the estimate is not."""
    found = _estimates(Hands(), late_s)
    true = R / MA
    assert found.haul_force.value == pytest.approx(true, rel=0.012)
    assert 0.03 * true > found.haul_force.U95 and _covered(found.haul_force, true)
    assert BY_TIME in {c.name for c in found.haul_force.budget}
    as_sent = found.seen.mean(0) / found.seen.lags[0].factor
    assert late_s == 0.0 or abs(as_sent / true - 1) > 0.01


def test_the_blanket_doubt_is_what_it_replaces():
    """The same readings with hands that stop: the doubt of 0.3 s stays, and is many times as wide."""
    moving, stopping = _estimates(Hands(), 0.2), _estimates(Hands(stops=True), 0.2)
    assert stopping.seen.lags[0].by_time == 0.0
    assert BY_TIME not in {c.name for c in stopping.haul_force.budget}
    assert stopping.seen.lags[0].factor_u > 5 * moving.seen.lags[0].factor_u
    assert _covered(stopping.haul_force, R / MA)


def _sums(force: np.ndarray, travel: np.ndarray, k: int = 1):
    """The means of force N and travel m a cell, (n,), that go on for whole seconds."""
    sums = MotionSums(1, TRAVEL_LAGS)
    n = len(force) // RATE * RATE
    none = np.zeros(8 * RATE)
    for f, x, so in ((force[:n], travel[:n], np.ones(n, bool)), (none, none, none > 0)):
        travels = np.zeros((2, len(x)))
        travels[k] = x
        sums.push(f[None], travels, so)
    return sums.means(k, float(travel[:n].sum()))


def _steady(ripple: float, period_s: float, by_speed: float = 0.0, mass: float = MASS):
    """Force N and travel m a cell of 60 s of one motion: closed forms at the middles of cells."""
    t = (np.arange(60 * RATE) + 0.5) / RATE
    w = 2 * math.pi / period_s
    v = SPEED * (1 + ripple * np.sin(w * t))
    force = R * (1 + by_speed * (v / SPEED - 1)) + mass * SPEED * ripple * w * np.cos(w * t)
    return force, v / RATE


def test_the_difference_of_both_means_is_the_covariance():
    force, travel = _steady(0.4, 1.4)
    found = _sums(force, travel)
    assert found.time_N[0] == pytest.approx(R, rel=2e-4)
    zero = len(TRAVEL_LAGS) // 2
    assert found.distance_N[0, zero] == pytest.approx(R, rel=2e-4)
    # F(t + lag) with v(t): the covariance of two sines over the mean speed, in closed form
    w, r = 2 * math.pi / 1.4, 0.4
    apart = -MASS * SPEED * w * r * r / 2 * np.sin(w * TRAVEL_LAGS / RATE)
    assert found.distance_N[0] - R == pytest.approx(apart, abs=0.05 * np.abs(apart).max())


def test_rope_with_hysteresis_adds_to_the_mean_over_rope_alone():
    """A rope as spring and dashpot side by side loses c w^2 s^2 / 2 of power (any text on damping)."""
    force, travel = _steady(0.2, 1.4)
    t, w = (np.arange(len(force)) + 0.5) / RATE, 2 * math.pi / 1.4
    k, c, a = (
        20000.0,
        6000.0,
        MASS * SPEED * 0.2 * w,
    )  # N/m, N s/m at the load; amplitude of the force, N
    s = a / math.hypot(k, c * w)  # amplitude of the stretch, m
    stretch_speed = -s * w * np.sin(w * t - math.atan2(c * w, k))
    found = _sums(force, travel + stretch_speed / RATE, 0)
    lost = c * w * w * s * s / 2 / SPEED
    zero = len(TRAVEL_LAGS) // 2
    assert found.distance_N[0, zero] - R == pytest.approx(lost, rel=0.1)
    assert lost > 0.0002 * R and found.time_N[0] == pytest.approx(R, rel=2e-4)


def test_resistance_by_speed_parts_the_means_and_moves_the_root():
    """Half of the resistance proportional to speed, var(v) / v^2 = 0.104: 5.2 % and, for this mass, 45 ms."""
    ripple, period_s = math.sqrt(2 * 0.104), 1.4
    w = 2 * math.pi / period_s
    mass = 0.5 * R / (w * SPEED * math.tan(w * 0.045))
    found = _sums(*_steady(ripple, period_s, by_speed=0.5, mass=mass))
    zero = len(TRAVEL_LAGS) // 2
    assert found.distance_N[0, zero] / found.time_N[0] - 1 == pytest.approx(0.052, rel=0.06)
    fine = np.arange(-8, 8.01, 0.05)
    apart = np.interp(fine, TRAVEL_LAGS, found.distance_N[0]) - found.time_N[0]
    roots = fine[:-1][np.sign(apart[1:]) != np.sign(apart[:-1])] / RATE
    assert len(roots) == 1 and abs(roots[0]) == pytest.approx(0.045, abs=0.004)


def test_a_trend_with_speed_is_seen_within_a_motion_and_corrected():
    """Half of the resistance proportional to speed, mean speed +- 15 % in 20 s; expected: a = 0.5, and R v averaged."""
    t = (np.arange(60 * RATE) + 0.5) / RATE
    w = 2 * math.pi / 1.4
    v = SPEED * (1 + 0.4 * np.sin(w * t)) * (1 + 0.15 * np.sin(2 * math.pi * t / 20))
    force = R * (1 + 0.5 * (v / SPEED - 1)) + MASS * np.gradient(v, 1 / RATE)
    found = _sums(force, v / RATE)
    assert found.shows_speed and found.steady
    assert found.by_speed == pytest.approx(0.5, abs=0.06)
    true = float(np.average(force, weights=v))
    assert found.mean_N[0] == pytest.approx(true, rel=0.01)
    assert found.time_N[0] < 0.97 * true
    assert abs(found.mean_N[0] / true - 1) < 2 * found.u


def test_at_2_hz_roots_lie_a_quarter_of_a_second_apart():
    found = _sums(*_steady(0.4, 0.5))
    fine = np.arange(-12, 12.01, 0.05)
    apart = np.interp(fine, TRAVEL_LAGS, found.distance_N[0]) - found.time_N[0]
    roots = fine[:-1][np.sign(apart[1:]) != np.sign(apart[:-1])] / RATE
    assert np.diff(roots) == pytest.approx(0.25, abs=0.02)
    near = np.interp(DOUBT[0.011 * LIKELY.max() < LIKELY], TRAVEL_LAGS, found.distance_N[0])
    assert found.steady and found.roots(near) > 1


def test_fast_hands_keep_the_blanket_doubt():
    found = _estimates(Hands(period_s=0.5), 0.1)
    assert found.seen.lags[0].by_time == 0.0 and _covered(found.haul_force, R / MA)


@pytest.mark.parametrize(
    "hands",
    [
        Hands(by_speed=0.5, pace=0.25, strokes=5),
        Hands(by_speed=0.5, pace=0.4, ripple=0.3, strokes=4),
        Hands(by_place=0.2, strokes=4),
    ],
)
def test_a_resistance_with_a_trend_keeps_the_blanket_doubt(hands):
    """Shown by a slow change of the speed, or by the way: the interval holds the mean over distance."""
    parts = [_stroke(hands, number) for number in range(hands.strokes)]
    force, speed = (
        np.concatenate(x) for x in ([p[2] for p in parts], [np.gradient(p[1]) for p in parts])
    )
    true = float(np.average(force, weights=speed)) / MA
    found = _estimates(hands, 0.15)
    assert found.seen.lags[0].by_time == 0.0
    assert _covered(found.haul_force, true)


def test_a_slow_change_by_place_that_is_small_stays_within():
    hands = Hands(by_place=0.05, strokes=4)
    found = _estimates(hands, 0.15)
    assert found.seen.lags[0].by_time > 0.5
    assert found.haul_force.value == pytest.approx(R / MA, rel=0.01)


def test_stated_delays_keep_their_say():
    """Delays known to 2 ms weigh more than the mean over time, and one that contradicts it rules it out."""
    hands, counters = Hands(), "delay_s = 0.0\ndelay_u_s = 0.002\n"
    right = _result(hands, 0.2, counters).lags[0]
    blanket = _result(hands, 0.2).lags[0]
    assert right.by_time < 0.6 < blanket.by_time
    assert right.factor_u < blanket.factor_u
    assert right.factor == pytest.approx(blanket.factor, rel=0.005)
    # half of the resistance by speed at one even pace: nothing shows it but the delays
    hidden = replace(hands, by_speed=0.5)
    _, y, force = _stroke(hidden)
    true = float(np.average(force, weights=np.gradient(y))) / MA
    rig = three()
    found = estimate(rig, model(rig), _result(hidden, 0.2, counters))
    assert found.seen.lags[0].by_time == 0.0
    assert found.haul_force.value == pytest.approx(true, rel=0.01)


@pytest.mark.parametrize("late_s", [-0.2, 0.2])
def test_lowering_gets_the_same(late_s):
    result = _result(Hands(), late_s, back=True)
    haul, lower = result.lags[0], result.lowering_lags[0]
    assert haul.by_time > 0.5 and lower.by_time > 0.5
    means = [
        s.steady.force_N[0] / s.steady.shifted_by for s in result.strokes if s.direction == "lower"
    ]
    assert len(means) == 3
    assert np.mean(means) * lower.factor == pytest.approx(0.6 * R / MA, rel=0.015)
    assert lower.factor_u < 0.01


def test_the_doubt_of_lowering_is_in_the_budget():
    mass = R / 9.80665
    rig = three(
        None, more=f'\n[load]\nkind = "hanging"\nmass_kg = {mass}\nmass_kg_u = {0.5 * mass}\n'
    )
    for hands, name in ((Hands(), BY_TIME), (Hands(stops=True), "lag between channels")):
        found = estimate(rig, model(rig), _result(hands, 0.2, back=True))
        assert found.method == "haul-and-lower"
        rows = {row.name: row.u for row in budget_rows(found.actual_ma)}
        assert rows[f"lowering: {name}"] > 0


def test_the_cut_changes_nothing():
    """The lags of one push and of many are the same to the last bit."""
    channels = _session(Hands(), 0.2, back=True)
    whole = analyse(three(), sensors("haul", "rope", "way"), block(**channels))
    cut = analyse(three(), sensors("haul", "rope", "way"), *cut_at_random(4, 40, **channels))
    assert cut.lags == whole.lags and cut.lowering_lags == whole.lowering_lags
    assert cut.work_lags == whole.work_lags
    assert [s.lagged_J for s in cut.strokes] == [s.lagged_J for s in whole.strokes]
