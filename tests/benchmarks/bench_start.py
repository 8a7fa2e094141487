"""How long a person waits: `haul predict` cold, against a bare `import numpy` of the same machine;
`haul record` from the command to the moment when its port is open and a row can be written.

Cold: a new process, compiled files in the cache; median of 7.  Prints value and budget; exit
status 1 beyond three times the budget.
"""

from __future__ import annotations

import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from support.channels import json_channel

ROOT = Path(__file__).resolve().parents[2]
RIG = ROOT / "tests/project/interface/rig.toml"
TIMES = 7
RECORD_S = 0.5
CALL = "import sys; from dashboard.cli import main; sys.exit(main(sys.argv[1:]))"


def seconds(code: str, *argv: str) -> float:
    """Wall time of one new Python process."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, *argv], check=True, env=env,
                   stdout=subprocess.DEVNULL)  # fmt: skip
    return time.perf_counter() - start


def recording_s() -> float:
    """From the command to the `connect` row of events.csv, with a device on TCP."""
    with tempfile.TemporaryDirectory() as folder, socket.create_server(("127.0.0.1", 0)) as server:
        sensors, out = Path(folder, "sensors.toml"), Path(folder, "session")
        sensors.write_text(
            json_channel(
                "f", "force", "f", f'port = "socket://127.0.0.1:{server.getsockname()[1]}"'
            ),
            "utf-8",
        )
        start = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-c", CALL, "record", str(RIG), str(sensors), "--out", str(out)],
            env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        events = out / "events.csv"
        while not (events.exists() and b",connect," in events.read_bytes()):
            if process.poll() is not None:
                raise SystemExit("the recorder ended")
            time.sleep(0.002)
        took = time.perf_counter() - start
        process.terminate()
        process.wait()
    return took


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
    recording = statistics.median(recording_s() for _ in range(TIMES))
    print(f"haul record, first row possible after {recording:.3f} s; budget {RECORD_S:g} s")
    return 0 if ratio <= 3 * budget and recording <= 3 * RECORD_S else 1


if __name__ == "__main__":
    sys.exit(main())
