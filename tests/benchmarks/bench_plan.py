"""What a slider of the plan page waits for: one step's drawing and one what-if, over HTTP, each rig once
warm; and a drawing of thirty stations.

Median of 15.  Prints value and budget; exit status 1 beyond three times the budget.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

import analysis
from dashboard.plan.planned_rig import PlannedRig
from dashboard.plan.server import PlanServer

BUDGET_MS = 50.0
TIMES = 15
HOME = Path(analysis.__file__).parent
RIGS = ("demo/rig.toml", "rigs/3-on-3-on-3.toml", "rigs/3-redirect-own-anchor.toml")


def thirty(folder: Path) -> Path:
    """Eight 3:1 one on the other: 34 stations."""
    path = "{ tie = 'load' },"
    for k in range(8):
        path += (
            f"{{ grab = 'G{k}', at_m = {90 - 4 * k} }}, {{ capture = 'C{k}', on = 'anchor' }},"
            f"{{ pulley = 'A{k}', on = 'anchor' }}, {{ pulley = 'T{k}', on = 'G{k}' }},"
        )
    file = folder / "thirty.toml"
    file.write_text(
        f"anchor_to_load_m = 100.0\n[[rope]]\nname = 'main'\npath = [ {path} {{ haul = 'team' }} ]\n",
        "utf-8",
    )
    return file


def median_ms(url: str, queries: list[str]) -> float:
    times = []
    for query in queries:
        began = time.perf_counter()
        with urllib.request.urlopen(url + query, timeout=60) as answer:
            answer.read()
        times.append(1000 * (time.perf_counter() - began))
    return statistics.median(times)


def main() -> int:
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for file in [*(HOME / name for name in RIGS), thirty(Path(folder))]:
            server = PlanServer([PlannedRig(file)])
            thread = threading.Thread(target=server.run)
            thread.start()
            first = median_ms(server.url, ["plan"])
            frames = len(server.plans[0].job_frames("each").frames)
            steps = median_ms(
                server.url, [f"drawing?frame={k % frames}&w=900" for k in range(TIMES)]
            )
            whatif = median_ms(server.url, [f"plan?e=0.{60 + k}" for k in range(TIMES)])
            server.close()
            thread.join()
            worst = max(worst, steps, whatif)
            print(f"{file.name}: first page {first:.0f} ms; a step {steps:.1f} ms, "
                  f"a what-if {whatif:.1f} ms; budget {BUDGET_MS:g} ms each")  # fmt: skip
    return 0 if worst <= 3 * BUDGET_MS else 1


if __name__ == "__main__":
    sys.exit(main())
