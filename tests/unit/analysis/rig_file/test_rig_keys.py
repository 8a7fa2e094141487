"""The declared keys of a rig file are the ones that are read, in any unit, as the declaration says."""

from __future__ import annotations

import json
import tomllib
from importlib import resources

import pytest

from analysis.prediction.predict import predict
from analysis.rig_file.load import parse_rig
from analysis.rig_file.rig_keys import RIG
from logger.errors import RigFault
from logger.file_keys import Key, KeyKind, KeyTable, TableForm

SHELF = sorted(
    (
        file
        for file in (resources.files("analysis") / "rigs").iterdir()
        if file.name.endswith(".toml")
    ),
    key=lambda file: file.name,
)
# a rig with one of each station and table, so that each key has a place
EVERYTHING = """
anchor_to_load_m = 12.0
[defaults]
[load]
[team]
[limits]
[anchor]
[[rope]]
name = "main"
path = [
  { tie = "load" },
  { grab = "G1", at_m = 9.0 },
  { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" },
  { pulley = "T1", on = "G1" },
  { edge = "E1", at_m = 1.0, wrap_deg = 30.0, friction = 0.3 },
  { haul = "team" },
  { free = true },
]
[pulley.A1]
[grab.G1]
[capture.C1]
[edge.E1]
[gear.K1]
carries = ["A1"]
"""
FURTHER = """
anchor_to_load_m = 12.0
[further_anchor.P1]
at_m = -1.0
[plate.B1]
at_m = 5.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { tie = "B1" } ]
[[rope]]
name = "tail"
path = [ { tie = "B1" }, { pulley = "A1", on = "P1" }, { haul = "team" } ]
"""
DECLARED = [(table, key) for table in RIG.tables for key in table.keys]
IDS = [f"{table.name or 'top'}: {key.name}" for table, key in DECLARED]


def place(document: dict, table: KeyTable) -> dict:
    """The first table of this kind in a document."""
    kind = table.name.partition(".")[0]
    if table.form is TableForm.TOP:
        return document
    if table.form is TableForm.STATION:
        return next(row for row in document["rope"][0]["path"] if kind in row)
    if table.form is TableForm.LIST:
        return document[kind][0]
    inner = document[kind]
    return next(iter(inner.values())) if table.form is TableForm.NAMED else inner


def written(value) -> str:
    """A value as TOML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return json.dumps(value)


def read(document: dict):
    """The rig of a document."""
    return parse_rig("\n".join(f"{key} = {written(value)}" for key, value in document.items()), "r")


def document_with(table: KeyTable) -> dict:
    """A document that has this table."""
    return tomllib.loads(FURTHER if table.name.startswith(("further", "plate")) else EVERYTHING)


@pytest.mark.parametrize(("table", "key"), DECLARED, ids=IDS)
def test_a_declared_key_is_read_and_a_wrong_type_is_refused_by_its_name(
    table: KeyTable, key: Key
) -> None:
    document = document_with(table)
    assert read(document)
    place(document, table)[key.name] = {} if key.kind is not KeyKind.STATIONS else 3
    with pytest.raises(RigFault) as caught:
        read(document)
    assert key.name in str(caught.value)


@pytest.mark.parametrize(("table", "key"), DECLARED, ids=IDS)
def test_an_example_is_within_the_declared_range(table: KeyTable, key: Key) -> None:
    value = tomllib.loads(f"x = {key.example}")["x"]
    if key.kind is KeyKind.NUMBER:
        assert isinstance(value, float)
        assert key.least <= value <= key.most
        assert key.above is None or value > key.above
    elif key.choices:
        assert value in key.choices


@pytest.mark.parametrize(
    ("table", "key"),
    [(t, k) for t, k in DECLARED if k.kind is KeyKind.NUMBER],
    ids=[one for one, (_, k) in zip(IDS, DECLARED, strict=True) if k.kind is KeyKind.NUMBER],
)
def test_a_number_out_of_its_declared_range_is_refused_in_every_unit(
    table: KeyTable, key: Key
) -> None:
    beyond = [
        v for v in (key.least - 0.01 * abs(key.least) - 0.01, key.most * 1.01) if abs(v) < 1e300
    ]
    beyond += [] if key.above is None else [key.above]
    for value in beyond:
        for spelling in key.spellings:
            document = document_with(table)
            row = place(document, table)
            row.pop(key.name, None)
            row[spelling.name] = value / spelling.factor
            with pytest.raises(RigFault) as caught:
                read(document)
            assert spelling.name in str(caught.value)


def in_other_units(value, factor_turn: int):
    """A document with each number of several spellings in the next of them."""
    if isinstance(value, list):
        return [in_other_units(one, factor_turn) for one in value]
    if not isinstance(value, dict):
        return value
    changed = {}
    for name, one in value.items():
        keys = [key for _, key in DECLARED if key.name == name and len(key.spellings) > 1]
        if keys and isinstance(one, float | int):
            other = keys[0].spellings[factor_turn % len(keys[0].spellings)]
            changed[other.name] = one / other.factor
        else:
            changed[name] = in_other_units(one, factor_turn)
    return changed


@pytest.mark.parametrize("turn", [1, 2, 3])
@pytest.mark.parametrize("file", SHELF, ids=lambda file: file.name)
def test_a_rig_in_other_units_is_the_same_rig(file, turn: int) -> None:
    """Factors by definition: ft, in (NIST SP 811), lbf, kgf, lb; here through the whole prediction."""
    document = tomllib.loads(file.read_text(encoding="utf-8"))
    assert in_other_units(document, turn) != document
    one, other = predict(read(document)), predict(read(in_other_units(document, turn)))
    assert same(one, other)


def same(one, other) -> bool:
    """Whether two JSON values agree, numbers to nine digits."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return other == pytest.approx(one, rel=1e-9, abs=1e-12)
    return one == other


@pytest.mark.parametrize(
    ("spelling", "value", "metres"),
    [("anchor_to_load_ft", 10.0, 3.048), ("anchor_to_load_in", 100.0, 2.54), ("anchor_to_load_mm", 1.0, 0.001)],
)  # fmt: skip
def test_units_are_those_of_their_definition(spelling: str, value: float, metres: float) -> None:
    """1 ft = 0.3048 m and 1 in = 0.0254 m, exact: NIST SP 811 (2008), appendix B."""
    document = tomllib.loads(EVERYTHING)
    del document["anchor_to_load_m"]
    document[spelling] = value
    document["rope"] = [{"name": "main", "path": [{"tie": "anchor"}, {"pulley": "L1", "on": "load"}, {"haul": "team"}]}]  # fmt: skip
    for table in ("pulley", "grab", "capture", "edge", "gear"):
        del document[table]
    document["clearance_m"] = 0.0
    assert read(document).start_m[1] == pytest.approx(metres, rel=1e-15)


def test_one_quantity_in_two_units_is_refused() -> None:
    document = tomllib.loads(EVERYTHING) | {"anchor_to_load_ft": 39.0}
    with pytest.raises(RigFault, match="cannot stand beside anchor_to_load_m"):
        read(document)


@pytest.mark.parametrize("name", ["mass_lb", "mass_lb_u", "pull_distance_ft", "mbs_lbf"])
def test_spellings_that_the_interface_names(name: str) -> None:
    names = {each.name for _, key in DECLARED for each in key.spellings}
    assert name in names
