"""One session as a row of a library: what lists, filters and trends need of its review."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from analysis.library.gear_log import as_row, items_used
from analysis.review.reviewed_session import Whole, whole_session
from analysis.rig.rig import Rig
from logger.errors import UserFault, one_line


@dataclass(frozen=True)
class SessionRow:
    """A session in a library.  path: relative to the library's folder; rig: the same for sessions
    of the same rig; fault: why it could not be reviewed, "" where it could; None: not known."""

    path: str
    title: str = ""
    rig: str = ""
    started_at: str = ""
    state: str = ""
    duration_s: float | None = None
    strokes: int | None = None
    resets: int | None = None
    ideal_ma: float | None = None
    model_ma: float | None = None
    method: str = ""
    actual_ma: float | None = None
    actual_ma_u: float | None = None
    actual_ma_U95: float | None = None
    efficiency: float | None = None
    efficiency_u: float | None = None
    efficiency_U95: float | None = None
    haul_force_N: float | None = None
    haul_force_U95_N: float | None = None
    load_force_N: float | None = None
    load_force_U95_N: float | None = None
    haul_travel_m: float | None = None
    load_travel_m: float | None = None
    highest_use: float | None = None
    fault: str = ""


COLUMNS = tuple(f.name for f in fields(SessionRow))


def session_row(path: str) -> dict[str, Any]:
    """{"row": the columns but `path`, "gear": rows of items}; raises nothing: a fault is a row.

    The same function runs in this process, in others, and on a cluster.
    """
    try:
        whole = whole_session(path)
        return {"row": columns(whole), "gear": [as_row(use) for use in items_used(whole)]}
    except UserFault as fault:
        text = fault.fault
    except Exception as error:  # one odd session must not end a batch of thousands
        text = f"our own fault: {type(error).__name__}: {error}"
    return {"row": {**asdict(SessionRow("")), "fault": one_line(text, 300)}, "gear": []}


def rig_key(rig: Rig) -> str:
    """The same for rigs with the same title, ropes and items: what is laid out, not what is hauled."""
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
    """Minutes of the session for each metre of load travel, of a review or a row."""
    travel = row["measured"]["load_travel_m"] if "measured" in row else row["load_travel_m"]
    if not travel or travel <= 0 or row["duration_s"] is None:
        return None
    return float(row["duration_s"] / 60.0 / travel)


def columns(whole: Whole) -> dict[str, Any]:
    """A session as a row, its path left out."""
    review = whole.review
    measured = review["measured"]

    def part(name: str, key: str) -> float | None:
        return measured[name][key] if measured[name] else None

    uses = [p["use"] for p in review["peaks"] if p["use"] is not None]
    row = SessionRow(
        path="",
        title=one_line(review["title"], 200),
        rig=rig_key(whole.rig),
        started_at=one_line(review["started_at"], 40),
        state=review["state"],
        duration_s=review["duration_s"],
        strokes=len(review["strokes"]),
        resets=review["resets"],
        ideal_ma=review["ideal_ma"],
        model_ma=review["predicted"]["model_ma"],
        method=measured["load_force_method"],
        actual_ma=part("actual_ma", "value"),
        actual_ma_u=part("actual_ma", "u"),
        actual_ma_U95=part("actual_ma", "U95"),
        efficiency=part("efficiency", "value"),
        efficiency_u=part("efficiency", "u"),
        efficiency_U95=part("efficiency", "U95"),
        haul_force_N=part("haul_force_N", "value"),
        haul_force_U95_N=part("haul_force_N", "U95"),
        load_force_N=part("load_force_N", "value"),
        load_force_U95_N=part("load_force_N", "U95"),
        haul_travel_m=measured["haul_travel_m"],
        load_travel_m=measured["load_travel_m"],
        highest_use=max(uses, default=None),
    )
    return asdict(row)


def exists(folder: Path) -> bool:
    """Whether a folder looks like a session."""
    return (folder / "datapackage.json").is_file()
