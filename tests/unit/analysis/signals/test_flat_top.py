"""A force cell that reads no more than some force: its flat top is seen, and no smooth force, coarse display or winch is.

The readings are written by hand; the bounds are the module's own (see its constants), so these tests hold the rule
and not whether it suits a crew.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.readings import sensors

from analysis.signals.flat_top import LONG, FlatTop
from analysis.signals.time_cells import Cells, reduce

HZ = 32.0


def _cells(force: np.ndarray) -> Cells:
    """A reading in each cell."""
    return reduce((np.arange(len(force)) + 0.5) / HZ, force)


def _pulls(seconds: float, steady: float = 400.0, noise: float = 1.0, pulls: int = 3) -> np.ndarray:
    """Slack, up in half a second, pulled for some seconds, let off; again and again."""
    rng = np.random.default_rng(3)
    times = np.cumsum([0.0, 2.0, 0.5, seconds, 0.5, 1.0])
    t = np.arange(int(times[-1] * HZ)) / HZ
    once = np.interp(t, times, [0.0, 0.0, steady, steady, 0.0, 0.0])
    return np.tile(once, pulls) + rng.normal(0, noise, pulls * len(once))


def _seen(force: np.ndarray) -> bool:
    top = FlatTop(sensors("haul").channels[0])
    top.push(_cells(force))
    return top.seen


def test_a_smooth_pull_that_is_cut_off_is_seen():
    assert _seen(np.minimum(_pulls(3.0), 380.0))
    assert not _seen(_pulls(3.0))


def test_one_pull_alone_is_not_seen():
    assert not _seen(np.minimum(_pulls(3.0, pulls=1), 380.0))


@pytest.mark.parametrize(("cells", "seen"), [(LONG - 1, False), (LONG + 2, True)])
def test_short_stays_do_not_count(cells, seen):
    """Three peaks that stay for some cells each; a stay begins with its second cell."""
    force = 300 + np.random.default_rng(4).normal(0, 1.0, 2000)
    for first in (400, 900, 1500):
        force[first : first + cells] = 350.0
    assert _seen(force) == seen


def test_a_display_with_coarse_steps_is_not_cut_off():
    """Steps of 10 N hide the noise of 1 N: a number that repeats says nothing."""
    assert not _seen(np.round(_pulls(3.0), -1))


def test_a_winch_without_noise_is_not_cut_off():
    assert not _seen(_pulls(3.0, noise=0.0))


def test_a_surging_pull_that_is_cut_off_is_seen():
    force = _pulls(6.0) + 60 * np.sin(2 * np.pi * np.arange(len(_pulls(6.0))) / HZ)
    assert _seen(np.minimum(force, 420.0))
    assert not _seen(force)


@settings(deadline=None)
@given(st.lists(st.integers(1, 1000), max_size=12))
def test_the_cut_of_the_cells_does_not_matter(cuts):
    force = np.minimum(_pulls(3.0), 380.0)
    whole, cut = (FlatTop(sensors("haul").channels[0]) for _ in range(2))
    cells = _cells(force)
    whole.push(cells)
    ends = [0, *sorted({c for c in cuts if c < len(cells)}), len(cells)]
    for start, stop in itertools.pairwise(ends):
        cut.push(cells.between(start, stop))
    assert vars(whole) == vars(cut)
