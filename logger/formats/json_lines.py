"""One JSON object a line; the whole line first, a later `{` only if that fails."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from logger.channels.channel import Channel
from logger.formats.base import A_NUMBER, OTHER, Decoder, number_text

_MOST_STARTS = 64


class _Sent(str):
    """A number's own characters."""

    __slots__ = ()


class _NotFinite:
    def __init__(self, name: str) -> None:
        self.name = name


# parse_int as well: a number of 4,000 digits must not become an int
_decode = json.JSONDecoder(parse_float=_Sent, parse_int=_Sent, parse_constant=_NotFinite).decode


def _object(text: str) -> dict[str, Any] | None:
    try:
        found = _decode(text)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


class JsonDecoder(Decoder):
    """Decodes the lines of one port; see `Decoder`."""

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        self._keys: frozenset[str] | None = None

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """The object that holds the values; a channel without one is left out."""
        pairs = (
            f"{json.dumps(c.id)}: {number_text(values[c.name])}" for c in channels if c.name in values
        )
        return ("{" + ", ".join(pairs) + "}\r\n").encode("ascii")

    def _line(self, line: bytes) -> None:
        text = line.decode("ascii")
        found = _object(text)
        if found is not None:
            self._keys = frozenset(found)
        else:
            if not text.strip():
                return
            found = self._later(text, line)
        if found is None:
            self._drop("not a JSON object", line)
            return
        used = False
        for channel in self.channels:
            key = channel.id or ""
            if key not in found:
                continue
            used = True
            value = found[key]
            if isinstance(value, _Sent) and A_NUMBER.fullmatch(value.encode("ascii")):
                self._take(channel.name, value.encode("ascii"))
            elif isinstance(value, (_NotFinite, _Sent)):
                self._drop("not a finite number", line, channel.name)
            else:
                self._drop("not a number", line, channel.name)
        if not used:
            self._drop(OTHER, line)

    def _later(self, text: str, line: bytes) -> dict[str, Any] | None:
        """The object that begins at a later `{` and runs to the end of the line."""
        starts = [match.start() for match in re.finditer(r"\{", text)]
        for start in starts[-_MOST_STARTS:]:
            found = _object(text[start:]) if start else None
            if found is None:
                continue
            # behind a colon it may be a member of the torn object: then it must look like a line
            inner = text[:start].rstrip().endswith(":")
            if inner and self._keys is not None and frozenset(found) != self._keys:
                continue
            self._drop("torn off by the next object", line[:start])
            return found
        return None
