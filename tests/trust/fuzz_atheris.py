"""The fuzz targets under atheris, which follows what the program does: `pip install -e .[test,fuzz]`,
then `python tests/trust/fuzz_atheris.py decoders -runs=1000000` (or rig, sensors, session, inbox).

Ends with the input that broke a promise, or with the number of runs.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def main() -> None:
    import atheris

    name = sys.argv.pop(1) if len(sys.argv) > 1 else "decoders"
    with atheris.instrument_imports(include=["logger", "analysis"]):
        import fuzz_targets
    target = fuzz_targets.TARGETS[name]
    fuzz_targets.place()
    atheris.Setup(sys.argv, target)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
