"""Applies an edit to the text of a rig file, so that its comments and order survive."""

from __future__ import annotations

import copy
import tomllib
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, InlineTable

from analysis.rig_edit.edits import RigEdit
from analysis.rig_file.parser import TABLES
from logger.errors import RigFault
from logger.toml_tables import parse_toml

ONE_TABLE = (
    "defaults",
    "load",
    "team",
    "limits",
    "anchor",
)  # tables that stand once; interface section 1


def edited(text: str, *edits: RigEdit) -> str:
    """The text of the file after the edits, made in their order.

    Each is made twice, on the parsed values and on the file as it is written; where the library
    that keeps the writing would lose or change a value, the values win and comments are lost.  Raises
    EditFault for an edit that the file has no place for, RigFault for a text that is no TOML or whose tables
    are not formed as a rig file's.
    """
    if not edits:
        return text
    values = copy.deepcopy(parse_toml(text, "draft", RigFault))
    if not _formed(values):
        raise RigFault(
            "draft",
            "its tables are not formed as those of a rig file",
            "undo, or begin with another rig",
        )
    for edit in edits:
        edit.change(values)
    written = _as_written(text, edits)
    if written is None or _values(written) != values:
        return tomlkit.dumps(_plain(values))
    return written


def document_of(text: str) -> dict[str, Any]:
    """The values of a draft's text; what isn't formed as a rig file's tables is left out.

    A draft may hold any text that another program wrote, and the page still shows what can be shown.
    """
    values = _values(text) or {}
    ropes = values.pop("rope", [])
    out = {key: value for key, value in values.items() if key not in TABLES}
    for key in ONE_TABLE:
        if not isinstance(out.get(key, {}), dict):
            del out[key]
    for kind in TABLES:
        items = values.get(kind, {})
        rows = items.items() if isinstance(items, dict) else ()
        kept = {name: row for name, row in rows if isinstance(row, dict)}
        if kept:
            out[kind] = kept
    if isinstance(ropes, list):
        out["rope"] = [
            {**rope, "path": [one for one in _listed(rope.get("path")) if isinstance(one, dict)]}
            for rope in ropes
            if isinstance(rope, dict)
        ]
    return out


def _formed(values: dict[str, Any]) -> bool:
    """Whether nothing is left out of the values by `document_of`."""
    ropes = values.get("rope", [])
    return (
        all(isinstance(values.get(key, {}), dict) for key in (*ONE_TABLE, *TABLES))
        and all(isinstance(row, dict) for kind in TABLES for row in values.get(kind, {}).values())
        and isinstance(ropes, list)
        and all(isinstance(rope, dict) for rope in ropes)
        and all(
            isinstance(rope.get("path", []), list)
            and all(isinstance(station, dict) for station in rope.get("path", []))
            for rope in ropes
        )
    )


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _as_written(text: str, edits: tuple[RigEdit, ...]) -> str | None:
    """The edits made on the text as written; None where the library can't."""
    try:
        document = tomlkit.parse(text)
        for edit in edits:
            edit.change(document)
        for rope in document.get("rope", []):
            path = rope.get("path")
            if isinstance(path, Array):
                _restyle(path, text)
            elif path is not None:
                rope["path"] = _array(path)
        return tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, ValueError, AttributeError):
        return None


def _values(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _restyle(path: Array, before: str) -> None:
    """Write new and changed stations in the style of the shelf; before: the text before the edit."""
    for k, station in enumerate(path):
        if not isinstance(station, InlineTable) or station.as_string() not in before:
            path[k] = _inline(dict(station))


def _inline(values: dict[str, Any]) -> Any:
    """An inline table with blanks inside its braces, as the shelf's files are written."""
    pairs = [
        f"{tomlkit.key(key).as_string()} = {tomlkit.item(one).as_string()}"
        for key, one in values.items()
    ]
    return tomlkit.parse(f"x = {{ {', '.join(pairs)} }}")["x"]


def _array(stations: Any) -> Array:
    """A path with each station on a line of its own."""
    rows = "".join(f"  {_inline(dict(station)).as_string()},\n" for station in stations)
    array = tomlkit.parse(f"x = [\n{rows}]")["x"]
    assert isinstance(array, Array)
    return array


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """The values with each path as a list of inline tables, one on a line."""
    document: dict[str, Any] = tomlkit.document()
    for key, value in values.items():
        document[key] = value
    for rope in document.get("rope", []):
        rope["path"] = _array(rope.get("path", []))
    return document


def document_text(values: dict[str, Any]) -> str:
    """The text of a file with these values, each path with one station on a line."""
    return tomlkit.dumps(_plain(copy.deepcopy(values)))
