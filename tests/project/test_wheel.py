"""The wheel: built, installed in an empty environment elsewhere, and used there."""

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import numpy
import pytest
from support.channels import force

ROOM = ("logger", "analysis", "dashboard")


@pytest.fixture(scope="module")
def wheel(root, tmp_path_factory):
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(root)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    (path,) = out.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """Run a call of the installed `haul` in an empty folder; the libraries are lent, not copied."""
    home = tmp_path_factory.mktemp("elsewhere")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(home / "venv")], check=True)
    python = next(
        p for p in (home / "venv/bin/python", home / "venv/Scripts/python.exe") if p.exists()
    )
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--no-deps",
         "--no-index", str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    site = subprocess.run(
        [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        check=True, capture_output=True, text=True,
    ).stdout.strip()  # fmt: skip
    lent = {sysconfig.get_path("purelib"), str(Path(numpy.__file__).parent.parent)}
    (Path(site) / "lent.pth").write_text("\n".join(sorted(lent)) + "\n", "utf-8")
    desk = home / "desk"
    desk.mkdir()
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}

    def run(*argv, code=None):
        haul = python.with_name("haul" + python.suffix)
        call = [str(python), "-c", code] if code else [str(haul), *map(str, argv)]
        return subprocess.run(call, capture_output=True, text=True, cwd=desk, env=env, timeout=600)

    return run


def test_the_wheel_holds_the_three_rooms_with_their_data_and_nothing_else(wheel, root):
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == set(ROOM)
    for room in ROOM:
        for path in (root / room).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert str(path.relative_to(root).as_posix()) in names
    assert any(name.startswith("analysis/") and name.endswith(".toml") for name in names)


@pytest.mark.many
def test_the_installed_command_predicts_imports_verifies_and_reviews(installed, root, tmp_path):
    where = installed(code="import dashboard; print(dashboard.__file__)").stdout
    assert "elsewhere" in where  # the copy that was installed, not the source
    rig = root / "tests/project/interface/rig.toml"
    predicted = installed("predict", rig, "--json")
    assert predicted.returncode == 0, predicted.stderr
    assert json.loads(predicted.stdout)["ideal_ma"] == pytest.approx(9.0)
    sensors = tmp_path / "sensors.toml"
    sensors.write_text(force(), "utf-8")
    data = tmp_path / "data.csv"
    data.write_text("time_s,haul_force\n" + "".join(f"{k / 10},200\n" for k in range(50)), "utf-8")
    made = installed("import", data, "--rig", rig, "--sensors", sensors, "--out", "session")
    assert made.returncode == 0, made.stderr
    verified = installed("verify", "session")
    assert (verified.returncode, verified.stdout.split()[0]) == (0, "complete"), verified.stderr
    reviewed = installed("review", "session", "--json")
    assert reviewed.returncode == 0, reviewed.stderr
    assert json.loads(reviewed.stdout)["readings"] == {"haul_force": 50}
