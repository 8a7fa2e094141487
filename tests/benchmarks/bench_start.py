"""How long a person waits: `haul predict` cold, against a bare `import numpy` of the same machine.

Cold: a new process, compiled files in the cache; median of 7.  Prints value and budget; exit
status 1 beyond three times the budget.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RIG = ROOT / "tests/test_project/interface/rig.toml"
TIMES = 7
CALL = "import sys; from dashboard.cli import main; sys.exit(main(sys.argv[1:]))"


def seconds(code: str, *argv: str) -> float:
    """Wall time of one new Python process."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, *argv], check=True, env=env,
                   stdout=subprocess.DEVNULL)  # fmt: skip
    return time.perf_counter() - start


def main() -> int:
    numpy_s, predict_s, help_s = [], [], []
    seconds(CALL, "predict", str(RIG))  # compiles what is not compiled yet
    for _ in range(TIMES):  # in turn, so that a busy machine is busy for both
        numpy_s.append(seconds("import numpy"))
        predict_s.append(seconds(CALL, "predict", str(RIG)))
        help_s.append(seconds(CALL, "--help"))
    bare, predict, overview = map(statistics.median, (numpy_s, predict_s, help_s))
    budget = 3.0
    ratio = predict / bare
    print(f"import numpy {bare:.3f} s; haul --help {overview:.3f} s")
    print(f"haul predict {predict:.3f} s = {ratio:.2f} x import numpy; budget {budget:g} x")
    return 0 if ratio <= 3 * budget else 1


if __name__ == "__main__":
    sys.exit(main())
