"""Which of the latest values are at rest, and whether a pull is seen against them."""

from __future__ import annotations

import math
import random

import pytest

from logger.listening.capture import Capture, Piece
from logger.listening.line_splitting import since
from logger.listening.movement import PullWatch, movements, moves, resting
from logger.listening.number_series import NumberSeries


def noisy(level: float, count: int, seed: int, sd: float = 0.1) -> list[float]:
    """Readings with normal noise of a standard deviation, as a device with two decimals sends them."""
    draw = random.Random(seed)
    return [round(level + draw.gauss(0.0, sd), 2) for _ in range(count)]


@pytest.mark.parametrize("seed", range(40))
def test_noise_alone_is_at_rest_and_no_pull(seed: int) -> None:
    values = noisy(12.0, 120, seed)
    assert list(resting(values)) == values
    assert movements({"a": values}, {"a": noisy(12.0, 400, seed + 1000)}) == ()


@pytest.mark.parametrize("after", [4, 10, 40, 90])
@pytest.mark.parametrize("seed", range(10))
def test_rest_begins_anew_where_the_load_was_changed(after: int, seed: int) -> None:
    before, ramp = noisy(0.0, 100 - after, seed), [3.0, 8.0, 15.0]
    values = [*before, *ramp, *noisy(20.0, after, seed + 1)]
    assert list(resting(values)) == values[-after:]
    (pulled,) = movements({"a": values}, {"a": [20.0, 35.0]})
    assert pulled.rest == pytest.approx(20.0, abs=0.15) and pulled.change == pytest.approx(
        15, abs=0.2
    )
    assert not pulled.back


def test_a_change_that_has_just_begun_is_no_rest() -> None:
    values = [*noisy(0.0, 50, 1), 4.0]
    assert list(resting(values)) == values and moves(values)


def test_what_goes_back_to_where_it_was_is_marked() -> None:
    values = [*noisy(0.0, 50, 1), *noisy(20.0, 50, 2)]
    (released,) = movements({"a": values}, {"a": [20.0, 0.0]})
    assert released.back and released.change == pytest.approx(-20.0, abs=0.2)
    (steady,) = movements({"a": noisy(20.0, 50, 2)}, {"a": [20.0, 0.0]})
    assert not steady.back


def test_a_load_that_swings_is_not_cut_where_it_turns() -> None:
    """2 s a swing at 50 readings a second: a piece of a swing is a course, not a rest."""
    values = [round(10.0 * math.sin(math.pi * k / 50.0), 2) for k in range(250)]
    assert moves(values) and list(resting(values)) == values
    assert movements({"a": values}, {"a": [10.0, -10.0]}) == ()


def series(values: list[float]) -> NumberSeries:
    """A number of the lines."""
    return NumberSeries("a", tuple(str(v) for v in values), "N", ({"format": "text"},))


def test_a_watch_waits_for_rest_and_not_for_ever() -> None:
    climbing = [float(k) for k in range(100)]
    watch = PullWatch("a", asked_s=100.0)
    watch.settle([series(climbing)], 100.0)
    assert not watch.ready and watch.rest("a") is None
    watch.settle([series([*climbing, *noisy(99.0, 40, 3)])], 102.0)
    assert watch.ready and watch.rest("a") == pytest.approx(99.0, abs=0.1)
    swinging = PullWatch("a", asked_s=100.0)
    swinging.settle([series(climbing)], 105.5)
    assert swinging.ready


def test_a_number_beside_the_watched_one_does_not_make_it_ready() -> None:
    still = NumberSeries("station", ("1",) * 100, None, ({"format": "text"},))
    watch = PullWatch("a", asked_s=0.0)
    watch.settle([still, series([float(k) for k in range(100)])], 1.0)
    assert not watch.ready


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b";"])
def test_lines_since_a_moment_begin_with_a_whole_one(end: bytes) -> None:
    stream = b"".join(b"F=%d.5" % (100 + k) + end for k in range(20))
    for size in (1, 3, 5, 7, 11):
        cuts = [stream[k : k + size] for k in range(0, len(stream), size)]
        pieces = tuple(Piece(k / 1000, k / 1000, data) for k, data in enumerate(cuts))
        whole = Capture("/dev/ttyUSB0", 9600, "8N1", None, pieces)
        for moment in range(len(pieces)):
            kept = since(whole, moment / 1000)
            assert not kept.stream.strip() or moment == 0 or stream.endswith(kept.stream)
            first = kept.stream.lstrip()
            assert first == b"" or first.startswith(b"F=1"), (end, size, moment, first)
