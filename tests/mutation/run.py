"""Mutates the rooms that make numbers, a sample of mutants a room, and lists those that no test of the room sees.

    python tests/mutation/run.py [--mutants 60] [--seed 1] [--room efficiency]

Cosmic Ray makes the mutants in a copy of the tree.  The sample takes places of the source at random and one mutant of
each, so that an operator with twelve replacements counts once.  Left out: mutants of type hints (`|`), which change
nothing.  A room's tests are those below, the nearest first; a mutant that they let pass survives.  Exit status 1 where
more than SURVIVE of the sample do.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections import defaultdict
from contextlib import closing
from pathlib import Path

ROOT = Path(__file__).parents[2]
SURVIVE = 0.30  # share of the sample; chosen by us, above what is seen, so that a room that loses its tests shows
UNIT = "tests/unit/analysis"
ROOMS = {
    "efficiency": f"{UNIT}/efficiency {UNIT}/review tests/published/test_metrology.py",
    "strokes": f"{UNIT}/strokes {UNIT}/signals {UNIT}/efficiency {UNIT}/review",
    "mechanics": f"{UNIT}/mechanics {UNIT}/rig_file tests/published/test_tackles.py tests/unit/dashboard/plan",
}
CONFIG = """
[cosmic-ray]
module-path = "analysis/{room}"
timeout = 600.0
excluded-modules = []
test-command = "{python} -m pytest -q -x --no-header --tb=no -p no:cacheprovider {tests}"
[cosmic-ray.distributor]
name = "local"
"""


def copied(folder: Path) -> Path:
    """A copy of what tests need, which may be mutated."""
    tree = folder / "tree"
    tree.mkdir()
    for name in ("analysis", "dashboard", "logger", "tests", "sample_logs"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, tree)
    return tree


def sampled(session: Path, mutants: int, rng: random.Random) -> tuple[int, int]:
    """Keep one mutant at each of so many places; (mutants, places) before."""
    with closing(sqlite3.connect(session)) as db, db:
        rows = db.execute(
            "select job_id, module_path, start_pos_row, start_pos_col, operator_name from mutation_specs"
        ).fetchall()
        places = defaultdict(list)
        for job, module, row, column, operator in rows:
            if "BitOr" not in operator:
                places[module, row, column].append(job)
        chosen = rng.sample(sorted(places), min(mutants, len(places)))
        kept = {rng.choice(sorted(places[place])) for place in chosen}
        for job, *_ in rows:
            if job not in kept:
                db.execute("delete from mutation_specs where job_id = ?", (job,))
                db.execute("delete from work_items where job_id = ?", (job,))
    return len(rows), len(places)


def survivors(session: Path) -> tuple[int, list[str]]:
    """Mutants that were tried, and the place and change of each that no test saw."""
    with closing(sqlite3.connect(session)) as db:
        rows = db.execute(
            "select s.module_path, s.start_pos_row, s.operator_name, r.test_outcome, r.diff"
            " from mutation_specs s join work_results r on s.job_id = r.job_id"
        ).fetchall()
    lines = []
    for module, row, operator, outcome, diff in rows:
        if "SURVIVED" in str(outcome).upper():
            changed = [
                x for x in (diff or "").splitlines() if x[:1] in "+-" and x[1:3] not in ("++", "--")
            ]
            lines.append(f"{module}:{row} {operator.split('/')[-1]}\n    " + "\n    ".join(changed))
    return len(rows), lines


def mutate(room: str, mutants: int, seed: int) -> tuple[int, int]:
    """Try a sample of a room's mutants; (tried, survived)."""
    with tempfile.TemporaryDirectory() as folder:
        tree, session, config = (
            copied(Path(folder)),
            Path(folder, "s.sqlite"),
            Path(folder, "c.toml"),
        )
        config.write_text(
            CONFIG.format(room=room, python=sys.executable, tests=ROOMS[room]), "utf-8"
        )
        ray = [sys.executable, "-m", "cosmic_ray.cli"]
        subprocess.run([*ray, "init", str(config), str(session)], cwd=tree, check=True)
        every, places = sampled(session, mutants, random.Random(f"{seed} {room}"))
        subprocess.run([*ray, "exec", str(config), str(session)], cwd=tree, check=True)
        tried, alive = survivors(session)
    print(
        f"== {room}: {every} mutants at {places} places; {tried} tried, {len(alive)} survive",
        flush=True,
    )
    print("\n".join(alive), flush=True)
    return tried, len(alive)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--mutants", type=int, default=60, help="tried in each room (60)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS)
    args = parser.parse_args()
    rooms = [args.room] if args.room else list(ROOMS)
    counts = [mutate(room, args.mutants, args.seed) for room in rooms]
    tried, alive = (sum(each) for each in zip(*counts, strict=True))
    print(f"== {alive} of {tried} mutants survive")
    return int(alive > SURVIVE * tried)


if __name__ == "__main__":
    sys.exit(main())
