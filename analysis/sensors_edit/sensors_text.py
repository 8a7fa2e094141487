"""Applies an edit to the text of a sensors file, so that its comments and order survive."""

from __future__ import annotations

import copy
import tomllib
from typing import Any, Protocol

import tomlkit
from tomlkit.exceptions import TOMLKitError

from analysis.sensors_edit.channel_edits import SensorsDocument
from logger.errors import SensorsFault
from logger.toml_tables import CHANNELS, parse_toml


class ChannelEdit(Protocol):
    """One edit of `channel_edits`."""

    def change(self, document: SensorsDocument) -> None:
        """Change the document in place."""


def edited_sensors(text: str, edit: ChannelEdit) -> str:
    """The text of the file after the edit.

    The edit is made twice, on the parsed values and on the file as it is written; where the library
    that keeps the writing would lose or change a value, the values win and comments are lost.  Raises
    ChannelEditFault for an edit that the file has no place for, SensorsFault for a text that is no TOML.
    """
    values = copy.deepcopy(parse_toml(text, "draft", SensorsFault))
    rows = values.get(CHANNELS, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise SensorsFault("draft", "channel is no list of tables", "write [[channel]] tables")
    edit.change(values)
    written = _written_text(text, edit)
    if written is None or _parsed(written) != values:
        return tomlkit.dumps(values)
    return written


def _written_text(text: str, edit: ChannelEdit) -> str | None:
    """The edit made on the text as written; None where the library can't."""
    try:
        document = tomlkit.parse(text)
        if CHANNELS not in document:
            document[CHANNELS] = tomlkit.aot()
        rows = document[CHANNELS]
        before = len(rows)
        edit.change(document)
        if CHANNELS in document and len(document[CHANNELS]) > before:
            return _appended(text, dict(document[CHANNELS][-1]))
        return tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, ValueError, AttributeError):
        return None


def _appended(text: str, values: dict[str, Any]) -> str:
    """The text with a channel's table behind it, a blank line between."""
    table = tomlkit.document()
    for key, value in values.items():
        table[key] = value
    head = f"{text.rstrip()}\n\n" if text.strip() else ""
    return f"{head}[[{CHANNELS}]]\n{tomlkit.dumps(table).strip()}\n"


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
