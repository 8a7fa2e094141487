"""How fast readings become strokes: the analyser alone at 1 kHz and at 100 Hz, in one push, and the
review of a recorded session against a bare `pandas.read_csv` of its readings in the same run.

Sessions: hauls of 36 s with hands that pull unevenly, holds and resets, 60 s in all, two channels.
Prints value and budget; exit status 1 beyond three times a budget.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.readings import block, sensors, three, three_text  # noqa: E402

from analysis.signals.channel_roles import roles  # noqa: E402
from analysis.strokes.analyser import Analyser  # noqa: E402
from logger.session.writer import SessionWriter  # noqa: E402

READINGS = 10_000_000  # of the analyser, both channels together
ROWS = 4_000_000  # of the session that is reviewed
CYCLE_S = 60.0
REVIEW = (
    "import resource, sys, time; import pandas; from analysis.review.review import review_session\n"
    "start = time.perf_counter(); table = pandas.read_csv(sys.argv[1] + '/readings.csv')\n"
    "bare = time.perf_counter() - start; del table\n"
    "start = time.perf_counter(); found = review_session(sys.argv[1])\n"
    "took = time.perf_counter() - start\n"
    "print(bare, took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20,"
    " len(found['strokes']))"
)


def haul(hz: float, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, haul force, rope: n readings of each."""
    t = np.arange(n) / hz
    u = t % CYCLE_S
    rope = np.interp(u, [0, 6, 42, 45, 54, 60], [0, 0, 18, 18, 0, 0])
    pulled = (u > 6) & (u < 43.5)
    force = np.where(pulled, 400 * (1 + 0.3 * np.sin(2 * np.pi * 0.8 * t)), 0.0)
    return t, force + np.random.default_rng(1).normal(0, 2, n), rope


def analyser_rate(hz: float) -> tuple[float, int]:
    """Readings a second of processor time (best of two), and strokes found."""
    t, force, rope = haul(hz, READINGS // 2)
    data = block(haul=(t, force), rope=(t, rope))
    best, strokes = np.inf, 0
    for _ in range(2):
        analyser = Analyser(roles=roles(three(), sensors("haul", "rope")))
        start = time.process_time()
        analyser.push(data, float(t[-1]))
        strokes = len(analyser.result().strokes)
        best = min(best, time.process_time() - start)
    return READINGS / best, strokes


def record(folder: Path, hz: float, rows: int) -> None:
    t, force, rope = haul(hz, rows // 2)
    rig = three_text().encode()
    writer = SessionWriter.create(folder, rig, sensors("haul", "rope"), source="import")
    for a in range(0, len(t), 100_000):
        part = slice(a, a + 100_000)
        lines = [
            f"{s:.6f},haul,{f:.1f}\n{s:.6f},rope,{x:.4f}\n"
            for s, f, x in zip(
                t[part].tolist(), force[part].tolist(), rope[part].tolist(), strict=True
            )
        ]
        writer.readings("".join(lines).encode())
    writer.clock(float(t[-1]), "2026-01-01T00:00:00Z", [len(t), 0, len(t), 0])
    writer.seal()


def main() -> int:
    failed = False
    for hz in (1000.0, 100.0):
        rate, strokes = analyser_rate(hz)
        name = f"analyser alone, {hz:g} Hz, {strokes} strokes, million readings a second of processor time"
        print(f"{name}: {rate / 1e6:.1f} (budget at least 20)")
        failed |= rate < 20e6 / 3
    with tempfile.TemporaryDirectory() as folder:
        session = Path(folder, "session")
        record(session, 1000.0, ROWS)
        runs = []
        for _ in range(2):
            out = subprocess.run(
                [sys.executable, "-c", REVIEW, str(session)], check=True, capture_output=True,
                text=True, cwd=ROOT,
            )  # fmt: skip
            runs.append([float(x) for x in out.stdout.split()])
    bare, took, peak, _ = min(runs, key=lambda r: r[1] / r[0])
    print(f"pandas.read_csv of {ROWS} readings, s: {bare:.2f}")
    print(f"review of them, s: {took:.2f}")
    print(f"review / read_csv: {took / bare:.2f} (budget 2.5)")
    print(f"highest memory of both, GiB: {peak:.2f} (budget 2)")
    failed |= took / bare > 7.5 or peak > 6
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
