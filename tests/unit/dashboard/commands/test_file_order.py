"""A rig file and a sensors file in each other's place are told by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard import cli

SENSORS = """[[channel]]
name = "pull"
quantity = "force"
at = "haul"
port = "/dev/ttyUSB0"
baud = 9600
format = "xdr"
id = "HAUL"
"""


@pytest.mark.parametrize(
    "call",
    [
        "record {sensors} {rig} --out {out}",
        "import {data} --rig {sensors} --sensors {rig} --out {out}",
        "simulate {sensors} {rig} --true {data}",
    ],
)
def test_swapped_files_are_named(call: str, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    rig, sensors = tmp_path / "one.toml", tmp_path / "two.toml"
    rig.write_text("anchor_to_load_m = 9.0\n[[rope]]\nname = 'main'\npath = []\n", "utf-8")
    sensors.write_text(SENSORS, encoding="utf-8")
    data = tmp_path / "data.csv"
    data.write_text("time_s,pull\n0,1\n", encoding="utf-8")
    words = call.format(rig=rig, sensors=sensors, data=data, out=tmp_path / "out").split()
    assert cli.main(words) == 2
    said = capsys.readouterr().err
    assert f"{sensors} is the sensors file and {rig} is the rig file" in said
    assert said.count("\n") == 1


def test_one_file_in_the_others_place_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    sensors = tmp_path / "two.toml"
    sensors.write_text(SENSORS, encoding="utf-8")
    assert cli.main(["predict", str(sensors)]) == 2
    said = capsys.readouterr().err
    assert f"{sensors}: this is a sensors file, not a rig file; give the rig file" in said
