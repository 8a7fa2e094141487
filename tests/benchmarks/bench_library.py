"""A folder of one-minute sessions indexed, a new one added, and 10,000 rows listed with their trends.

Fewer sessions than the 500 of the budget: the rate does not depend on their number, and the start
of the processes, which counts here, would count less.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
SESSIONS, ROWS = 60, 10_000
RATE, LIST_S, NEW_S = 8.0, 0.200, 0.500


def main() -> int:
    from support.sealed_sessions import made

    from analysis.sessions.batch import processes
    from analysis.sessions.index import Index
    from analysis.sessions.session_row import session_row
    from analysis.sessions.trend import rig_trends

    over = 0

    def tell(
        what: str, value: float, budget: float, unit: str, more_is_better: bool = False
    ) -> None:
        nonlocal over
        bad = value < budget / 3 if more_is_better else value > 3 * budget
        over += bad
        print(f"{what:<58} {value:9.3f} {unit:<4} budget {budget:g}{'  FAILED' if bad else ''}")

    with tempfile.TemporaryDirectory() as work:
        folder, cache = Path(work) / "library", Path(work) / "cache"

        def one(k: int) -> Path:
            start = (datetime(2026, 1, 1) + timedelta(days=k)).strftime("%Y-%m-%dT%H:%M:%S.000Z")
            return made(
                folder / f"s{k:04d}", strokes=6, stroke_s=5.5, hz=100.0, seed=k, started_at=start
            )

        for k in range(SESSIONS):
            one(k)
        with Index(folder, cache) as index:
            began = time.perf_counter()
            index.update(processes)
            tell(f"{SESSIONS} sessions of 60 s indexed, 2 x 100 Hz", SESSIONS / (time.perf_counter() - began), RATE, "1/s",
                 more_is_better=True)  # fmt: skip
            one(SESSIONS)
            session_row(str(folder / "s0000"))  # this process has not loaded the tables' reader yet
            began = time.perf_counter()
            found = index.update(processes)
            assert found.reviewed == 1
            tell("one more", time.perf_counter() - began, NEW_S, "s")
            began = time.perf_counter()
            index.update(processes)
            tell("nothing new", time.perf_counter() - began, NEW_S, "s")
        row = session_row(str(folder / "s0000"))["row"]
        rows = [
            {**row, "path": f"r{k}", "title": f"rig {k % 50}", "rig": f"{k % 50}",
             "started_at": (datetime(2020, 1, 1) + timedelta(hours=5 * k)).strftime("%Y-%m-%dT%H:%M:%S.000Z")}
            for k in range(ROWS)
        ]  # fmt: skip
        (Path(work) / "many").mkdir()
        with Index(Path(work) / "many", cache) as index:
            index.insert(rows)
            times = []
            for _ in range(7):
                began = time.perf_counter()
                listed = index.rows(state="sealed", since="2020")
                trends = rig_trends(listed)
                times.append(time.perf_counter() - began)
            assert len(listed) == ROWS and len(trends) == 50
            tell(
                "10,000 rows listed, filtered, 50 trends (median of 7)",
                sorted(times)[3],
                LIST_S,
                "s",
            )
    return 1 if over else 0


if __name__ == "__main__":
    sys.exit(main())
