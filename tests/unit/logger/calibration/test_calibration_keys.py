"""The declared keys of a calibration file are the ones that are written and read, within the declared ranges."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator

from logger.calibration import calibration
from logger.calibration.calibration_keys import CALIBRATION, CURVE, TERMS
from logger.calibration.iso376_e74 import terms
from logger.errors import SensorsFault
from logger.file_keys import Key, KeyKind
from logger.key_schema import json_schema

VALIDATOR = Draft7Validator(json_schema(CALIBRATION))
APPLIED, READINGS = [0.0, 500.0, 1000.0, 2000.0], [0.1, 500.4, 1000.2, 2000.3]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A calibration file with every key that `haul calibrate` can write."""
    curve = calibration.fit(APPLIED, READINGS, resolution=0.1, quantity="force")
    figures = {
        term.key: term.why_not if term.value is None else term.value
        for term in terms(curve, APPLIED, READINGS, None)
    }
    calibration.save(curve, tmp_path / "cell.toml", {"least_loaded": 500.0, **figures})
    return tmp_path / "cell.toml"


def written(values: dict[str, Any]) -> str:
    """A calibration file with these keys."""

    def toml(value: Any) -> str:
        if isinstance(value, bool):
            return str(value).lower()
        return f'"{value}"' if isinstance(value, str) else repr(value)

    lines = [f"{k} = {toml(v)}" for k, v in values.items() if not isinstance(v, dict)]
    for name, table in values.items():
        if isinstance(table, dict):
            lines += [f"[{name}]", *(f"{k} = {toml(v)}" for k, v in table.items())]
    return "\n".join(lines)


def test_what_is_written_is_declared_and_what_is_declared_is_written(file: Path) -> None:
    document = tomllib.loads(file.read_text("utf-8"))
    top = {key.name for key in CURVE.keys} - {"through_zero"}  # written where it is true
    assert set(document) == top | {"terms"}
    assert set(document["terms"]) == {key.name for key in TERMS.keys}
    assert not list(VALIDATOR.iter_errors(document))


@pytest.mark.parametrize("key", CURVE.keys, ids=lambda key: key.name)
def test_a_wrong_type_is_refused_by_reader_and_schema(file: Path, key: Key) -> None:
    document = tomllib.loads(file.read_text("utf-8")) | {key.name: {}}
    with pytest.raises(SensorsFault, match=key.name):
        calibration.parse(written(document), "c.toml")
    assert list(VALIDATOR.iter_errors(document))


@pytest.mark.parametrize(
    ("key", "value"),
    [(key, value) for key in CURVE.keys for value in (key.least - 1, key.most + 1, key.above)
     if value is not None and abs(value) < 1e300],
    ids=str,
)  # fmt: skip
def test_a_number_out_of_range_is_refused_by_reader_and_schema(
    file: Path, key: Key, value: float
) -> None:
    number = int(value) if key.kind is KeyKind.WHOLE else float(value)
    document = tomllib.loads(file.read_text("utf-8")) | {key.name: number}
    with pytest.raises(SensorsFault, match=key.name):
        calibration.parse(written(document), "c.toml")
    assert list(VALIDATOR.iter_errors(document))


@pytest.mark.parametrize("key", [k for k in CURVE.keys if k.needed], ids=lambda key: key.name)
def test_a_needed_key_that_is_missing_is_named(file: Path, key: Key) -> None:
    document = tomllib.loads(file.read_text("utf-8"))
    del document[key.name]
    with pytest.raises(SensorsFault, match=f"{key.name}: is missing"):
        calibration.parse(written(document), "c.toml")
    assert list(VALIDATOR.iter_errors(document))


def test_an_unknown_key_is_refused_but_among_the_terms(file: Path) -> None:
    document = tomllib.loads(file.read_text("utf-8"))
    with pytest.raises(SensorsFault, match=r'unknown key "degrees".*write degree'):
        calibration.parse(written(document | {"degrees": 1}), "c.toml")
    assert list(VALIDATOR.iter_errors(document | {"degrees": 1}))
    document["terms"]["laboratory"] = "our own"
    assert calibration.parse(written(document), "c.toml").least_loaded == 500.0
    assert not list(VALIDATOR.iter_errors(document))


@pytest.mark.parametrize("table", CALIBRATION.tables, ids=lambda table: table.name or "top")
def test_an_example_is_within_its_declaration(table) -> None:
    for key in table.keys:
        value = tomllib.loads(f"x = {key.example}")["x"]
        if key.kind is KeyKind.NUMBER:
            assert isinstance(value, float) and key.least <= value <= key.most
            assert key.above is None or value > key.above
        elif key.choices:
            assert value in key.choices
