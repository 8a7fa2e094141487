"""Decodes one JSON object a line; if the whole line is none, an object that begins later in it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from logger.channels.channel import Channel
from logger.formats.base import A_NUMBER, OTHER, Decoder, number_text

_MOST_STARTS = 64
_INDEX = re.compile(r"[0-9]{1,4}")


class _Sent(str):
    """The characters of a JSON number, as sent."""

    __slots__ = ()


class _NotFinite:
    """NaN or Infinity in a JSON text."""

    def __init__(self, name: str) -> None:
        self.name = name


# parse_int as well: a number of 4,000 digits must not become an int
_decode = json.JSONDecoder(parse_float=_Sent, parse_int=_Sent, parse_constant=_NotFinite).decode


def _object(text: str) -> dict[str, Any] | None:
    try:
        document = _decode(text)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


_NOTHING = object()  # stands for no member


def _found(members: dict[str, Any], id: str) -> Any:
    """The value under `id`, or along it through nested objects and lists, whose items count from 0;
    _NOTHING if there is none.  A key that is `id` as a whole goes first."""
    if id in members:
        return members[id]
    value: Any = members
    for step in id.split("."):
        if isinstance(value, dict) and step in value:
            value = value[step]
        elif isinstance(value, list) and _INDEX.fullmatch(step) and int(step) < len(value):
            value = value[int(step)]
        else:
            return _NOTHING
    return value


def _time(members: dict[str, Any], id: str) -> bytes:
    """The device's own time under `id`; b"" if no number stands there."""
    value = _found(members, id)
    sent = value.encode("ascii") if isinstance(value, _Sent) else b""
    return sent if A_NUMBER.fullmatch(sent) else b""


def _put(members: dict[str, Any], id: str, number: str) -> None:
    """Put a number where `_found` finds it: in nested objects, or under `id` as a whole where another
    member is in the way."""
    *outer, last = id.split(".")
    inner = members
    for step in outer:
        inner = inner.setdefault(step, {}) if isinstance(inner, dict) else inner
    if not isinstance(inner, dict) or last in inner or "" in (*outer, last):
        inner, last = members, id
    inner[last] = number


def _object_text(members: Mapping[str, Any]) -> str:
    """The JSON text of nested objects whose other values are numbers as text."""
    pairs = (
        f"{json.dumps(key)}: {value if isinstance(value, str) else _object_text(value)}"
        for key, value in members.items()
    )
    return "{" + ", ".join(pairs) + "}"


class JsonDecoder(Decoder):
    """Decodes the lines of one port; see `Decoder`."""

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        self._whole: dict[str, Any] | None = None  # the last line that was one object
        self._places = [(c.name, c.id or "", c.time) for c in channels]

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; a channel that `values` lacks is left out."""
        members: dict[str, Any] = {}
        for c in channels:
            if c.name in values:
                _put(members, c.id or "", number_text(values[c.name]))
                if c.time is not None and _found(members, c.time) is _NOTHING:
                    _put(members, c.time, "0")
        return (_object_text(members) + "\r\n").encode("ascii")

    def _line(self, line: bytes) -> None:
        text = line.decode("ascii")
        members = _object(text)
        if members is not None:
            self._whole = members
        else:
            if not text.strip():
                return
            members = self._later(text, line)
        if members is None:
            self._drop("not a JSON object", line)
            return
        used = False
        for name, id, time in self._places:
            value = members[id] if id in members else _found(members, id)
            if value is _NOTHING:
                continue
            used = True
            sent = value.encode("ascii") if isinstance(value, _Sent) else b""
            if sent and A_NUMBER.fullmatch(sent):
                self._take(name, sent, b"" if time is None else _time(members, time))
            elif isinstance(value, (_NotFinite, _Sent)):
                self._drop("not a finite number", line, name)
            else:
                self._drop("not a number", line, name)
        if not used:
            self._drop(OTHER, line)

    def _later(self, text: str, line: bytes) -> dict[str, Any] | None:
        """The object that begins at a later `{` and extends to the end of the line; None if there
        is none.  Drops the text before it as torn off."""
        starts = [match.start() for match in re.finditer(r"\{", text)]
        for start in starts[-_MOST_STARTS:]:
            members = _object(text[start:]) if start else None
            if members is None:
                continue
            # behind a colon it may be a member of the torn object: then it needs a line's keys
            inner = text[:start].rstrip().endswith(":")
            if inner and self._whole is not None and members.keys() != self._whole.keys():
                continue
            self._drop("torn off by the next object", line[:start])
            return members
        return None
