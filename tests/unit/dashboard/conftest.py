"""Files that a call of `haul` takes, and a way to make the call."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from support.channels import force, rope
from support.desk_server import OpenDesk
from support.rigs import three_to_one

from dashboard.cli import main

RIG = three_to_one(
    "resistance_N = 813.0\nresistance_u_N = 5.0\npull_distance_m = 6.0",
    rope="length_m = 50.0\nmbs_kN = 28.0\n",
    more="[defaults]\npulley_efficiency = 0.90\npulley_efficiency_u = 0.02\n",
)
SENSORS = force("u = 2.0") + rope()


@dataclass(frozen=True)
class Said:
    status: int
    out: str
    err: str


@pytest.fixture
def haul(capsys):
    """Make a call; what came of it."""

    def call(*argv) -> Said:
        status = main([str(word) for word in argv])
        said = capsys.readouterr()
        return Said(status, said.out, said.err)

    return call


@pytest.fixture
def rig(tmp_path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(RIG, "utf-8")
    return path


@pytest.fixture
def sensors(tmp_path) -> Path:
    path = tmp_path / "sensors.toml"
    path.write_text(SENSORS, "utf-8")
    return path


@pytest.fixture
def data(tmp_path) -> Path:
    """A table: still for 2 s, 2 m of rope at 300 N in 8 s, still again."""
    rows = ["time_s,haul_force,rope_out"]
    for k in range(600):
        t = k / 50
        out = min(max(t - 2, 0), 8) / 4
        rows.append(f"{t:.2f},{300 if 2 <= t <= 10 else 0},{out:.4f}")
    path = tmp_path / "data.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


@pytest.fixture
def session(haul, rig, sensors, data, tmp_path) -> Path:
    """A sealed session made of that table."""
    out = tmp_path / "session"
    said = haul("import", data, "--rig", rig, "--sensors", sensors, "--out", out)
    assert said.status == 0, said.err
    return out


@pytest.fixture
def desk(folder):
    """The desk of a folder, which the module's own fixture fills."""
    serving = OpenDesk(folder)
    yield serving
    serving.close()
