"""Reduces a session to one row of a library, for lists, filters and trends."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from analysis.review.peak_use import highest_peak, highest_peak_use
from analysis.review.reviewed_session import Whole, whole_session
from analysis.rig.rig import Rig
from analysis.sessions.gear_log import as_row, items_used
from logger.errors import UserFault, one_line
from logger.session.descriptor import DESCRIPTOR


@dataclass(frozen=True)
class SessionRow:
    """A session in a library; None where a value was not measured."""

    path: str  # relative to the library's folder
    title: str = ""  # of the rig
    rig: str = ""  # key of the rig, see `rig_key`
    started_at: str = ""  # UTC
    state: str = ""  # of the session
    duration_s: float | None = None  # from its first to its last time
    strokes: int | None = None  # number of strokes
    resets: int | None = None  # number of resets
    ideal_ma: float | None = None  # ideal MA of the rig
    model_ma: float | None = None  # model MA of the rig
    method: str = ""  # how the load force was estimated
    actual_ma: float | None = None  # measured MA
    actual_ma_u: float | None = None  # its standard uncertainty
    actual_ma_U95: float | None = None  # its expanded uncertainty
    efficiency: float | None = None  # actual MA / ideal MA
    efficiency_u: float | None = None  # its standard uncertainty
    efficiency_U95: float | None = None  # its expanded uncertainty
    haul_force_N: float | None = None  # mean haul force
    haul_force_U95_N: float | None = None  # its expanded uncertainty
    load_force_N: float | None = None  # mean load force
    load_force_U95_N: float | None = None  # its expanded uncertainty
    haul_travel_m: float | None = None  # rope hauled
    load_travel_m: float | None = None  # load travel
    peak_N: float | None = None  # largest force that a part carried
    peak_part: str = ""  # its name
    peak_how: str = ""  # what that force follows from, "cell" or "model", as in `peaks` of a review
    peak_at_most_N: float | None = None  # the most that the part can have carried
    highest_use: float | None = None  # largest peak force / limit of a part
    chapters: str = "[]"  # JSON text: a row like this for each chapter with strokes, of several
    fault: str = ""  # why the session could not be reviewed; "" where it could


COLUMNS = tuple(f.name for f in fields(SessionRow))


def session_row(path: str) -> dict[str, Any]:
    """Review a session; return {"row": the columns but `path`, "gear": the use of its items}.

    Raises nothing: a fault becomes a row.  Runs in this process, in others, or on a cluster.
    """
    try:
        whole = whole_session(path)
        return {"row": columns(whole), "gear": [as_row(use) for use in items_used(whole)]}
    except UserFault as fault:
        text = why_unread(fault, Path(path))
    except Exception as error:  # one odd session must not end a batch of thousands
        text = f"our own fault: {type(error).__name__}: {error}"
    return {"row": {**asdict(SessionRow("")), "fault": one_line(text, 300)}, "gear": []}


def why_unread(fault: UserFault, session: Path) -> str:
    """Why a session cannot be read: what is wrong, after the name of the session's file that it is in."""
    file = Path(fault.file)
    inside = file != session and file.is_relative_to(session)
    places = [file.relative_to(session).as_posix() if inside else "", fault.place, fault.fault]
    return one_line(": ".join(text for text in places if text), 300)


def rig_key(rig: Rig) -> str:
    """A key that is the same for rigs with the same title, ropes and items, whatever the load."""
    parts = [rig.title]
    for rope in rig.ropes:
        for s in rope.stations:
            station = rig.stations[s]
            on = "" if station.body is None else rig.bodies[station.body].name
            rating = rig.ratings.get(station.name)
            parts.append(f"{station.kind} {station.name} {on} {rating.item if rating else ''}")
        parts.append("|")
    return hashlib.sha256("\n".join(parts).encode("utf-8", "backslashreplace")).hexdigest()[:12]


def minutes_a_metre(row: dict[str, Any]) -> float | None:
    """Minutes of the session per metre of load travel; row: a review's object or a library row."""
    travel = row["measured"]["load_travel_m"] if "measured" in row else row["load_travel_m"]
    if not travel or travel <= 0 or row["duration_s"] is None:
        return None
    return float(row["duration_s"] / 60.0 / travel)


def columns(whole: Whole) -> dict[str, Any]:
    """The row of a session as a mapping, with an empty path."""
    review = whole.review
    row = _columns(whole, review, review["duration_s"], whole.rig)
    return row | {"chapters": json.dumps(chapter_columns(whole), allow_nan=False)}


def chapter_columns(whole: Whole) -> list[dict[str, Any]]:
    """A row as that of a session for each chapter that has strokes; empty for a session of one chapter."""
    rows = []
    for chapter, row in zip(whole.chapters, whole.review["chapters"], strict=True):
        if len(whole.chapters) > 1 and row["strokes"]:
            own = _columns(whole, row, row["to_s"] - row["from_s"], chapter.rig)
            rows.append({**own, "part": chapter.number + 1})
    return rows


def _columns(
    whole: Whole, object_: Mapping[str, Any], duration_s: float | None, rig: Rig
) -> dict[str, Any]:
    """The row of a session or of one of its chapters; object_: its object in the review's JSON."""
    measured, review = object_["measured"], whole.review

    def measured_value(name: str, key: str) -> float | None:
        """The entry `key` of the measured quantity `name`; None where it was not measured."""
        return measured[name][key] if measured[name] else None

    peak = highest_peak(object_["peaks"])
    row = SessionRow(
        path="",
        title=one_line(object_["title"], 200),
        rig=rig_key(rig),
        started_at=one_line(review["started_at"], 40),
        state=review["state"],
        duration_s=duration_s,
        strokes=len(object_["strokes"]),
        resets=object_["resets"],
        ideal_ma=object_["ideal_ma"],
        model_ma=object_["predicted"]["model_ma"],
        method=measured["load_force_method"],
        actual_ma=measured_value("actual_ma", "value"),
        actual_ma_u=measured_value("actual_ma", "u"),
        actual_ma_U95=measured_value("actual_ma", "U95"),
        efficiency=measured_value("efficiency", "value"),
        efficiency_u=measured_value("efficiency", "u"),
        efficiency_U95=measured_value("efficiency", "U95"),
        haul_force_N=measured_value("haul_force_N", "value"),
        haul_force_U95_N=measured_value("haul_force_N", "U95"),
        load_force_N=measured_value("load_force_N", "value"),
        load_force_U95_N=measured_value("load_force_N", "U95"),
        haul_travel_m=measured["haul_travel_m"],
        load_travel_m=measured["load_travel_m"],
        peak_N=None if peak is None else peak["force_N"],
        peak_part="" if peak is None else one_line(peak["name"], 60),
        peak_how="" if peak is None else peak["how"],
        peak_at_most_N=None if peak is None else peak["at_most_N"],
        highest_use=highest_peak_use(object_["peaks"]),
    )
    return asdict(row)


def with_chapters(row: Mapping[str, Any]) -> dict[str, Any]:
    """The row with its chapters as a list of rows, for JSON."""
    return {**row, "chapters": json.loads(row["chapters"] or "[]")}


def by_chapter(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The rows; a session of several chapters has one row for each that has strokes instead, beside each other.

    A row of a chapter has its number, from 1, in `part`.
    """
    listed: list[dict[str, Any]] = []
    for row in rows:
        own = with_chapters(row)["chapters"]
        if not own:
            listed.append(dict(row))
        for one in own:
            listed.append({**row, **one, "path": row["path"]})
    return listed


def exists(folder: Path) -> bool:
    """Whether a folder looks like a session: something has the name of its descriptor.

    Raises OSError where this user may not enter the folder.
    """
    try:
        (folder / DESCRIPTOR).lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True
