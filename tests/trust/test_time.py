"""Time: what the wall clock does, a sleep of the machine, and bridges that deliver in bursts."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.systems import pseudo_terminals
from support.waiting import patience, until
from support.yard import (
    Counter,
    Yard,
    count_into,
    force,
    in_order,
    recording,
    serve_pty,
    silent_wire,
)

from logger import clock
from logger.session.reader import read_all
from logger.session.verify import verify

pytestmark = pseudo_terminals


def test_the_clock_is_one_that_never_steps_and_runs_on_in_sleep() -> None:
    """CLOCK_BOOTTIME: "identical to CLOCK_MONOTONIC, except that it also includes any time that
    the system is suspended" and no settable clock (clock_gettime(2)); /proc/uptime shows it."""
    if not Path("/proc/uptime").exists():
        pytest.skip("other system: no /proc/uptime")
    uptime = float(Path("/proc/uptime").read_text().split()[0])
    assert clock.now() == pytest.approx(uptime, abs=0.1 * patience())
    assert clock.BOOTTIME == time.CLOCK_BOOTTIME
    assert clock.slept() == pytest.approx(clock.now() - time.monotonic(), abs=0.05 * patience())


def test_a_step_of_the_wall_clock_moves_no_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    steps = iter([*[0] * 3, *[-86_400.0] * 3, *[86_400.0 * 365] * 1000])

    class Wall(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime.fromtimestamp(time.time() + next(steps), tz or UTC)

    monkeypatch.setattr(clock, "datetime", Wall)
    with recording(yard) as running:
        began = time.monotonic()
        counter = Counter([count_into(device, yard)], 200.0)
        until(lambda: len({row.utc[:4] for row in read_all(yard.out).clock}) > 1)
        counter.stop()
        took = time.monotonic() - began
        running.end()
    device.close()
    block = read_all(yard.out)
    part = block.readings["force"]
    assert in_order(part.reading.tolist())
    assert (np.diff(part.time_s) >= 0).all() and part.time_s[-1] - part.time_s[
        0
    ] < took + 0.2 * patience(began)
    # each row stands where it was sent, to what a burst of 20 ms and a busy machine make of it
    sent = np.array(counter.sent)[part.reading.astype(int)]
    off = (part.time_s - sent) - np.median(part.time_s - sent)
    assert np.abs(off).mean() < 0.02 * patience(began)
    assert (np.diff([row.time_s for row in block.clock]) > 0).all()
    assert "sleep" not in yard.kinds() and verify(yard.out).state == "complete"


@pytest.mark.parametrize("away_s", [3.0, 8 * 3600.0])
def test_a_sleep_of_the_machine_is_an_event_and_a_gap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, away_s: float
) -> None:
    """The clock that runs on in sleep jumps; the one that stops in sleep does not."""
    start = time.monotonic()
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    real, jump = clock.now, [0.0]
    monkeypatch.setattr(clock, "now", lambda: real() + jump[0])
    with recording(yard) as running:
        counter = Counter([count_into(device, yard)], 200.0)
        until(lambda: len(yard.values()) > 60)
        jump[0] = away_s
        before = len(counter.sent)
        until(lambda: "sleep" in yard.kinds())
        until(lambda: len(yard.values()) > before + 40)
        counter.stop()
        running.end()
    device.close()
    slept = [e for e in yard.events() if e.kind == "sleep"]
    gaps = [e for e in yard.events() if e.kind == "gap"]
    assert len(slept) == 1 and slept[0].value == pytest.approx(away_s, abs=0.3 * patience(start))
    assert len(gaps) == 1 and gaps[0].value == pytest.approx(away_s, abs=0.3 * patience(start))
    part = read_all(yard.out).readings["force"]
    assert in_order(part.reading.tolist())
    # no reading is dated into the sleep: one step, as long as the sleep, and nothing else
    steps = np.diff(part.time_s)
    assert (steps > away_s / 2).sum() == 1 and steps.max() == pytest.approx(
        away_s, abs=0.3 * patience(start)
    )
    assert verify(yard.out).state == "complete"


def test_a_held_up_thread_is_no_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    """The two clocks are read one after the other: what comes in between must not count."""
    real, held = clock.now, [2]

    def slow() -> float:
        if held[0]:
            held[0] -= 1
            time.sleep(0.3)  # the thread is held up between the two clocks
        return real()

    before = clock.slept()
    monkeypatch.setattr(clock, "now", slow)
    assert clock.slept() == pytest.approx(before, abs=0.02 * patience())


def test_bursts_of_16_ms_are_spread_over_the_time_that_they_took(tmp_path: Path) -> None:
    """USB bridges hold data back for 16 ms (the latency timer of FTDI's, application note
    AN232B-04): 16 lines of a 1 kHz device come at once and are not of one moment."""
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    sent: list[float] = []
    with recording(yard) as running:
        silent_wire()
        began = time.monotonic()
        while (passed := time.monotonic() - began) < 1.2:
            due = int(passed * 1000)
            device.send(yard.lines(len(sent), due - len(sent)), 1.0)
            sent += [time.monotonic()] * (due - len(sent))
            time.sleep(0.016)  # the latency timer of the bridge
        until(lambda: len(yard.values()) == len(sent))
        running.end()
    device.close()
    part = read_all(yard.out).readings["force"]
    assert in_order(part.reading.tolist())
    steps = np.diff(part.time_s)
    assert (steps >= 0).all() and np.median(steps) == pytest.approx(0.001, abs=0.0006)
    truth = part.reading / 1000  # when the device measured it
    off = (part.time_s - truth) - np.median(part.time_s - truth)
    assert np.percentile(np.abs(off), 90) < 0.04 * patience(began)
