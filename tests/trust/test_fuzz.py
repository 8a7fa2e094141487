"""Hostile bytes on everything that reads: short here, long in `.ci/long` (tests/support/fuzz_targets.py says
what is promised; tests/trust/fuzz_atheris.py drives the same targets by coverage)."""

from __future__ import annotations

import itertools
import os
import sys
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.fuzz_targets import TARGETS, mutants

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no pipes, no links")
NEW = ("text", "json", "line ends", "number marks", "modbus")
SHORT = {
    "decoders": 150,
    **dict.fromkeys(NEW, 60),
    "rig": 100,
    "sensors": 100,
    "session": 25,
    "inbox": 25,
}
LONG = {
    "decoders": 1_000_000,
    **dict.fromkeys(NEW, 20_000),
    "rig": 20_000,
    "sensors": 20_000,
    "session": 20_000,
    "inbox": 20_000,
}
SLOWEST_S = 10.0  # an input that takes longer hangs, even on a busy machine
GROWTH = 20_000_000


@pytest.mark.parametrize("name", list(SHORT))
def test_hostile_bytes_are_read_or_refused_in_one_line(name: str) -> None:
    target = TARGETS[name]

    @settings(max_examples=SHORT[name], deadline=None, suppress_health_check=list(HealthCheck))
    @given(data=st.binary(min_size=6, max_size=40))
    def run(data: bytes) -> None:
        target(data)

    run()
    for data in itertools.islice(mutants(1), SHORT[name]):
        target(data)


def resident() -> int:
    """Bytes of this process in memory; 0 where that cannot be told."""
    path = Path("/proc/self/statm")
    return int(path.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") if path.exists() else 0


@pytest.mark.long
@pytest.mark.parametrize("name", list(LONG))
def test_a_great_many_hostile_bytes(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """HAUL_FUZZ is the share of the full number, HAUL_SEED another beginning."""
    count = int(LONG[name] * float(os.environ.get("HAUL_FUZZ", "1")))
    seed = int(os.environ.get("HAUL_SEED", "1"))
    target, worst, before, began = TARGETS[name], 0.0, 0, time.monotonic()
    most = 16 if name in ("decoders", *NEW) else 60
    for i, data in enumerate(itertools.islice(mutants(seed, most=most), count)):
        if i == count // 5:
            before = resident()
        start = time.thread_time()  # of the processor: other programs take none of it
        try:
            target(data)
        except BaseException as error:
            error.add_note(f"{name}: input {data!r}")
            raise
        worst = max(worst, time.thread_time() - start)
    growth = resident() - before
    with capsys.disabled():
        print(
            f"\n{name}: {count} inputs in {time.monotonic() - began:.0f} s, slowest {worst:.3f} s, "
            f"memory {growth / 1e6:+.1f} MB"
        )
    assert worst < SLOWEST_S and growth < GROWTH
