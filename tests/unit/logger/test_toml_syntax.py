"""A TOML file with a usual mistake is told with its file, its line and what to write instead."""

from __future__ import annotations

import tomllib

import pytest

from dashboard import cli
from logger.errors import RigFault
from logger.toml_tables import parse_toml

MISTAKES = [
    ("title = 'a'\nmass_kg = 1,5\n", 2, "write 1.5"),
    ("mass_kg = -0,75 # about\n", 1, "write -0.75"),
    ("mass_kg = 1.234,5\n", 1, "write 1234.5"),
    ("mass_kg = 1,500\n", 1, "write 1.500, or 1500 if the comma parts thousands"),
    ('path = [\n  { tie = "load", strength = 0,75 },\n]\n', 2, "write 0.75"),
    ('path = [\n  { grab = "G1", at_m = 9,5, on = "x" },\n]\n', 2, "write 9.5"),
    ("title = “foo”\n", 1, 'write title = "foo"'),
    ('a = 1\ntitle = "foo”\nx = 1\n', 2, 'write title = "foo"'),
    ("name = ‘main’\n", 1, "write name = 'main'"),
    ("names = ['a', „b“]\n", 1, "write names = ['a', \"b\"]"),
    (
        'path = [\n  { tie = "load" }\n\n  # the team\n  { haul = "team" },\n]\n',
        2,
        'write { tie = "load" },',
    ),
    ('path = [\n  { tie = "load" }  # end\n  { haul = "team" } ]\n', 2, 'write { tie = "load" },'),
    ('path = [\n  { tie = "load" strength = 0.75 },\n]\n', 2, "write a comma before strength"),
    ('carries = ["A1" "C1"]\n', 1, 'write a comma before "C1"'),
    ("x = [1 2]\n", 1, "write a comma before 2"),
    ('port = "\\\\.\\COM3"\n', 1, "write single quotes: '\\\\.\\COM3'"),
    ('a = 1\nport = "C:\\Users\\me"\n', 2, "write single quotes: 'C:\\Users\\me'"),
    ('path = [\n  { tie = "load",\n    strength = 0.75 },\n]\n', 2, "write them on one line"),
    ('path = [ { tie = "load", }, ]\n', 1, "take that comma out"),
    ("mass_kg = 5,\n", 1, "take that comma out"),
    ("path = [\n 1,\n 2,\n", 1, "write ] behind it"),
    ('path = [\n 1,\n\n[[rope]]\nname = "a"\n', 1, "write ] behind it"),
    ("kind = slope\n", 1, 'write "slope"'),
    ("checksum = False\n", 1, "write false"),
    ("mass_kg = .5\n", 1, "write 0.5"),
    ("mass_kg = 900 kg\n", 1, "write the number alone; the key names its unit"),
    ('title = "foo\n', 1, "write the quote at its end"),
]


@pytest.mark.parametrize(("text", "line", "cure"), MISTAKES)
def test_a_usual_mistake_says_what_to_write(text, line, cure):
    with pytest.raises(RigFault) as found:
        parse_toml(text, "rig.toml", RigFault)
    assert (found.value.file, found.value.place) == ("rig.toml", f"line {line}")
    assert found.value.fault.startswith("is not valid TOML: ")
    assert found.value.cure == cure
    with pytest.raises(RigFault) as windows:
        parse_toml(text.replace("\n", "\r\n"), "rig.toml", RigFault)
    assert str(windows.value) == str(found.value)


@pytest.mark.parametrize(
    ("text", "line", "cure"),
    [
        one
        for one in MISTAKES
        if one[2].startswith("write") and "=" in one[0].split("\n")[one[1] - 1]
    ][:10],
)
def test_what_it_says_to_write_is_valid(text, line, cure):
    """The number or the line of the cure, put in place of what was wrong, is parsed."""
    lines = text.split("\n")
    write = cure.removeprefix("write ").split(", or ")[0]
    at = lines[line - 1]
    if "=" in write:
        lines[line - 1] = write
    else:
        wrong = next(w for w in ("-0,75", "1.234,5", "1,500", "1,5", "0,75", "9,5") if w in at)
        lines[line - 1] = at.replace(wrong, write)
    tomllib.loads("\n".join(lines))


@pytest.mark.parametrize(
    "text", ["x = 1979-13-01\n", "a.b = 1\na = 2\n", "x = 1\nx = 2\n", "= 1\n"]
)
def test_another_mistake_keeps_what_the_parser_said(text):
    with pytest.raises(RigFault) as found:
        parse_toml(text, "rig.toml", RigFault)
    assert "is not valid TOML: " in str(found.value) and "at line " in str(found.value)


def test_a_curly_quote_inside_a_text_is_no_mistake():
    assert parse_toml("title = 'the “big” one'\n", "rig.toml", RigFault) == {
        "title": "the “big” one"
    }


def test_haul_says_the_file_the_line_and_what_to_write(tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text("anchor_to_load_m = 10.0\n[load]\nmass_kg = 1,5\n", encoding="utf-8")
    assert cli.main(["predict", str(rig)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"haul: {rig}: line 3: is not valid TOML: ") and said.count("\n") == 1
    assert said.endswith("write 1.5\n")
