"""Defines the edits of a sensors file: what a touch on a number or on an answer changes.

Each edit changes a TOML document in place, given as nested mappings and lists, and works alike on plain
dicts and on a parsed file that keeps its comments.  It raises ChannelEditFault where the document has no
such channel.  Whether the file can be recorded with afterwards is not asked here.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass
from typing import Any

from logger.channels.channel_keys import CHANNEL
from logger.errors import UserFault
from logger.toml_tables import CHANNELS

SensorsDocument = MutableMapping[str, Any]
ChannelValue = str | int | float | bool
MOST_CHANNELS = 60  # memory only
_ORDER = {key.name: k for k, key in enumerate(CHANNEL.keys)}


class ChannelEditFault(UserFault):
    """An edit asks for a channel that the sensors file does not have, or for a name that is taken."""


def _refused(what: str, cure: str) -> ChannelEditFault:
    return ChannelEditFault("sensors", what, cure)


@dataclass(frozen=True)
class AddChannel:
    """Put a channel behind the others."""

    values: tuple[tuple[str, ChannelValue], ...]  # its keys in the order in which they are written

    def change(self, document: SensorsDocument) -> None:
        """Append the table."""
        rows = document.setdefault(CHANNELS, [])
        values = dict(self.values)
        if len(rows) >= MOST_CHANNELS:
            raise _refused(f"there are {len(rows)} channels", "take one out first")
        if values.get("name") in _names(document):
            raise _refused(
                f'a channel is called "{values["name"]}" already', "give it another name"
            )
        rows.append(values)


@dataclass(frozen=True)
class TakeChannel:
    """Take a channel out."""

    name: str  # of the channel

    def change(self, document: SensorsDocument) -> None:
        """Remove the table; the list of channels too, once it is empty."""
        number = _number(document, self.name)
        del document[CHANNELS][number]
        if not document[CHANNELS]:
            del document[CHANNELS]


@dataclass(frozen=True)
class SetKeys:
    """Give keys of a channel other values; None takes a key out."""

    name: str  # of the channel
    values: Mapping[str, ChannelValue | None]  # by key

    def change(self, document: SensorsDocument) -> None:
        """Set the keys; a new one stands where the declared order has it, as far as the others do."""
        table = document[CHANNELS][_number(document, self.name)]
        renamed = self.values.get("name", self.name)
        if renamed != self.name and renamed in _names(document):
            raise _refused(f'a channel is called "{renamed}" already', "choose another name")
        for key, value in self.values.items():
            if key not in _ORDER:
                raise _refused(f'"{key}" is no key of a channel', "choose one that is")
            if value is None:
                table.pop(key, None)
            else:
                table[key] = value


def _names(document: SensorsDocument) -> list[Any]:
    rows = document.get(CHANNELS, [])
    return [row.get("name") for row in rows if isinstance(row, Mapping)]


def _number(document: SensorsDocument, name: str) -> int:
    """Which channel has this name, from 0."""
    names = _names(document)
    if name not in names:
        raise _refused(f'there is no channel "{name}" any more', "look at the list again")
    return names.index(name)
