"""Makes and reads the session's descriptor, a Frictionless Data Package (v2); names its files."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Mapping, Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

from logger.channels.channel import Channel
from logger.errors import SessionFault, one_line
from logger.filesystem import read_plain

FORMAT = 1  # `haul_format` of interface section 4
DESCRIPTOR = "datapackage.json"
READINGS, EVENTS, CLOCK, REJECTS = "readings.csv", "events.csv", "clock.csv", "rejects.csv"
TABLES = (READINGS, EVENTS, CLOCK, REJECTS)
RIG, SENSORS, CALIBRATION, INBOX = "rig.toml", "sensors.toml", "calibration", "inbox"
SUMS, TORN_TAIL = "SHA256SUMS", "torn-tail.bin"
MARKS = ".written"  # journal marks of a growing session; neither sealed nor described
READINGS_HEADER = ("time_s", "channel", "reading")
EVENTS_HEADER = ("time_s", "id", "kind", "channel", "value", "text")
REJECTS_HEADER = ("time_s", "port", "cause", "line")
GIVE_A_SESSION = "give the folder that `haul record` or `haul import` made"
MOST_DESCRIPTOR = 16_000_000  # bytes; memory only
SEALED_KEYS = ("ended_at", "haul_files", "haul_self")  # keys that sealing adds
_SELF = re.compile(rb'("haul_self": "sha256:)([0-9a-f]{64})(")')

Fields = Sequence[tuple[str, str, str, bool]]  # name, type, description, required


def clock_header(channels: Sequence[str]) -> tuple[str, ...]:
    """The columns of clock.csv; channels: their names."""
    return ("time_s", "utc", *(f"{n}_{what}" for n in channels for what in ("readings", "drops")))


def headers(channels: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The columns of each table, by file name; channels: their names."""
    columns = (READINGS_HEADER, EVENTS_HEADER, clock_header(channels), REJECTS_HEADER)
    return dict(zip(TABLES, columns, strict=True))


def csv_line(cells: Sequence[object]) -> bytes:
    """One row of a CSV file, UTF-8, with a line feed at its end."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue().encode("utf-8", "backslashreplace")


def haul_version() -> str:
    """The installed version of this program; "0" if it is not installed."""
    try:
        return metadata.version("haul-session-logger")
    except metadata.PackageNotFoundError:
        return "0"


def descriptor(
    channels: Sequence[Channel],
    started_at: str,
    source: str,
    simulation_true: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """The descriptor of a new session.

    started_at: RFC 3339, UTC; source: "record" or "import"; simulation_true: true values of a
    simulation, None for a real haul.
    """
    names = [channel.name for channel in channels]
    counts: list[tuple[str, str, str, bool]] = []
    for name in names:
        counts.append((f"{name}_readings", "integer", f"readings of {name} so far", True))
        counts.append((f"{name}_drops", "integer", f"losses of {name} so far", True))
    time_s = ("time_s", "number", "seconds since the recording started", True)
    document: dict[str, Any] = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "haul-session",
        "title": "One recorded rope haul",
        "created": started_at,
        "haul_format": FORMAT,
        "haul_version": haul_version(),
        "started_at": started_at,
        "source": source,
        "channels": [
            {
                "name": channel.name,
                "quantity": channel.quantity,
                "at": channel.at,
                "unit": channel.unit,
                "si_unit": "N" if channel.quantity == "force" else "m",
            }
            for channel in channels
        ],
        "resources": [
            _resource(
                "readings",
                READINGS,
                "the numbers as the devices sent them",
                [
                    time_s,
                    ("channel", "string", "the channel's name", True),
                    ("reading", "number", "in the channel's unit", True),
                ],
            ),
            _resource(
                "events",
                EVENTS,
                "what cannot be recomputed from the readings",
                [
                    time_s,
                    ("id", "string", "of the row, or of the request it answers", True),
                    ("kind", "string", "what happened", True),
                    ("channel", "string", "the channel it is about, if any", False),
                    ("value", "number", "in the channel's unit, or seconds", False),
                    ("text", "string", "in words", False),
                ],
            ),
            _resource(
                "clock",
                CLOCK,
                "how far the recording is, every 0.25 s",
                [time_s, ("utc", "datetime", "the computer's clock", False), *counts],
            ),
            _resource(
                "rejects",
                REJECTS,
                "dropped lines and why, at most 1 MB",
                [
                    time_s,
                    ("port", "string", "where it was read", False),
                    ("cause", "string", "why it was dropped", True),
                    ("line", "string", "its beginning, escaped", False),
                ],
            ),
        ],
    }
    if simulation_true is not None:
        document["simulation"] = {"true": dict(simulation_true)}
    return document


def _resource(name: str, path: str, title: str, fields: Fields) -> dict[str, Any]:
    rows = []
    for column, kind, text, required in fields:
        row: dict[str, Any] = {"name": column, "type": kind, "description": text}
        if required:
            row["constraints"] = {"required": True}
        rows.append(row)
    return {
        "name": name,
        "path": path,
        "type": "table",
        "title": title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {
            "delimiter": ",",
            "lineTerminator": "\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
        },
        "schema": {"fields": rows, "missingValues": [""]},
    }


def sealed_descriptor(
    unsealed: Mapping[str, Any], hashes: Mapping[str, tuple[str, int]], ended_at: str
) -> bytes:
    """The text of the sealed descriptor, UTF-8.

    hashes: by name, SHA-256 (hex) and size in bytes of every other file; ended_at: RFC 3339, UTC.
    `haul_self` is the hash of this text with its own digits as zeros, so that a change of
    SHA256SUMS and a change of the descriptor can be distinguished.
    """
    sealed = dict(unsealed)
    sealed["ended_at"] = ended_at
    sealed["resources"] = [
        {
            **resource,
            "bytes": hashes[resource["path"]][1],
            "hash": "sha256:" + hashes[resource["path"]][0],
        }
        for resource in unsealed["resources"]
    ]
    sealed["haul_files"] = [
        {"path": path, "bytes": size, "hash": f"sha256:{digest}"}
        for path, (digest, size) in sorted(hashes.items())
    ]
    sealed["haul_self"] = "sha256:" + "0" * 64
    data = to_bytes(sealed)
    digest = hashlib.sha256(data).hexdigest().encode("ascii")
    return _SELF.sub(lambda match: match[1] + digest + match[3], data)


def unsealed_descriptor(sealed: Mapping[str, Any]) -> dict[str, Any]:
    """The descriptor without the keys that sealing adds."""
    kept = {key: value for key, value in sealed.items() if key not in SEALED_KEYS}
    kept["resources"] = [
        {key: value for key, value in resource.items() if key not in ("bytes", "hash")}
        for resource in sealed["resources"]
    ]
    return kept


def self_consistent(data: bytes) -> bool:
    """Whether the text of a sealed descriptor fits its own hash, `haul_self`."""
    matches = _SELF.findall(data)
    if len(matches) != 1:
        return False
    zeroed = _SELF.sub(lambda match: match[1] + b"0" * 64 + match[3], data)
    return hashlib.sha256(zeroed).hexdigest() == str(matches[0][1], "ascii")


def to_bytes(document: Mapping[str, Any]) -> bytes:
    """The descriptor as JSON text, UTF-8."""
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode(
        "utf-8", "backslashreplace"
    )


def read_descriptor(folder: Path) -> dict[str, Any]:
    """Read the descriptor of a session folder; raises SessionFault, also for a newer format."""
    path = folder / DESCRIPTOR
    try:
        if not folder.exists():
            raise SessionFault(folder, "there is no such folder", GIVE_A_SESSION)
        if not folder.is_dir():
            raise SessionFault(folder, "is a file, not a session folder", GIVE_A_SESSION)
        data = read_plain(path, MOST_DESCRIPTOR)
    except FileNotFoundError:
        raise SessionFault(
            folder, f"is not a session folder: it has no {DESCRIPTOR}", GIVE_A_SESSION
        ) from None
    except OSError as error:
        raise SessionFault(path, f"cannot be read ({error.strerror})", GIVE_A_SESSION) from None
    try:
        document = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise SessionFault(
            path, f"is not JSON ({one_line(str(error), 100)})", "use a complete copy of the session"
        ) from None
    if not isinstance(document, dict) or "haul_format" not in document:
        raise SessionFault(path, "is not a haul session: it has no key haul_format", GIVE_A_SESSION)
    version = document["haul_format"]
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise SessionFault(path, "haul_format is not a whole number of at least 1", GIVE_A_SESSION)
    if version > FORMAT:
        raise SessionFault(
            path,
            f"has format {version}, newer than this program reads ({FORMAT})",
            "use a newer haul",
        )
    return document
