"""Which cause a session is told first: the one that explains most; sessions with two disturbances, of two sizes each."""

from __future__ import annotations

import numpy as np
import pytest
from support.readings import block, pull, review, sensors, three

from analysis.messages.catalogue import CATALOGUE
from analysis.messages.message import message
from analysis.review.causes import EXPLAINS, explains, greatest_first

LOW = message("zero_too_low", cell="c", least_N=-30.0, u_N=1.0)
CREPT = message("grab_crept", stroke=1, lost_m=0.5, share=0.3)
MISREAD = message(
    "unit_looks_wrong", cell="c", force_N=1.0, expected_N=2.2, times=2.2, sent="lbf", unit="kg"
)
OTHER = message("creep_not_visible")


def test_every_cause_is_in_the_catalogue():
    assert set(EXPLAINS) <= set(CATALOGUE)


@pytest.mark.parametrize(
    ("line", "share"),
    [(LOW, 0.1), (CREPT, 0.05), (MISREAD, 1.2), (OTHER, None),
     (message("travel_of_another_rig", looks=4.0, file=5.0), 0.2),
     (message("cells_disagree", cell="c", one_N=90.0, others_N=100.0, taken_N=95.0), 0.1)],
)  # fmt: skip
def test_shares_by_hand(line, share):
    """30 N of 300 N; 0.5 m of 10 m; 2.2 times is 1.2 too much; 4 for 5 is a fifth."""
    found = explains(line, None, 300.0, 10.0)
    assert found is share if share is None else found == pytest.approx(share)


def test_causes_change_places_among_themselves_alone():
    assert greatest_first([CREPT, OTHER, LOW, MISREAD], None, 300.0, 10.0) == [
        MISREAD,
        OTHER,
        LOW,
        CREPT,
    ]
    assert greatest_first([CREPT, OTHER, LOW], None, 3000.0, 10.0) == [CREPT, OTHER, LOW]


def test_what_refuses_values_comes_first():
    refused = message("cell_at_its_range", cell="c", top_N=400.0)
    assert greatest_first([MISREAD, refused], refused, 300.0, 10.0) == [refused, MISREAD]


def test_without_a_force_a_zero_explains_all():
    assert greatest_first([CREPT, LOW], None, 0.0, 10.0) == [LOW, CREPT]


def two_disturbances(zero_N, followed):
    """Codes of the causes: four pulls of 5 m at 400 N; the cell's zero is off, and in one the load follows only a share."""
    t, x, force, way = [], [], [], []
    for k in range(4):
        at, rope, pulled = pull(20, lambda x: 400 + 30 * np.sin(9 * x), rope=5.0)
        t.append(at + 18.0 * k)
        x.append(rope - np.clip((at - 13.0) * 2.5, 0, 5.0))
        force.append(pulled)
        done = sum(5.0 * (followed if j == 2 else 1.0) for j in range(k))
        way.append((rope * (followed if k == 2 else 1.0) + done) / 3)
    t, x, force, way = (np.concatenate(each) for each in (t, x, force, way))
    order = np.argsort(t, kind="stable")
    t, x, force, way = t[order], x[order], force[order] + zero_N, way[order]
    made = sensors(
        "haul", "rope", "way", haul="u_percent = 0.5\nu = 2.0", rope="u = 0.01", way="u = 0.005"
    )
    found = review(three(1084.0, 10.0), made, block(haul=(t, force), rope=(t, x), way=(t, way)))
    return [m["code"] for m in found["messages"] if m["code"] in EXPLAINS]


@pytest.mark.parametrize(
    ("zero_N", "followed", "first"),
    [(-60.0, 0.8, "zero_too_low"), (-15.0, 0.6, "grab_crept")],
)
def test_the_greater_of_two_disturbances_is_told_first(zero_N, followed, first):
    """60 N of 400 N is 0.15 and 1 m of 20 m 0.05; 15 N is 0.04 and 2 m 0.1."""
    told = two_disturbances(zero_N, followed)
    assert told[0] == first
    assert {"zero_too_low", "grab_crept"} <= set(told)
