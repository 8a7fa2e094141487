"""Travel and work efficiency from rest to rest, against the travel that was put into the readings."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import block, review, sensors, three

HZ = 100.0


def _session(slack_m: float, late_s: float = 0.0, cell_late_s: float = 0.0):
    """Two strokes of slack and then 6 m of rope at 0.5 m/s that move the load 2 m; each from rest to rest."""
    plan = [
        ("rest", 3.0),
        *[("slack", slack_m / 0.5), ("haul", 12.0), ("rest", 2.0), ("off", 3.0)] * 2,
    ]
    rope, way, force = [0.0], [0.0], [0.0]
    for what, lasts in plan:
        for _ in range(round(lasts * HZ)):
            moves = what in ("slack", "haul")
            rope.append(rope[-1] + (0.5 / HZ if moves else 0.0))
            way.append(way[-1] + (0.5 / 3 / HZ if what == "haul" else 0.0))
            force.append(400.0 if what == "haul" or (what == "rest" and len(rope) > 400) else 0.0)
    t = np.arange(len(rope)) / HZ
    return {
        "haul": (t + cell_late_s, np.array(force)),
        "rope": (t, np.array(rope)),
        "way": (t + late_s, np.array(way)),
    }


def _measured(**session):
    channels = _session(**session)
    return review(three(), sensors("haul", "rope", "way"), block(**channels))["measured"]


@pytest.mark.parametrize("slack_m", [0.0, 0.15, 0.5])
def test_slack_belongs_to_the_rope_from_rest_to_rest(slack_m):
    """2 m x 3 / (6 m + slack) in each stroke; the tension shows only the 6 m."""
    found = _measured(slack_m=slack_m)
    assert found["travel_efficiency"]["value"] == pytest.approx(6 / (6 + slack_m), abs=0.004)
    assert found["haul_travel_m"] == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize(("late_s", "cell_late_s"), [(0.28, 0.0), (0.0, 0.28), (0.2, 0.2)])
def test_a_late_device_loses_no_travel(late_s, cell_late_s):
    """0.28 s at 0.5 m/s are 0.14 m of rope, 2 % of a stroke."""
    found = _measured(slack_m=0.0, late_s=late_s, cell_late_s=cell_late_s)
    assert found["travel_efficiency"]["value"] == pytest.approx(1.0, abs=0.005)


def test_the_work_on_the_load_counts_to_its_rest():
    """1,000 N over 2 m a stroke from 400 N over 6 m: 5 / 6, with a load counter 0.25 s late."""
    found = _measured(slack_m=0.0, late_s=0.25)
    assert found["work_efficiency"]["value"] == pytest.approx(1000 * 2 / (400 * 6), abs=0.006)


def test_rope_taken_in_long_before_the_pull_is_no_slack_of_it():
    """1 m of rope carried in, then 2 s of rest: only what comes in without a rest belongs to the stroke."""
    channels = _session(slack_m=0.0)
    t, rope = channels["rope"]
    early = np.interp(t, [0.0, 1.0], [-1.0, 0.0])
    found = review(
        three(), sensors("haul", "rope", "way"), block(**{**channels, "rope": (t, rope + early)})
    )["measured"]
    assert found["travel_efficiency"]["value"] == pytest.approx(1.0, abs=0.004)


def _resisting_by_speed(late_s: float):
    """Two strokes of 6 m of rope in 12 s; the load slows down over the last second, in which its counter, 0.05 m of load behind,
    catches up, and the hands give 0.12 m of rope back; then they stand for half a second and let 0.2 m off."""
    at = [0.0, 3.0, 15.0, 16.0, 16.5, 17.1, 20.0]
    rope = [0.0, 0.0, 6.0, 5.88, 5.88, 5.68, 5.68]
    way = [0.0, 0.0, 1.90, 1.95, 1.95, 1.95, 1.95]
    force = [0.0, 400.0, 400.0, 200.0, 200.0, 0.0, 0.0]
    t = np.arange(round(2 * at[-1] * HZ)) / HZ
    stroke, within = np.divmod(t, at[-1])

    def twice(places, once):
        return np.interp(within, at, places) + stroke * once

    pulled = np.where(within > 3.0, twice(force, 0.0), 0.0)
    return {
        "haul": (t, pulled),
        "rope": (t, twice(rope, rope[-1])),
        "way": (t + late_s, twice(way, way[-1])),
    }


@pytest.mark.parametrize("late_s", [0.0, 0.15, 0.28])
def test_rope_that_comes_back_before_the_load_rests_is_not_hauled(late_s):
    """1.95 m x 3 / 5.88 m; the furthest rope, 6 m, would give 2 % less.  What is let off after the rest counts as hauled.

    Can catch: the furthest rope, a late counter that takes what was let off for given back.
    """
    channels = _resisting_by_speed(late_s)
    found = review(three(), sensors("haul", "rope", "way"), block(**channels))["measured"]
    value, wide = found["travel_efficiency"]["value"], found["travel_efficiency"]["U95"]
    assert value == pytest.approx(1.95 * 3 / 5.88, abs=0.004)
    assert wide < 0.02


@pytest.mark.parametrize("delay", ["", "delay_s = 0.0\ndelay_u_s = 0.005"])
def test_taking_a_load_off_its_capture_to_lower_it_hauls_nothing(delay):
    """6 m of rope raise the load 2 m; then 0.3 m of rope stretch while it stands, and the load goes down.  2 m x 3 / 6 m, and
    1000 N x 2 m / (400 N x 6 m): neither the 0.3 m nor their work belongs to the haul.

    Can catch: such a pull counted as hauled, which takes 5 % off the travel efficiency.
    """
    at = [0.0, 3.0, 15.0, 18.0, 18.5, 22.0, 23.0, 33.0, 36.0]
    rope = [0.0, 0.0, 6.0, 6.0, 6.0, 6.0, 6.3, 0.3, 0.3]
    way = [0.0, 0.0, 2.0, 2.0, 2.0, 2.0, 2.0, 0.0, 0.0]
    t = np.arange(round(at[-1] * HZ)) / HZ
    force = np.where((t > 3) & (t < 18), 400.0, 0.0)
    force = np.where((t > 22) & (t < 23), 400.0 * (t - 22), force)
    force = np.where((t >= 23) & (t < 33.5), 280.0, force)
    made = block(haul=(t, force), rope=(t, np.interp(t, at, rope)), way=(t, np.interp(t, at, way)))
    stated = dict.fromkeys(("haul", "rope", "way"), delay) if delay else {}
    found = review(three(), sensors("haul", "rope", "way", **stated), made)
    assert [s["direction"] for s in found["strokes"]] == ["haul", "haul", "lower"]
    measured = found["measured"]
    assert measured["travel_efficiency"]["value"] == pytest.approx(1.0, abs=0.004)
    near = 0.004 if delay else 0.01  # unknown lags make it the mean over all that may be
    assert measured["work_efficiency"]["value"] == pytest.approx(2000 / 2400, abs=near)


def test_slack_that_differs_from_stroke_to_stroke_is_no_uncertainty():
    """Every stroke is counted, so what they differ by is in the value; exact counters leave no uncertainty (JCGM 100, D.1.1).

    Can catch: the strokes' scatter in the budget of a sum that is of these strokes.
    """
    one, two = _session(slack_m=0.05), _session(slack_m=0.5)
    lasts, hauled, moved = (one[n][k][-1] for n, k in (("haul", 0), ("rope", 1), ("way", 1)))
    both = {
        name: (
            np.concatenate([one[name][0], two[name][0] + lasts + 1 / HZ]),
            np.concatenate([one[name][1], two[name][1] + more]),
        )
        for name, more in (("haul", 0.0), ("rope", hauled), ("way", moved))
    }
    found = review(three(), sensors("haul", "rope", "way"), block(**both))["measured"]
    assert found["travel_efficiency"]["value"] == pytest.approx(24 / 25.1, abs=0.004)
    assert found["travel_efficiency"]["U95"] < 0.002
