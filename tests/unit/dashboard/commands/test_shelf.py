"""`haul shelf` and `haul schema` print what the program has."""

from __future__ import annotations

import json
from importlib import resources

import pytest

from dashboard.cli import main


def test_the_shelf_lists_every_rig_file_with_its_ratio(capsys):
    files = [
        f.name[:-5]
        for f in (resources.files("analysis") / "rigs").iterdir()
        if f.name.endswith(".toml")
    ]
    assert main(["shelf", "--json"]) == 0
    rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)["rigs"]}
    assert sorted(rows) == sorted(files)
    # 3:1 on 4:1 is 12:1, 3:1 on 3:1 on 2:1 is 18:1: ratios multiply (any textbook of mechanics)
    assert rows["3-on-4"]["ideal_ma"] == pytest.approx(12.0)
    assert rows["3-on-3-on-2"]["ideal_ma"] == pytest.approx(18.0)
    assert all(row["model_ma"] <= row["ideal_ma"] for row in rows.values())
    assert main(["shelf"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(files) + 1


@pytest.mark.parametrize("kind", ["rig", "sensors"])
def test_a_schema_is_one_object_of_draft_7(kind, capsys):
    assert main(["schema", kind]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema["$schema"].endswith("draft-07/schema#") and schema["type"] == "object"


def test_a_schema_of_another_file_is_refused_in_one_line(capsys):
    assert main(["schema", "session"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
