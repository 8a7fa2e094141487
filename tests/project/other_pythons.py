"""Install the program for each further Python that is here, and run its main commands once.

As a script: exit status 1 where a command or an installation fails. A Python that is not here is
named as not run. Needs a package registry, and some 40 s for each Python; so it is a step of
.ci/run, and no part of the README's tests.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VERSIONS = ("3.12", "3.13")  # beside the one that runs the tests; pyproject's classifiers name all
SAMPLES = ROOT / "sample_logs"
COMMANDS = (
    ("library", SAMPLES),
    ("gear", SAMPLES),
    ("review", SAMPLES / "slipway-launch-1"),
    ("predict", SAMPLES / "slipway-launch-1" / "rig.toml"),
    ("demo", "--headless", "--for", "5", "--out", "demo"),
    ("verify", "demo"),
)


def python_of(version: str) -> Path | None:
    """A Python of that version ("3.12") that starts, on PATH or among pyenv's; None without one."""
    return next((path for path in _candidates(version) if _starts(path, version)), None)


def _candidates(version: str) -> Iterator[Path]:
    name = shutil.which(f"python{version}")
    if name is None:
        return
    yield Path(name)
    # pyenv puts a shim on PATH, which starts nothing while that version is not the chosen one
    if Path(name).parent.name == "shims":
        yield from sorted((Path(name).parents[1] / "versions").glob(f"{version}.*/bin/python3"))


def _starts(python: Path, version: str) -> bool:
    code = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"
    try:
        ran = subprocess.run([python, "-c", code], capture_output=True, text=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return ran.returncode == 0 and ran.stdout.strip() == version


def faults(python: Path, folder: Path) -> Iterator[str]:
    """Install into a new environment in `folder` and run the commands there; what went wrong."""
    home = folder / "venv"
    subprocess.run([python, "-m", "venv", str(home)], check=True)
    scripts = home / ("Scripts" if sys.platform == "win32" else "bin")
    env = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    env["XDG_CACHE_HOME"] = str(folder / "cache")  # the library's index must be made here
    install = [scripts / "python", "-m", "pip", "install", "-q", str(ROOT)]
    ran = subprocess.run(install, capture_output=True, text=True, cwd=folder, env=env)
    if ran.returncode:
        yield f"pip install: {ran.stderr.strip()[-400:]}"
        return
    for command in COMMANDS:
        call = [scripts / "haul", *map(str, command)]
        ran = subprocess.run(call, capture_output=True, text=True, cwd=folder, env=env, timeout=300)
        if ran.returncode or not ran.stdout.strip():
            yield f"haul {command[0]}: exit status {ran.returncode}: {ran.stderr.strip()[-400:]}"


def main() -> int:
    status = 0
    for version in VERSIONS:
        python = python_of(version)
        if python is None:
            print(f"Python {version}: not run, for there is none here")
            continue
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as name:
            wrong = list(faults(python, Path(name)))
        full = subprocess.run([python, "-V"], capture_output=True, text=True).stdout.strip()
        names = ", ".join(str(command[0]) for command in COMMANDS)
        print(f"{full}: {'; '.join(wrong) or f'{names} ran'} ({time.monotonic() - began:.0f} s)")
        status = 1 if wrong else status
    return status


if __name__ == "__main__":
    raise SystemExit(main())
