"""A wrong word gets another word as its cure only if it likely misspells that one."""

from __future__ import annotations

import pytest

from analysis.rig.surfaces import SURFACES
from analysis.rig_file.load import parse_rig
from dashboard import cli
from logger.channels.sensors_file import parse_sensors
from logger.errors import RigFault, SensorsFault
from logger.spelling import cure, likely

SURFACE_NAMES = [one.name for one in SURFACES]
CHANNEL = """[[channel]]
name = "pull"
quantity = "force"
at = "haul"
format = "xdr"
id = "HAUL"
"""
RIG = """anchor_to_load_m = 10.0
[[rope]]
name = "main"
path = [
  { tie = "load" },
  { pulley = "A1", on = "ON" },
  { haul = "team" },
]
"""


@pytest.mark.parametrize(
    "word, valid, meant",
    [
        ("capcity", ["capacity", "parity"], "capacity"),
        ("pully", ["pulley", "plate"], "pulley"),
        ("pulely", ["pulley"], "pulley"),  # two letters in each other's place
        ("ahul", ["haul", "load"], "haul"),  # the first two
        ("ANCHOR", ["anchor", "load"], "anchor"),
        ("wet loose gravel", SURFACE_NAMES, "wet-loose-gravel"),
        ("packed-gravle", SURFACE_NAMES, "packed-gravel"),
        ("--loda-N", ["--load-N", "--json"], "--load-N"),
        ("anchor_to_load", ["anchor_to_load_m"], "anchor_to_load_m"),
        ("mass", ["kind", "mass_kg"], "mass_kg"),
    ],
)
def test_a_likely_misspelling_names_the_word(word, valid, meant):
    assert likely(word, valid) == meant
    assert cure(word, valid) == f'write "{meant}"'


@pytest.mark.parametrize(
    "word, valid",
    [
        ("tree", ["anchor", "load", "free"]),
        ("grass", SURFACE_NAMES),
        ("parity", ["capacity"]),
        ("G2", ["G1", "load"]),  # the number of a grab is chosen, not misspelt
        ("A10", ["A1", "A11"]),
        ("kg", ["kN", "g", "N"]),
        ("mass_lb", ["mass_kg"]),  # another unit is not a slip: 900 lb are not 900 kg
        ("pull_kN", ["pull_N"]),
        ("anchor_to_load_ft", ["anchor_to_load_m"]),
        ("mass", ["mass_kg", "mass_lb"]),
        ("stage", ["stages", "staged"]),  # two that are as near
        ("", ["load"]),
        ("x" * 2000, ["load"]),
    ],
)
def test_another_word_gets_all_that_are_valid(word, valid):
    assert likely(word, valid) is None
    assert cure(word, valid) == "write one of " + ", ".join(f'"{one}"' for one in valid)


def test_braces_in_a_name_stay_as_they_are():
    assert cure("x{}", ["{0}", "load"], "names are") == 'names are "{0}", "load"'


def test_a_body_that_is_not_there_lists_the_bodies():
    with pytest.raises(RigFault) as found:
        parse_rig(RIG.replace("ON", "tree"), "rig.toml")
    assert 'there is no body "tree"' in str(found.value)
    assert 'bodies now are "anchor", "load"' in found.value.cure
    assert "[further_anchor.NAME]" in found.value.cure


def test_a_misspelt_body_gets_the_body():
    with pytest.raises(RigFault) as found:
        parse_rig(RIG.replace("ON", "anchr"), "rig.toml")
    assert found.value.cure == 'write "anchor"'


def test_an_unknown_key_of_a_channel_lists_its_keys():
    with pytest.raises(SensorsFault) as found:
        parse_sensors(CHANNEL + 'parity = "N"\n', "sensors.toml")
    assert found.value.fault == 'unknown key "parity" in [channel pull]'
    listed = found.value.cure.removeprefix("known here: ").split(", ")
    assert {"at", "capacity", "framing"} <= {*listed} and listed == sorted(listed)


def test_a_misspelt_key_of_a_channel_gets_the_key():
    with pytest.raises(SensorsFault) as found:
        parse_sensors(CHANNEL + "capcity = 5000.0\n", "sensors.toml")
    assert found.value.cure == "write capacity"


def test_a_surface_that_is_not_in_the_table_lists_the_table(capsys):
    call = "choose --mass-kg 500 --surface grass --distance-m 8 --rope-m 60 --team-N 600"
    assert cli.main(call.split()) == 2
    said = capsys.readouterr().err
    assert "surfaces are hard-road, " in said and "write greased-ways" not in said
    assert cli.main(call.replace("grass", "greased-wyas").split()) == 2
    assert "write greased-ways" in capsys.readouterr().err


def test_an_option_of_another_meaning_lists_the_options(capsys):
    assert cli.main(["predict", "rig.toml", "--weight"]) == 2
    assert "options are --" in capsys.readouterr().err
    assert cli.main(["predict", "rig.toml", "--condtions"]) == 2
    assert "write --conditions" in capsys.readouterr().err
