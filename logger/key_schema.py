"""Makes a JSON Schema (draft 7) of a file's declared keys, with which editors complete and check.

The schema refuses unknown keys, wrong types, numbers out of range, unknown choices and a quantity that
is written in two units, keys that exclude each other, and a key without the one that it needs.  What
depends on the rig as a whole, it can't tell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Any

from logger.file_keys import FileKeys, Key, KeyKind, KeyTable, Spelling, TableForm, spoken_unit

DRAFT = "http://json-schema.org/draft-07/schema#"
TYPES: dict[KeyKind, str | list[str]] = {
    KeyKind.NUMBER: "number",
    KeyKind.WHOLE: "integer",
    KeyKind.TEXT: "string",
    KeyKind.FLAG: "boolean",
    KeyKind.FIGURE: ["number", "string"],
}
_NUMBERS: dict[str, Any] = {"type": "array", "items": {"type": "number"}, "minItems": 1}
_LISTS: dict[KeyKind, dict[str, Any]] = {
    KeyKind.TEXTS: {"type": "array", "items": {"type": "string"}, "minItems": 1},
    KeyKind.NUMBERS: _NUMBERS,
    KeyKind.ROWS: {"type": "array", "items": _NUMBERS, "minItems": 1},
}


def json_schema(file: FileKeys) -> dict[str, Any]:
    """The schema of a file, as the object that is printed."""
    stations = [_object(t) for t in file.tables if t.form is TableForm.STATION]
    top = next((t for t in file.tables if t.form is TableForm.TOP), None)
    schema: dict[str, Any] = {
        "$schema": DRAFT,
        "title": f"{file.name} file",
        "description": file.meaning,
        **_object(top or KeyTable("", TableForm.TOP, file.meaning, ())),
    }
    for table in file.tables:
        kind = table.name.partition(".")[0]
        if table.form is TableForm.ONE:
            schema["properties"][kind] = _object(table)
        elif table.form is TableForm.NAMED:
            schema["properties"][kind] = {
                "type": "object",
                "description": table.meaning,
                "additionalProperties": _object(table),
            }
        elif table.form is TableForm.LIST:
            row = _object(table)
            for key in table.keys:
                if key.kind is KeyKind.STATIONS:
                    row["properties"][key.name] |= {"minItems": 2, "items": {"oneOf": stations}}
            schema["properties"][kind] = {"type": "array", "minItems": 1, "items": row}
            schema.setdefault("required", []).append(kind)
    if file.rules:
        schema["allOf"] = [*schema.get("allOf", ()), *file.rules]
    return schema


def _object(table: KeyTable) -> dict[str, Any]:
    """The schema of one table."""
    schema: dict[str, Any] = {
        "type": "object",
        "description": table.meaning,
        "properties": {
            spelling.name: _value(key, spelling) for key in table.keys for spelling in key.spellings
        },
        "additionalProperties": table.others,
    }
    required = [key.name for key in table.keys if key.needed and len(key.spellings) == 1]
    if required:
        schema["required"] = required
    rules = [
        rule for key in table.keys for rule in (*_one_spelling(key), *_with_others(table, key))
    ]
    if rules:
        schema["allOf"] = rules
    return schema


def _one_spelling(key: Key) -> Sequence[dict[str, Any]]:
    """The rules that allow one spelling of a key, and require one where the key is needed."""
    names = [each.name for each in key.spellings]
    if len(names) == 1:
        return ()
    if key.needed:
        return ({"oneOf": [{"required": [name]} for name in names]},)
    return tuple({"not": {"required": list(pair)}} for pair in combinations(names, 2))


def _with_others(table: KeyTable, key: Key) -> Sequence[dict[str, Any]]:
    """The rules about the keys that this one excludes, and those of which it needs one."""
    own = _written(key)
    rules: list[dict[str, Any]] = [
        {"not": {"allOf": [own, _written(table.key(other))]}} for other in key.never_beside
    ]
    if key.needs_one_of:
        others = [_written(table.key(other)) for other in key.needs_one_of]
        rules.append({"if": own, "then": {"anyOf": others}})
    return rules


def _written(key: Key) -> dict[str, Any]:
    """The schema of a table in which the key stands, under any of its spellings."""
    return {"anyOf": [{"required": [each.name]} for each in key.spellings]}


def _value(key: Key, spelling: Spelling) -> dict[str, Any]:
    """The schema of one value under one of its spellings."""
    unit = f", {spoken_unit(spelling.unit)}" if spelling.unit else ""
    schema: dict[str, Any] = {"description": f"{key.meaning}{unit}"}
    if key.default:
        schema["description"] += f" (left out: {key.default})"
    if key.kind in TYPES:
        schema["type"] = TYPES[key.kind]
    else:
        schema |= _LISTS.get(key.kind, {"type": "array"})
    if key.kind is KeyKind.TEXT:
        schema["maxLength"] = key.longest
        if key.needed:
            schema["minLength"] = 1
    if key.pattern:
        schema["pattern"] = key.pattern
    if key.choices or key.listed:
        schema["enum"] = list(key.choices or key.listed)
    for name, bound in (
        ("minimum", key.least),
        ("maximum", key.most),
        ("exclusiveMinimum", key.above),
    ):
        if bound is not None and math.isfinite(bound):
            schema[name] = bound / spelling.factor
    return schema
