"""The strip above every page: the five steps of a job with the sessions beside, where one is, what is missing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from dashboard.desk.chosen import NextHaul, chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import files_in, running
from dashboard.live.session_hub import sessions_in
from dashboard.text.templates import render
from dashboard.web import assets
from logger.channels.channel import Sensors

STEPS = ("Sensors", "Rig", "Check", "Haul", "Result", "Sessions")  # in the order of the job


@dataclass(frozen=True)
class StripItem:
    """One step on the strip."""

    name: str  # one of STEPS
    address: str  # where it leads
    word: str  # what is missing or goes on; "" for nothing


def strip_items(desk: Desk) -> tuple[StripItem, ...]:
    """The strip as it is now."""
    now = chosen(desk, files_in(desk.folder))
    session = running(desk.folder)
    rig = "/rig/" if now.rig is None else f"/rig/{quote(now.rig.name)}/"
    words = {
        "Sensors": ("/sensors/", _sensors_word(now)),
        "Rig": (rig, _rig_word(now)),
        "Check": ("/check/", ""),
        "Haul": ("/haul/" if session is None else session_address(session),
                 "" if session is None else "recording"),
        "Result": ("/result/", "" if sessions_in(desk.folder) else "none yet"),
        "Sessions": ("/sessions/", ""),
    }  # fmt: skip
    return tuple(StripItem(name, *words[name]) for name in STEPS)


def session_address(name: str) -> str:
    """The address of a session's live page."""
    return f"/s/{quote(name, safe='')}/"


def strip_values(desk: Desk, here: str) -> dict[str, Any]:
    """What a template needs that has `{% include "desk/strip.html.j2" %}`; here: the step of the page, one of
    STEPS, "" for home."""
    return {"strip_items": strip_items(desk), "strip_here": here, "asset": assets.address}


def strip_of(desk: Desk, here: str) -> Callable[[], str]:
    """A function that gives the strip's HTML as it is then, for `dash_page.shell`; here: as `strip_values` takes it."""

    def html() -> str:
        """The strip as it is now."""
        return render("desk/strip.html.j2", **strip_values(desk, here))

    return html


def _sensors_word(now: NextHaul) -> str:
    if now.sensors is None:
        return "none yet"
    if now.sensors.sensors is None:
        return "file has a fault"
    return missing_channel(now.sensors.sensors)


def missing_channel(sensors: Sensors) -> str:
    """What a haul lacks: "no cell yet", "no counter yet", "" where there are both."""
    kinds = {channel.quantity for channel in sensors.channels}
    return (
        "no cell yet" if "force" not in kinds else "no counter yet" if "length" not in kinds else ""
    )


def _rig_word(now: NextHaul) -> str:
    if now.rig is None:
        return "none yet"
    return "can't work yet" if now.rig.fault else ""
