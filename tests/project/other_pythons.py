"""Install the program for each Python that is here, and run its main commands and its unit tests there.

As a script, for `.ci/run`: the main commands under each further Python.  With `--units`, for `.ci/long`: the
unit tests under the oldest and the newest one too, in UNIT_S in all.  With `--lowest`, for `.ci/long`: under each Python the unit tests of
`logger` and `analysis` with the lowest versions that pyproject allows.  Exit status 1 where an installation,
a command or a test fails.  A Python that is not here is named as not run.  Needs a package registry.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]
VERSIONS = ("3.11", "3.12", "3.13")  # pyproject's classifiers name them
UNIT_S = 240.0  # for all unit tests under further Pythons; chosen by us: .ci/run has to end
SAMPLES = ROOT / "sample_logs"
COMMANDS = (
    ("library", SAMPLES),
    ("gear", SAMPLES),
    ("review", SAMPLES / "slipway-launch-1"),
    ("predict", SAMPLES / "slipway-launch-1" / "rig.toml"),
    ("demo", "--headless", "--for", "5", "--out", "demo"),
    ("verify", "demo"),
)
# what the unit tests import or run; the other tools of the extra `test` serve no unit test
TOOLS = (
    "pytest",
    "pytest-xdist",
    "hypothesis",
    "frictionless",
    "html5lib",
    "zxing-cpp",
    "amqtt",
    "trustme",
)
UNIT = ("tests/unit/logger", "tests/unit/analysis", "tests/unit/dashboard")


def python_of(version: str) -> Path | None:
    """A Python of that version ("3.12") that starts, on PATH or among those of pyenv or uv; None without
    one."""
    return next((path for path in _candidates(version) if _starts(path, version)), None)


def _candidates(version: str) -> Iterator[Path]:
    name = shutil.which(f"python{version}")
    if name is not None:
        yield Path(name)
        # pyenv puts a shim on PATH, which starts nothing while that version is not the chosen one
        if Path(name).parent.name == "shims":
            yield from sorted((Path(name).parents[1] / "versions").glob(f"{version}.*/bin/python3"))
    uv = shutil.which("uv")
    if uv is not None:
        asked = [uv, "python", "find", "--no-project", version]
        ran = subprocess.run(asked, capture_output=True, text=True, timeout=600)
        if ran.returncode == 0 and ran.stdout.strip():
            yield Path(ran.stdout.strip())


def _starts(python: Path, version: str) -> bool:
    code = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"
    try:
        ran = subprocess.run([python, "-c", code], capture_output=True, text=True, timeout=600)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return ran.returncode == 0 and ran.stdout.strip() == version


def lower_bounds(
    version: str, extras: Sequence[str] = ("parquet", "cluster", "devices")
) -> dict[str, str]:
    """The lowest version that pyproject allows for this Python ("3.12"), by package, also of its extras.

    Raises ValueError for a package without one lower bound.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    optional = project["optional-dependencies"]
    lowest: dict[str, str] = {}
    for text in [*project["dependencies"], *(row for name in extras for row in optional[name])]:
        needed = Requirement(text)
        if needed.marker is not None and not needed.marker.evaluate({"python_version": version}):
            continue
        bounds = [one.version for one in needed.specifier if one.operator == ">="]
        if len(bounds) != 1 or needed.name in lowest:
            raise ValueError(f"{text}: one lower bound for Python {version} is needed")
        lowest[needed.name] = bounds[0]
    return lowest


class Environment:
    """A new virtual environment of a Python in a folder, and what is run in it."""

    def __init__(self, python: Path, folder: Path) -> None:
        self.folder = folder
        subprocess.run([python, "-m", "venv", str(folder / "venv")], check=True)
        self.scripts = folder / "venv" / ("Scripts" if sys.platform == "win32" else "bin")
        self.env = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
        self.env["XDG_CACHE_HOME"] = str(folder / "cache")  # the library's index must be made here

    def install(self, what: Sequence[str], lowest: dict[str, str] | None = None) -> str:
        """Install packages, none below or above `lowest`; what went wrong, "" where nothing did."""
        constraints = self.folder / "constraints.txt"
        rows = [f"{name}=={version}\n" for name, version in (lowest or {}).items()]
        constraints.write_text("".join(rows), "utf-8")
        call = [self.scripts / "python", "-m", "pip", "install", "-q", "-c", str(constraints)]
        ran = subprocess.run(
            [*call, *what], capture_output=True, text=True, cwd=self.folder, env=self.env
        )
        return f"pip install: {ran.stderr.strip()[-400:]}" if ran.returncode else ""

    def commands(self) -> Iterator[str]:
        """Run the main commands; what went wrong."""
        for command in COMMANDS:
            call = [self.scripts / "haul", *map(str, command)]
            ran = subprocess.run(
                call, capture_output=True, text=True, cwd=self.folder, env=self.env, timeout=300
            )
            if ran.returncode or not ran.stdout.strip():
                yield f"haul {command[0]}: exit status {ran.returncode}: {ran.stderr.strip()[-400:]}"

    def unit_tests(self, folders: Sequence[str], within_s: float | None = None) -> tuple[str, int]:
        """Run the unit tests in these folders; (what came of them, 1 where one failed).

        within_s: time for them, s; what has not run by then is named as not run and is no failure.
        """
        call = [
            self.scripts / "python",
            "-m",
            "pytest",
            "-n",
            "2",
            "-p",
            "no:cacheprovider",
            *folders,
        ]
        log = self.folder / "tests.log"
        cut = False
        with log.open("w", encoding="utf-8") as out:
            process = subprocess.Popen(call, stdout=out, stderr=out, cwd=ROOT, env=self.env)
            try:
                process.wait(within_s)
            except subprocess.TimeoutExpired:
                cut = True
                process.send_signal(signal.SIGINT)  # pytest then names what failed so far
                try:
                    process.wait(600)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()
        text = log.read_text("utf-8", "replace")
        failed = [line for line in text.splitlines() if line.startswith(("FAILED", "ERROR"))]
        rows = [row.split(" [")[0] for row in text.splitlines() if row.endswith("%]")]
        if cut:
            dots = sum(row.count(".") for row in rows)
            bad = sum(row.count("F") + row.count("E") for row in rows)
            said = f"the unit tests were cut off after {within_s:.0f} s: {dots} passed, {bad} failed, the rest did not run"
            return "; ".join([*failed, said]), int(bad > 0)
        summary = "; ".join([*failed, f"{sum(row.count('.') for row in rows)} unit tests passed"])
        return summary if not process.returncode else f"{summary}: {text[-2000:]}", int(
            process.returncode != 0
        )


def full_version(python: Path) -> str:
    """What `python -V` prints."""
    return subprocess.run([python, "-V"], capture_output=True, text=True).stdout.strip()


def running() -> str:
    """The Python of this process, as "3.11"."""
    return f"{sys.version_info[0]}.{sys.version_info[1]}"


def found(versions: Sequence[str]) -> dict[str, Path]:
    """The Pythons of these versions that are here; names those that are not."""
    pythons = {version: python_of(version) for version in versions}
    for version, python in pythons.items():
        if python is None:
            print(f"Python {version}: not run, for there is none here")
    return {version: python for version, python in pythons.items() if python is not None}


def run_others(units: bool) -> int:
    """Run the commands under each further Python; units: the unit tests under the oldest and the newest too."""
    others = found([version for version in VERSIONS if version != running()])
    here = [version for version in VERSIONS if version in others or version == running()]
    ends = [version for version in (here[0], here[-1]) if version in others]
    status, left_s = 0, UNIT_S
    for version, python in others.items():
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as name:
            made = Environment(python, Path(name))
            wrong = [made.install([str(ROOT)])]
            wrong += [] if wrong[0] else made.commands()
            wrong = [text for text in wrong if text]
            said = ["; ".join(wrong) or ", ".join(str(row[0]) for row in COMMANDS) + " ran"]
            status = 1 if wrong else status
            if units and version in ends and not wrong:
                said += [made.install([str(ROOT) + "[parquet,cluster,devices]", *TOOLS])]
                if said[-1]:
                    status = 1
                else:
                    start = time.monotonic()
                    said[-1], failed = made.unit_tests(UNIT, left_s / len(ends))
                    left_s -= time.monotonic() - start
                    ends.remove(version)
                    status = max(status, failed)
        print(f"{full_version(python)}: {'; '.join(said)} ({time.monotonic() - began:.0f} s)")
    print(f"Python {running()} ran the whole suite")
    return status


def run_lowest() -> int:
    """Under each Python here, run the unit tests of logger and analysis with the lowest versions."""
    status = 0
    pythons = {running(): Path(sys.executable)} | found([v for v in VERSIONS if v != running()])
    for version, python in pythons.items():
        lowest = lower_bounds(version)
        with tempfile.TemporaryDirectory() as name:
            made = Environment(python, Path(name))
            said, failed = (
                made.install([str(ROOT) + "[parquet,cluster,devices]", *TOOLS], lowest),
                1,
            )
            if not said:
                said, failed = made.unit_tests(UNIT[:2])
        status = max(status, failed)
        names = ", ".join(f"{package} {bound}" for package, bound in lowest.items())
        print(f"{full_version(python)} with {names}: {said}", flush=True)
    return status


if __name__ == "__main__":
    raise SystemExit(
        run_lowest() if sys.argv[1:] == ["--lowest"] else run_others(sys.argv[1:] == ["--units"])
    )
