"""The fuzz targets under atheris, which follows what the program does: `pip install -e .[test,fuzz]`,
then `python tests/trust/fuzz_atheris.py decoders -runs=1000000` (or rig, sensors, session, inbox).

Ends with the input that broke a promise, or with the number of runs.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

PLACE = "HAUL_FUZZ_DIR"
ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def main() -> None:
    if PLACE not in os.environ:  # libFuzzer ends its process at once and leaves nothing tidied up
        with tempfile.TemporaryDirectory() as folder:
            call = [sys.executable, __file__, *sys.argv[1:]]
            sys.exit(subprocess.call(call, env={**os.environ, PLACE: folder}))
    import atheris

    name = sys.argv.pop(1) if len(sys.argv) > 1 else "decoders"
    with atheris.instrument_imports(include=["logger", "analysis"]):
        from support import fuzz_targets
    target = fuzz_targets.TARGETS[name]
    fuzz_targets.place()
    atheris.Setup(sys.argv, target)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
