"""Finds the numbers of lines that name them: JSON objects and XDR sentences."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from logger.device_units import unit_from_word
from logger.listening.capture import Remark
from logger.listening.number_series import Keys, NumberSeries, unit_of_key

# share of lines that have a format's shape from which the device speaks it; chosen by us: the first
# line may be torn, and noise may hit some
MOST_LINES = 0.8
MOST_DEPTH = 6  # of nested objects; memory only
MOST_NUMBERS = 60  # of one object; memory only
_SENTENCE = re.compile(rb"\$([A-Z]{2}XDR,[^$*]*)(\*[0-9A-Fa-f]{2})?\Z")
_TYPES = {("N", "N"): ("force", "N"), ("D", "M"): ("length", "m")}
_UNIT_KEYS = ("unit", "units", "uom")
# keys of numbers that an object's `unit` does not speak of; common practice, no source
_NO_VALUE = re.compile(
    r"(t|ts|time|timestamp|ms|us|millis|micros|seq|id|addr|address|n|no|nr|count|status|state|flags?"
    r"|ok|err|error|batt|battery|rssi|temp|ver|version|channel|ch)\Z",
    re.IGNORECASE,
)


class _SentNumber(str):
    """The characters of a JSON number, as sent."""

    __slots__ = ()


def are_objects(lines: Sequence[bytes]) -> bool:
    """Whether the device sends one JSON object a line."""
    return _share(lines, lambda line: _object(line) is not None)


def are_sentences(lines: Sequence[bytes]) -> bool:
    """Whether the device sends sentences of which at least one in ten is an XDR sentence."""
    sentences = _share(lines, lambda line: re.search(rb"\$[A-Z0-9]{3,8},[^$]*\Z", line) is not None)
    xdr = sum(_SENTENCE.search(line) is not None for line in lines)
    return sentences and xdr * 10 >= len(lines) and xdr > 0


def _share(lines: Sequence[bytes], fits: Callable[[bytes], bool]) -> bool:
    whole = lines[1:] if len(lines) > 1 else lines
    return len(whole) > 0 and sum(map(fits, whole)) >= MOST_LINES * len(whole)


def object_series(lines: Sequence[bytes]) -> tuple[list[NumberSeries], list[Remark]]:
    """The numbers of JSON objects, each under its `id`."""
    texts: dict[str, list[str]] = {}
    units: dict[str, set[str | None]] = {}
    for line in lines:
        members = _object(line)
        for path, text, unit in _numbers(members or {}):
            texts.setdefault(path, []).append(text)
            units.setdefault(path, set()).add(unit)
    series = []
    for path, numbers in texts.items():
        shown = units[path]
        keys: Keys = {"format": "json", "id": path}
        series.append(
            NumberSeries(
                place=f'id "{path}"',
                texts=tuple(numbers),
                unit=next(iter(shown)) if len(shown) == 1 else None,
                candidates=(keys,),
                hint=path,
                time_keys={"time": path},
            )
        )
    return series, []


def _object(line: bytes) -> dict[str, Any] | None:
    try:
        document = json.loads(
            line.decode("ascii"),
            parse_float=_SentNumber,
            parse_int=_SentNumber,
            parse_constant=lambda _: None,
        )
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def _numbers(members: dict[str, Any]) -> list[tuple[str, str, str | None]]:
    """Path, text and unit of each number of an object."""
    made: list[tuple[str, str, str | None]] = []

    def walk(value: Any, path: str, unit: str | None, depth: int) -> None:
        """Add the numbers below `value`; unit: what the object around it says."""
        if len(made) >= MOST_NUMBERS or depth > MOST_DEPTH:
            return
        if isinstance(value, _SentNumber):
            made.append((path, str(value), unit_of_key(path) or unit))
        elif isinstance(value, dict):
            stated = _stated_unit(value)
            for key, inner in value.items():
                of_unit = stated if not _NO_VALUE.match(key) else None
                walk(inner, f"{path}.{key}" if path else key, of_unit, depth + 1)
        elif isinstance(value, list):
            for number, inner in enumerate(value):
                walk(inner, f"{path}.{number}", unit, depth + 1)

    walk(members, "", None, 0)
    return made


def _stated_unit(members: dict[str, Any]) -> str | None:
    """The unit that an object states for its one number; None if it states none."""
    numbers = [
        k
        for k, v in members.items()
        if isinstance(v, (_SentNumber, list)) and not _NO_VALUE.match(k)
    ]
    for key, value in members.items():
        if (
            key.lower() in _UNIT_KEYS
            and isinstance(value, str)
            and not isinstance(value, _SentNumber)
        ):
            return unit_from_word(value) if len(numbers) == 1 else None
    return None


def sentence_series(lines: Sequence[bytes]) -> tuple[list[NumberSeries], list[Remark]]:
    """The transducers of XDR sentences; those of another type are told."""
    texts: dict[tuple[str, str, str], list[str]] = {}
    checked: dict[tuple[str, str, str], bool] = {}
    for line in lines:
        match = _SENTENCE.search(line)
        for kind, number, unit, name in _quadruples(match[1]) if match else ():
            source = (kind, unit, name)
            texts.setdefault(source, []).append(number)
            checked[source] = match is not None and match[2] is not None
    series, remarks = [], []
    for (kind, unit, name), numbers in texts.items():
        quantity, si_unit = _TYPES.get((kind, unit), (None, None))
        if quantity is None:
            remarks.append(Remark("other_transducer", {"name": name, "kind": kind, "unit": unit}))
            continue
        keys: dict[str, str | int | float | bool] = {"format": "xdr", "id": name}
        if not checked[kind, unit, name]:
            keys["checksum"] = False
        series.append(
            NumberSeries(
                place=f'id "{name}"',
                texts=tuple(numbers),
                unit=si_unit,
                candidates=(keys,),
                hint=name,
                quantity=quantity,
            )
        )
    return series, remarks


def _quadruples(body: bytes) -> Iterator[tuple[str, str, str, str]]:
    """Type, number, unit and name of each transducer of a sentence."""
    fields = body.decode("latin-1").split(",")[1:]
    for k in range(0, len(fields) - 3, 4):
        kind, number, unit, name = fields[k : k + 4]
        if re.fullmatch(r"[-+]?[0-9]+(\.[0-9]*)?|[-+]?\.[0-9]+", number):
            yield kind, number, unit, name
