"""Two views of a rig, as JSON and as text: a capture on each strand, and the best places of its grabs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.messages.message import text_of
from analysis.prediction.capture_places import CapturePlace, best_first, capture_places
from analysis.prediction.grab_places import MODES, GrabPlacing, grab_places
from analysis.rig.rig import Rig
from dashboard.text.console import table
from dashboard.text.units import UNKNOWN, Units, number

HOW = {"each": "each grab reset alone", "together": "all grabs reset together"}


def captures_view(
    rig: Rig, document: Mapping[str, Any], shown: Units
) -> tuple[dict[str, Any], list[str]]:
    """A capture on each strand: a row for each body at an end of the strand.

    document: the rig file as values.
    """
    places = capture_places(rig, document)
    rows = [["strand", "on", "holds", "held", "setting", "resets covered", "setback costs", ""]]
    rows += [_capture_row(one, shown) for one in places]
    lines = [
        rig.title or "rig",
        "A progress capture on each strand, alone; x is multiples of the load's force",
        "",
        *table(rows, left=3),
    ]
    for one in best_first(places)[:1]:
        lines += ["", f"Covers most and carries least: {one.start}>{one.end} on {one.on}"]
    made = {"title": rig.title, "captures": [one.json() for one in places], "warnings": []}
    return made, lines


def _capture_row(one: CapturePlace, shown: Units) -> list[str]:
    def size(share: float | None, force_N: float | None) -> str:
        """A force as a multiple of the load's (share), and in newtons where they are known."""
        if share is None:
            return UNKNOWN if one.holds else "-"
        return f"{number(share)} x" + ("" if force_N is None else f", {shown.force(force_N)}")

    covers = ", ".join(one.covers_resets) or "-"
    if one.resets is not None:
        covers += f" ({one.resets})"
    cost = "-" if not one.holds else UNKNOWN
    if one.lost_m is not None and one.haul_more_m is not None:
        cost = f"{shown.length(one.lost_m)}, {shown.length(one.haul_more_m)} of rope"
    return [
        f"{one.start}>{one.end}", one.on, "yes" if one.holds else "no", size(one.held, one.held_N),
        size(one.setting, one.setting_N), covers, cost, text_of(one.why, shown),
    ]  # fmt: skip


def places_view(rig: Rig, shown: Units) -> tuple[dict[str, Any], list[str]]:
    """The best places of the grabs, reset one by one and together, beside those of the file."""
    placed = grab_places(rig)
    made = (
        {"title": rig.title}
        | placed.json()
        | {"warnings": [] if placed.why is None else [text_of(placed.why)]}
    )
    lines = [rig.title or "rig"]
    if placed.why is not None:
        return made, [*lines, f"no places: {placed.why.text(shown)}"]
    lines += ["Where the grabs should sit at the start: fewest resets, then least rope", ""]
    rows = [["", *rig.grabs, "resets", "strokes", "rope"]]
    for mode in MODES:
        for label, one in (
            (f"file, {HOW[mode]}", placed.now[mode]),
            (f"best, {HOW[mode]}", placed.best[mode]),
        ):
            rows.append([label, *_placing_row(rig, one, shown)])
    lines += table(rows)
    best = placed.chosen
    if best is not None:
        lines += ["", f"Best: {HOW[best.mode]}"]
        for label, more in (("of space", placed.more_space), ("of each rope", placed.more_rope)):
            if more is None:
                lines.append(f"  {shown.length(1.0)} more {label}: {UNKNOWN}")
            else:
                lines.append(
                    f"  {shown.length(1.0)} more {label}: {more.resets} resets in place of {best.resets}"
                    f" ({HOW[more.mode]})"
                )
    return made, lines


def _placing_row(rig: Rig, one: GrabPlacing | None, shown: Units) -> list[str]:
    if one is None:
        return [*(["-"] * len(rig.grabs)), "cannot be done", "-", "-"]
    places = [shown.length(one.at_m[name]) for name in rig.grabs]
    return [*places, str(one.resets), str(one.strokes), shown.length(one.rope_m)]
