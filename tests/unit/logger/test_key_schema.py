"""The JSON Schema of the declared keys, judged by the reference library jsonschema."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
from jsonschema import Draft7Validator
from support.every_rig import of_the_tests
from support.invalid_rigs import FAULTY, ONLY_THE_MODEL, UNWORKABLE
from support.rigs import words_toml

from analysis.rig_file.rig_keys import RIG
from logger.key_schema import json_schema

RIGS = resources.files("analysis") / "rigs"
FILES = sorted(
    (file for file in RIGS.iterdir() if file.name.endswith(".toml")), key=lambda file: file.name
)
DEMO = resources.files("analysis") / "demo" / "rig.toml"
SCHEMA = json_schema(RIG)
VALIDATOR = Draft7Validator(SCHEMA)
GOOD = """
title = "Launch on its cradle"
anchor_to_load_m = 12.0
[[rope]]
name = "main"
mbs_kN = 30.0
path = [
  { tie = "load", strength = 0.75 },
  { pulley = "A1", on = "anchor" },
  { haul = "team" },
]
"""
FAULTS = {
    "an unknown key": ('title = "', 'titel = "'),
    "a key without its unit": ("anchor_to_load_m", "anchor_to_load"),
    "a distance below 0": ("= 12.0", "= -12.0"),
    "a distance of 0": ("= 12.0", "= 0"),
    "a number as text": ("= 12.0", '= "12 m"'),
    "two units": ("= 12.0", "= 12.0\nanchor_to_load_ft = 39.0"),
    "two units of a key that may be left out": ("mbs_kN = 30.0", "mbs_kN = 30.0\nmbs_lbf = 6744.0"),
    "no distance": ("anchor_to_load_m = 12.0", ""),
    "a share above 1": ("0.75", "75"),
    "an unknown station": ("pulley =", "sheave ="),
    "a pulley on nothing": (', on = "anchor"', ""),
    "a path of one station": ('  { tie = "load", strength = 0.75 },\n  { pulley = "A1", on = "anchor" },\n', ""),
    "no rope": ("[[rope]]", "[[ropes]]"),
    "an unknown kind of load": ("[[rope]]", '[load]\nkind = "uphill"\n[[rope]]'),
}  # fmt: skip


def test_the_schema_is_one() -> None:
    Draft7Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("file", [*FILES, DEMO], ids=lambda file: file.name)
def test_rigs_of_the_program_are_accepted(file) -> None:
    assert not list(VALIDATOR.iter_errors(tomllib.loads(file.read_text(encoding="utf-8"))))


@pytest.mark.parametrize(("old", "new"), FAULTS.values(), ids=FAULTS.keys())
def test_what_a_schema_can_refuse_is_refused(old: str, new: str) -> None:
    assert not list(VALIDATOR.iter_errors(tomllib.loads(GOOD)))
    assert GOOD.count(old) == 1
    assert list(VALIDATOR.iter_errors(tomllib.loads(GOOD.replace(old, new))))


def parsed(text: str) -> dict | None:
    """The values of a file; None where it is no TOML, which an editor says without a schema."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


@pytest.mark.parametrize("name", FAULTY)
def test_every_invalid_rig_is_refused_where_a_schema_can(name: str) -> None:
    document = parsed(FAULTY[name][0])
    refused = document is None or bool(list(VALIDATOR.iter_errors(document)))
    assert refused != (name in ONLY_THE_MODEL), ONLY_THE_MODEL.get(name, "the schema takes it")


def test_those_that_only_the_model_can_refuse_are_in_the_catalogue() -> None:
    assert set(ONLY_THE_MODEL) <= set(FAULTY)


@pytest.mark.parametrize("name", UNWORKABLE)
def test_a_rig_that_cannot_work_is_no_matter_of_the_schema(name: str) -> None:
    path, extra = UNWORKABLE[name]
    assert not list(VALIDATOR.iter_errors(tomllib.loads(words_toml(path, extra=extra))))


@pytest.mark.parametrize("name", sorted(of_the_tests()))
def test_every_rig_of_the_tests_is_accepted(name: str) -> None:
    assert not list(VALIDATOR.iter_errors(tomllib.loads(of_the_tests()[name])))


TOGETHER = [
    (table, key, other) for table in RIG.tables for key in table.keys
    for other in (*key.never_beside, *key.needs_one_of)
]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "key", "other"), TOGETHER, ids=lambda one: getattr(one, "name", one)
)
def test_keys_that_exclude_or_need_each_other_are_declared_keys(table, key, other) -> None:
    """The reader's own checks are those of the catalogue; here only that the declaration is closed."""
    assert table.key(other) is not key
