"""What the rig model costs: one solve of a rig of 30 stations, and 10,000 Monte-Carlo draws of it.

Run: python tests/benchmarks/bench_model.py.  Budgets of the project: 5 ms for the whole model of a
rig (motion, tensions, uncertainties, limits), 1 s for 10,000 draws, under 200 MB more memory.
Median of 15.  Exit status 1 beyond three times a budget.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

SOLVE_MS, DRAWS_S, DRAWS_MB = 5.0, 1.0, 200.0
DRAWS = 10_000


def main() -> int:
    from support.rigs import rig, simple

    from analysis.mechanics.kinematics import solve_motion
    from analysis.mechanics.model import model
    from analysis.mechanics.tension import load_row, system, tensions

    thirty = rig(simple(28, last_on_anchor=False))
    assert len(thirty.stations) == 30
    took = []
    for _ in range(15):
        start = time.perf_counter()
        known = model(thirty)
        took.append(time.perf_counter() - start)
    solve_ms = 1000 * statistics.median(took)

    e = np.random.default_rng(1).normal(0.9, 0.02, (DRAWS, len(thirty.turns)))
    sys_ = system(thirty, solve_motion(thirty))
    row = load_row(thirty, sys_.toward)
    before = _peak_mb()
    start = time.perf_counter()
    draws = tensions(sys_, e) @ row
    draws_s, draws_mb = time.perf_counter() - start, _peak_mb() - before
    assert abs(float(np.mean(draws)) - known.model_ma) < 0.1 * known.model_ma

    print(f"model of 30 stations    {solve_ms:8.2f} ms   budget {SOLVE_MS:g} ms")
    print(f"{DRAWS} draws of it      {draws_s:8.3f} s    budget {DRAWS_S:g} s")
    print(f"memory of the draws     {draws_mb:8.0f} MB   budget {DRAWS_MB:g} MB")
    good = solve_ms < 3 * SOLVE_MS and draws_s < 3 * DRAWS_S and draws_mb < 3 * DRAWS_MB
    return 0 if good else 1


def _peak_mb() -> float:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2**20 if sys.platform == "darwin" else peak / 1024


if __name__ == "__main__":
    sys.exit(main())
