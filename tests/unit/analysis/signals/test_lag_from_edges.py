"""The lag between the haul cell and the rope counter, found from the readings and taken out."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from support.readings import analyse, block, review, sensors, three

from analysis.signals.lag_from_edges import LagWatch
from analysis.simulation.demo_haul import demo_rig, demo_sensors, simulate
from analysis.strokes.lag_correction import with_lag
from logger.channels.sensors_file import parse_sensors
from logger.errors import UserFault

PLAIN = sensors("haul", "rope")


@lru_cache(maxsize=8)
def haul(seed):
    return simulate(seed, 60.0)


@lru_cache(maxsize=1)
def two_channels():
    """The demo's haul cell and rope counter alone."""
    parts = demo_sensors().text.split("[[channel]]")[1:]
    kept = [p for p in parts if "haul_force" in p or "rope_out" in p]
    return parse_sensors("".join("[[channel]]" + p for p in kept), "sensors.toml")


def late(seed, lag, every=1):
    """The demo's haul, its rope counter late by lag s, every so many readings of it."""
    found = haul(seed)
    t, force, rope = found.time_s, found.values["haul_force"], found.values["rope_out"]
    data = block(haul_force=(t, force), rope_out=((t + lag)[::every], rope[::every]))
    return analyse(demo_rig(), two_channels(), data)


@pytest.mark.parametrize("lag", [0.0, 0.12, -0.15, 0.3])
@pytest.mark.parametrize("every", [1, 6])
def test_the_lag_of_a_rope_that_stretches_is_found(lag, every):
    """The demo's physics: spring, drag, mass and friction; hands that pull unevenly.  At 13
    readings a second straight lines between them are up to 0.04 s off the kink."""
    for seed in (0, 2):
        result = late(seed, lag, every)
        assert result.lag_s == pytest.approx(lag, abs=0.03 if every == 1 else 0.05)
        assert abs(result.lag_s - lag) <= 2 * result.lag_u_s
        assert 0.01 < result.lag_u_s < 0.06


def test_it_is_taken_out_of_means_and_told():
    """Rippling force at rippling speed: shifting them against each other moves the mean."""
    t = np.arange(0, 72, 0.02)
    u = t % 18
    moves = (u > 2.6) & (u < 12.6)  # eight pulls of a hand
    phase = np.where(moves, 2 * np.pi * 0.8 * (u - 2.6), 0.0)
    base = np.interp(u, [2, 2.6, 12.6, 13.1, 15, 17.5], [0, 0.3, 6.3, 6.0, 4, 0])
    rope = base + 0.042 * (1 - np.cos(phase))  # speed 0.6 (1 + 0.35 sin)
    force = np.interp(u, [2, 2.6, 12.6, 13.1], [0, 400, 400, 0]) * (1 + 0.3 * np.sin(phase))
    true = analyse(three(), PLAIN, block(haul=(t, force), rope=(t, rope)))
    assert true.lag_s == pytest.approx(0.0, abs=0.04)
    shifted = block(haul=(t, force), rope=(t + 0.25, rope))
    found = analyse(three(), PLAIN, shifted)
    assert found.lag_s == pytest.approx(0.25, abs=0.03)
    mean, want = (np.mean([s.mean_force_N for s in r.strokes]) for r in (found, true))
    assert mean == pytest.approx(421, rel=0.013)
    # 400 (1 + 0.3 x 0.35 / 2) N; as read, without the shift, the sines are 0.4 pi apart
    assert want == pytest.approx(421, rel=0.01)
    unshifted = np.mean([s.steady.shifted_N[3] for s in found.strokes])
    assert unshifted == pytest.approx(400 * (1 + 0.0525 * np.cos(0.4 * np.pi)), rel=0.01)
    [line] = [w for w in review(three(), PLAIN, shifted)["warnings"] if "lags" in w]
    assert line.startswith("rope lags haul by 0.2")
    assert "corrected for this lag" in line


def test_rope_let_go_first_and_fed_back_later_is_no_lag():
    """Force on and off while the rope stands, fed back 0.15 s after: no stretch, so no lag."""
    t = np.arange(0, 80, 0.02)
    u = t % 20
    force = np.interp(u, [2, 2.3, 12, 12.3], [0, 400, 400, 0])
    rope = np.interp(u, [2.3, 12, 12.45, 17], [0, 5, 5, 0])
    result = analyse(three(), PLAIN, block(haul=(t, force), rope=(t, rope)))
    assert result.lag_s is None
    assert "this may not be a lag" in result.lag_why_not.text()


def test_too_few_looks_give_none_and_a_reason():
    t = np.arange(0, 20, 0.02)
    force = np.where((t > 2) & (t < 14), 400.0, 0.0)
    result = analyse(three(), PLAIN, block(haul=(t, force), rope=(t, np.clip(t - 2, 0, 12))))
    assert result.lag_s is None
    assert "3 are needed" in result.lag_why_not.text()
    assert LagWatch().result().lag_s is None


def test_an_unknown_lag_leaves_its_uncertainty_in_the_means():
    t = np.arange(0, 20, 0.02)
    pulled = (t > 2) & (t < 14)
    phase = 2 * np.pi * 0.8 * t
    speed = np.where(pulled, 0.5 * (1 + 0.35 * np.cos(phase)), 0)
    rope = np.cumsum(speed) * 0.02
    ripple = np.where(pulled, 400 * (1 + 0.3 * np.sin(phase)), 0)
    for force, at_least, most in ((ripple, 0.01, 0.05), (400.0 * pulled, 0.0, 0.005)):
        result = analyse(three(), PLAIN, block(haul=(t, force), rope=(t, rope)))
        assert result.lag_s is None
        assert at_least <= result.lag_share <= most
        assert with_lag(result.strokes, LagWatch().result())[1] == result.lag_share


def with_delays(*delays, base=PLAIN):
    """haul and rope (or the channels of `of`) with these stated delays (delay_s, delay_u_s)."""
    parts = base.text.split("[[channel]]")[1:]
    text = "".join(
        f"[[channel]]{part.rstrip()}\ndelay_s = {delay}\ndelay_u_s = {u}\n"
        for part, (delay, u) in zip(parts, delays, strict=True)
    )
    return parse_sensors(text, "sensors.toml")


def rippling(late_s):
    """(true mean over distance, readings): the force ripples as the load's speed changes, the counter is late by
    late_s; tension is let off once only, so the readings can't tell."""
    t = np.arange(0, 60, 0.02)
    pulled = (t > 2) & (t < 52)
    phase = 2 * np.pi * 0.8 * t
    speed = np.where(pulled, 0.3 * (1 + 0.6 * np.sin(phase)), 0)
    force = np.where(pulled, 400 * (1 + 0.3 * np.cos(phase)), 0)
    data = block(haul=(t, force), rope=(t + late_s, np.cumsum(speed) * 0.02))
    # mean of (1 + 0.3 c)(1 + 0.6 s) over mean of (1 + 0.6 s), c and s a quarter of a cycle apart: 1; 0.1 s late: 1 - 0.09 sin(0.16 pi)
    return 400.0, data


@pytest.mark.parametrize(("cell", "rope"), [(0.0, 0.0), (0.05, 0.25), (0.25, 0.05), (0.2, 0.2)])
def test_stated_delays_take_the_place_of_what_is_not_known(cell, rope):
    true, data = rippling(rope - cell)
    known = review(three(), with_delays((cell, 0.01), (rope, 0.01)), data)["measured"][
        "haul_force_N"
    ]
    unknown = review(three(), PLAIN, data)["measured"]["haul_force_N"]
    assert abs(known["value"] - true) <= known["U95"]
    assert known["U95"] < unknown["U95"] / 2
    assert abs(unknown["value"] - true) <= unknown["U95"]


@pytest.mark.parametrize("behind", [-0.2, 0.1, 0.25])
def test_stated_delays_of_two_cells_are_believed_where_noise_hides_their_lag(behind):
    """Force at the load 2.6 times the haul force.  Noise of 60 N, so that changes do not correlate."""
    at = {"haul": max(0.0, -behind), "rope": 0.0, "cell": max(0.0, behind)}
    _, data = rippling(0.0)
    t, force = data.readings["haul"].time_s, data.readings["haul"].reading
    noise = np.random.default_rng(1).normal(0.0, 60.0, (2, len(t))) * (force > 0)
    rope = data.readings["rope"]
    sent = block(
        haul=(t + at["haul"], force + noise[0]), rope=(rope.time_s, rope.reading),
        cell=(t + at["cell"], 2.6 * force + 2.6 * noise[1]),
    )  # fmt: skip
    channels = sensors("haul", "rope", "cell")
    delays = with_delays(*((at[name], 0.01) for name in at), base=channels)
    assert analyse(three(), delays, sent).lags[1].behind_s == pytest.approx(behind)
    known = review(three(), delays, sent)["measured"]["actual_ma"]
    assert abs(known["value"] - 2.6) <= known["U95"] < 0.08


@pytest.mark.parametrize("late_s", [-0.1, 0.0, 0.1, 0.2])
def test_a_load_that_jerks_is_covered_though_the_force_varies_least_at_a_wrong_lag(late_s):
    """Mass, spring and dry friction: rope stretches for 0.5 s from 280 to 520 N, then the load makes
    its way in half a sine of 1 s while the force falls back in a cosine: 400 N over the load's way.
    A haul cell that is late shows the force of the break-away instead, and shows it more evenly."""
    t = np.arange(0, 62, 0.02)
    u, k = (t - 2) % 1.5, np.floor((t - 2) / 1.5)
    pulled, angle = (t > 2) & (t < 56), np.pi * np.clip(u - 0.5, 0, 1)
    force = np.where(u < 0.5, 280 + 480 * u, 400 + 120 * np.cos(angle)) * pulled
    done = np.where(pulled, k + (1 - np.cos(angle)) / 2, 36.0) * (t > 2)
    rope = np.clip(t - 2, 0, 54) * 0.3
    data = block(haul=(t + late_s, force), rope=(t, rope), way=(t, 0.15 * done))
    found = review(three(), sensors("haul", "rope", "way"), data)
    force = found["measured"]["haul_force_N"]
    assert abs(force["value"] - 400) <= force["U95"] < 120
    assert not any(
        "in jerks" in w for w in found["warnings"]
    )  # it moves for two thirds of the time


def test_a_load_that_stands_for_most_of_the_rope_is_told():
    """Rope at 0.3 m/s for 5 s, then the load makes its 0.5 m in 0.5 s."""
    t = np.arange(0, 62, 0.02)
    u, k = (t - 2) % 5.5, np.floor((t - 2) / 5.5)
    pulled = (t > 2) & (t < 57)
    force = np.where(pulled, np.interp(u, [0, 5, 5.5], [300.0, 500.0, 300.0]), 0.0)
    way = 0.55 * np.where(pulled, k + np.interp(u, [5, 5.5], [0, 1]), 10.0) * (t > 2)
    rope = np.clip(t - 2, 0, 55) * 0.3
    data = block(haul=(t, force), rope=(t, rope), way=(t, way))
    said = review(three(), sensors("haul", "rope", "way"), data)["warnings"]
    [line] = [w for w in said if "in jerks" in w]
    assert "the load stood still while" in line


def test_a_short_stroke_keeps_the_doubt_about_the_lag():
    """Two seconds of rippling pull: too little to correct by, and no reason to be sure."""
    t = np.arange(0, 12, 0.02)
    pulled = (t > 2) & (t < 5.5)
    phase = 2 * np.pi * 0.8 * t
    speed = np.where(pulled, 0.4 * (1 + 0.7 * np.sin(phase)), 0)
    force = np.where(pulled, 400 * (1 + 0.4 * np.sin(phase)), 0)
    for late_s in (0.0, 0.2):
        data = block(haul=(t, force), rope=(t + late_s, np.cumsum(speed) * 0.02))
        result = analyse(three(), PLAIN, data)
        assert result.lags[0].factor == 1.0 and result.lags[0].factor_u > 0.02
        found = review(three(), PLAIN, data)["measured"]["haul_force_N"]
        assert abs(found["value"] - 400 * 1.14) <= found["U95"]


def test_a_larger_doubt_of_a_stated_delay_is_a_larger_doubt_of_the_force():
    _, data = rippling(0.1)
    widths = [
        review(three(), with_delays((0.0, u), (0.1, u)), data)["measured"]["haul_force_N"]["U95"]
        for u in (0.01, 0.03, 0.06)
    ]
    assert widths == sorted(widths) and widths[2] > 1.5 * widths[0]


def test_stated_delays_that_the_readings_contradict_are_told():
    """The demo's rope counter is at once; its file says that it comes 0.2 s late."""
    parts = two_channels().text.split("delay_s = 0.0")
    wrong = parse_sensors(
        "delay_s = 0.0".join(parts[:2]) + "delay_s = 0.2" + parts[2], "sensors.toml"
    )
    found = haul(0)
    data = block(**{n: (found.time_s, found.values[n]) for n in ("haul_force", "rope_out")})
    for sensors_, said in ((wrong, 1), (two_channels(), 0)):
        lines = [
            w
            for w in review(demo_rig(), sensors_, data)["warnings"]
            if "in the sensors file, which is used" in w
        ]
        assert len(lines) == said
        assert all("check delay_s" in line for line in lines)


@pytest.mark.parametrize(
    ("line", "says"),
    [("delay_s = 0.1", "delay_u_s: is missing"), ("delay_u_s = 0.1", "delay_s: is missing"),
     ("delay_s = 2.0\ndelay_u_s = 0.1", "delay_s"), ("delay_s = 0.1\ndelay_u_s = -1", "delay_u_s"),
     ('delay_s = "fast"\ndelay_u_s = 0.1', "delay_s")],
)  # fmt: skip
def test_a_delay_that_cannot_be_used_is_refused_in_one_line(line, says):
    text = PLAIN.text.rstrip() + f"\n{line}\n"
    with pytest.raises(UserFault) as fault:
        parse_sensors(text, "sensors.toml")
    assert says.split(":")[0] in str(fault.value) and "\n" not in str(fault.value)
