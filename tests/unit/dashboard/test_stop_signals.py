"""Ctrl-C and SIGTERM from the start of a command on: no trace, the conventional status, or a sealed session."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from support.processes import ended

from logger.session.verify import verify

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="other system: no signals on Windows"),
    pytest.mark.many,  # apart from other tests of devices: a pseudo-terminal's number is soon another's
]
ROOT = Path(__file__).parents[3]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}
CONVENTIONAL = {
    signal.SIGINT: {130, -signal.SIGINT},
    signal.SIGTERM: {143, -signal.SIGTERM},
}
# says on standard output when its first import is done, so that signals come to our own lines
TOLD = """
import runpy, sys
sys.argv = ["haul", *sys.argv[1:]]
import dashboard.stop_signals
print("begun", flush=True)
from dashboard.cli import main
sys.exit(main())
"""


def begun(*argv: object) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", TOLD, *map(str, argv)], env=ENV, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert process.stdout is not None and process.stdout.readline() == "begun\n"
    return process


@pytest.mark.parametrize("number", CONVENTIONAL, ids=str)
@pytest.mark.parametrize("command", ["predict", "review", "record", "watch", "library", "demo"])
def test_a_signal_in_the_first_moments_leaves_no_trace(
    tmp_path: Path, command: str, number: signal.Signals
) -> None:
    """A command that would go on: it waits for a pipe that nobody writes to, or serves."""
    draw = random.Random(f"{command} {number}")
    pipe = tmp_path / "rig.toml"
    os.mkfifo(pipe)
    argv: dict[str, list[object]] = {
        "predict": [pipe], "review": [tmp_path], "record": [pipe, pipe, "--out", tmp_path / "s"],
        "watch": [tmp_path], "library": [tmp_path], "demo": ["--headless", "--out", tmp_path / "d"],
    }  # fmt: skip
    for _ in range(4):
        process = begun(command, *argv[command])
        time.sleep(draw.choice([0.0, 0.02, 0.1, 0.3]) * draw.random())  # a moment chosen at random
        process.send_signal(number)
        out, err = ended(process)
        assert "Traceback" not in err and "KeyboardInterrupt" not in err, err
        done = {0, 1, 2} if command in ("review", "library", "watch") else set()
        assert process.returncode in CONVENTIONAL[number] | done, (process.returncode, out, err)
        assert not (tmp_path / "d").exists() or verify(tmp_path / "d").state == "complete"


@pytest.mark.parametrize("number", CONVENTIONAL, ids=str)
def test_a_demo_is_sealed_or_says_that_there_is_no_session(
    tmp_path: Path, number: signal.Signals
) -> None:
    """Ten signals of each kind, at any moment of the first 2 s."""
    draw = random.Random(int(number))
    statuses = []
    for k in range(10):
        out = tmp_path / f"slipway-{k}"
        process = begun("demo", "--headless", "--out", out, "--for", "30")
        time.sleep(2.0 * (k + draw.random()) / 10)  # a moment chosen at random
        process.send_signal(number)
        said, err = ended(process)
        assert "Traceback" not in err and "from outside" not in err, err
        statuses.append(process.returncode)
        if process.returncode == 0:
            assert verify(out).state == "complete", (k, said, err)
        else:
            assert process.returncode in CONVENTIONAL[number], (k, process.returncode, said, err)
            assert not out.exists() or not any(out.iterdir()), (k, said, err)
            assert err.count("\n") <= 1, err
    assert len(statuses) == 10


AT_THE_IMPORT = """
import os, signal, sys
sys.argv = ["haul", "predict", "rig.toml"]

class Signal:
    def find_spec(self, name, path=None, target=None):
        if name == sys.MODULE:
            os.kill(os.getpid(), sys.NUMBER)

sys.MODULE, sys.NUMBER = sys.orig_argv[-2], int(sys.orig_argv[-1])
import dashboard.stop_signals
sys.meta_path.insert(0, Signal())
from dashboard.cli import main
sys.exit(main())
"""


@pytest.mark.parametrize("number", CONVENTIONAL, ids=str)
@pytest.mark.parametrize(
    "module",
    [
        "argparse",
        "logger.errors",
        "dashboard.commands.predict",
        "numpy",
        "datetime",  # imported by numpy in C, which makes an ImportError of it
    ],
)
def test_a_signal_within_an_import_leaves_no_trace(module: str, number: signal.Signals) -> None:
    rig = ROOT / "analysis" / "demo" / "rig.toml"
    code = AT_THE_IMPORT.replace('"rig.toml"', repr(str(rig)))
    done = subprocess.run(
        [sys.executable, "-c", code, module, str(int(number))],
        env=ENV, text=True,
        capture_output=True, timeout=600, check=False,
    )  # fmt: skip
    assert (done.returncode in CONVENTIONAL[number], done.stderr) == (True, ""), done.returncode


UNRAISED = """
import os, sys
sys.argv = ["haul", "predict"]
import dashboard.stop_signals as stop_signals

class Dropped:
    def __del__(self):
        os.kill(os.getpid(), NUMBER)
        for _ in range(1000):  # the handler runs between two instructions of this
            pass

with stop_signals.handled():
    Dropped()
"""


@pytest.mark.parametrize("number", CONVENTIONAL, ids=str)
def test_a_signal_where_no_exception_can_pass_has_its_own_status(number: signal.Signals) -> None:
    """Python drops what a finalizer raises, so the process ends there."""
    done = subprocess.run(
        [sys.executable, "-c", UNRAISED.replace("NUMBER", str(int(number)))], env=ENV, text=True,
        capture_output=True, timeout=600, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (128 + number, "")
