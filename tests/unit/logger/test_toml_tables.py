"""A TOML document from outside is bounded before it is parsed: one fault, at once."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.rig_file.load import load_rig
from logger.calibration.calibration import load as load_calibration
from logger.channels.sensors_file import load_sensors
from logger.errors import RigFault, UserFault
from logger.toml_tables import MOST_DEPTH, MOST_KEY_PARTS, parse_toml

ROOT = Path(__file__).parents[3]
HOSTILE = {
    "a dotted key": ".".join("a" * 30_000) + " = 1",
    "quoted parts": " . ".join(['"a"'] * 10_000) + " = 1",
    "a dotted table": "[" + ".".join("a" * 30_000) + "]",
    "inside an inline table": "x = { " + ".".join("a" * 30_000) + " = 1 }",
    "behind a string of three quotes": 't = """x\\""""\n' + ".".join("a" * 30_000) + " = 1",
    "brackets": "a = " + "[" * 60_000,
    "inline tables": "a = " + "{ b = " * 10_000,
    "many tables": "".join(f"[a{i}.b.c.d.e.f.g.h]\n" for i in range(30_000)),
    "many short keys": "a.b.c = 1\n" * 40_000,
    "quotes": "'\"" * 100_000,
    "escapes": '"""' + '\\"""' * 50_000,
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
@pytest.mark.parametrize(
    "load", [load_rig, load_sensors, load_calibration], ids=lambda f: f.__name__
)
def test_a_hostile_document_is_one_fault_within_a_second(tmp_path, load, text):
    path = tmp_path / "hostile.toml"
    path.write_text(text, "utf-8")
    began = time.process_time()  # of this process alone, whatever else the machine does
    with pytest.raises(UserFault) as caught:
        load(path)
    assert time.process_time() - began < 1.0
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 500


def test_the_fault_names_the_line_and_the_bound():
    with pytest.raises(RigFault, match=rf"line 3: a key of more than {MOST_KEY_PARTS} parts"):
        parse_toml('title = "a"\n\n' + "a." * MOST_KEY_PARTS + "a = 1\n", "r.toml", RigFault)
    with pytest.raises(RigFault, match=f"line 2: brackets more than {MOST_DEPTH} deep"):
        parse_toml("x = 1\na = " + "[" * 20 + "]" * 20, "r.toml", RigFault)


def test_a_document_at_the_bounds_is_read():
    key, deep = ".".join("a" * MOST_KEY_PARTS), "[" * MOST_DEPTH + "]" * MOST_DEPTH
    assert parse_toml(f"{key} = 1.5\nb = {deep}\n", "r.toml", RigFault)["b"]


AWKWARD = st.text(st.sampled_from("a.[]{}#='\"\\ ,é"), max_size=60)


@settings(max_examples=300, deadline=None)
@given(AWKWARD, AWKWARD, AWKWARD)
def test_what_strings_and_comments_hold_does_not_count(one, two, comment):
    text = "\n".join([
        "a = " + '"' + one.replace("\\", "\\\\").replace('"', '\\"') + '"',
        "b = '" + two.replace("'", "") + "'",
        'c = """\n' + one.replace("\\", "\\\\").replace('"', '\\"') + '"""',
        "d = '''\n" + two.replace("'", "") + "'''",
        "# " + comment,
    ])  # fmt: skip
    assert parse_toml(text, "r.toml", RigFault)["a"] == one


@pytest.mark.parametrize(
    "path",
    [p for p in ROOT.rglob("*.toml") if not {".venv", "node_modules"} & set(p.parts)],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_no_file_of_the_project_is_beyond_the_bounds(path):
    parse_toml(path.read_text("utf-8"), str(path), RigFault)
