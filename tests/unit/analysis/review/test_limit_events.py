"""Events of parts over their limit: no force that is called "at most" lies below the true one.

The true forces are those of statics: over a pulley of efficiency e the tension falls by e in the direction in which
the rope runs, so while the load is lowered the strands behind it carry 1 / e more, one after another.
"""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import block, review, sensors, three

E, HAUL_N = 0.9, 400.0
# strands of this 3:1 from the haul to the load, per haul force, while the load is lowered
TRUE_BACK = {"T1": 1 + 1 / E, "A1": 1 / E + 1 / E**2, "load": 1 + 1 / E + 1 / E**2}
RATED = "[load]\nwll_kN = 0.5\n[pulley.T1]\nwll_kN = 0.5\n[pulley.A1]\nwll_kN = 0.5\n"


def moved(*legs, more=RATED, channels=("haul", "rope"), haul=""):
    """The review of a session; legs: (rope at the haul, m, haul force, N), 6 s each and 4 s of rest between."""
    t, force, x = np.arange(0, 3, 0.02), np.zeros(150), np.zeros(150)
    for rope_m, haul_N in legs:
        pull, rest = np.arange(300) / 300, np.zeros(200)
        force = np.concatenate((force, np.full(300, haul_N), rest))
        x = np.concatenate((x, x[-1] + rope_m * pull, x[-1] + rope_m + rest))
    t = np.arange(len(force)) * 0.02
    data = {"haul": (t, force), "rope": (t, x)}
    return review(
        three(None, more=more),
        sensors(*channels, haul=haul),
        block(**{n: data[n] for n in channels}),
    )


def over(found, name):
    return [
        e for e in found["events"] if e["kind"] == "over_limit" and e["text"].startswith(f"{name}:")
    ]


@pytest.mark.parametrize("channels", [("haul", "rope"), ("haul",)])
@pytest.mark.parametrize("name", sorted(TRUE_BACK))
def test_lowered_before_any_hauling_an_event_tells_no_less_than_the_true_force(name, channels):
    (event,) = over(moved((-6.0, HAUL_N), channels=channels), name)
    assert event["value"] == pytest.approx(TRUE_BACK[name] * HAUL_N, rel=1e-3)
    assert "lowered before any hauling" in event["text"]


def test_lowered_after_hauling_an_event_tells_what_the_load_last_needed():
    """Hauled at 600 N, the load needs at most 3 x 600 N; lowered, the strands share it as TRUE_BACK does."""
    found = moved((6.0, 600.0), (-3.0, HAUL_N))
    hauled, lowered = over(found, "A1")
    assert hauled["value"] == pytest.approx(2 * 600.0, rel=1e-3)
    assert "computed from the haul cell" in hauled["text"]
    most = 3 * 600.0 * TRUE_BACK["A1"] / TRUE_BACK["load"]
    assert lowered["value"] == pytest.approx(most, rel=1e-3)
    assert lowered["value"] > TRUE_BACK["A1"] * HAUL_N > 2 * HAUL_N
    assert "by what the load last needed" in lowered["text"]


def test_hauled_an_event_keeps_the_frictionless_force():
    (event,) = over(moved((6.0, HAUL_N)), "load")
    assert event["value"] == pytest.approx(3 * HAUL_N)
    assert "at most" in event["text"] and "lowered" not in event["text"]


def test_beyond_the_haul_cells_capacity_an_event_claims_no_bound():
    found = moved((6.0, 600.0), haul="capacity = 500.0")
    (event,) = over(found, "A1")
    assert "at most" not in event["text"] and event["text"].endswith("about that, maybe more")
