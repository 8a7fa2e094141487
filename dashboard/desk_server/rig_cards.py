"""A rig of the folder as a card: its drawing, small, and its ratio."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import quote

from analysis.rig.rig import Rig
from dashboard.desk.folder import RigFile
from dashboard.rig_drawing.drawing import drawing
from dashboard.rig_page.answers import answers
from dashboard.text.units import SYSTEMS, Units, number

CARD_PX = 330  # width of the drawing; chosen by us: one column of a phone of 360 px


@dataclass(frozen=True)
class RigCard:
    """One rig on the home page."""

    name: str  # of its file
    title: str  # of the rig
    address: str  # of its page
    convert: str  # address of the page that makes another rig of it
    svg: str  # its drawing; "" where it can't work
    ratio: str  # with friction and U95; "" where it can't work
    note: str  # ratio without friction; "" where it can't work
    fault: str  # why it can't work; "" where it can
    draft: bool  # whether it has changes that are not saved
    on: bool  # whether the next haul is with it


def rig_card(file: RigFile, on: bool, units: Units) -> RigCard:
    """The card of a rig file; on: whether the next haul is with it."""
    svg = ratio = note = ""
    if file.rig is not None:
        svg, ratio, note = _drawn(file.rig, units.name)
    return RigCard(
        name=file.name, title=file.title, address=f"/rig/{quote(file.name)}/", convert=f"/convert/?a={quote(file.name)}", svg=svg, ratio=ratio,
        note=note, fault=file.fault, draft=file.draft, on=on,
    )  # fmt: skip


@lru_cache(maxsize=128)  # speed only: the page asks again and again
def _drawn(rig: Rig, units: str) -> tuple[str, str, str]:
    """Drawing, ratio with friction, and what stands behind it."""
    shown = answers(rig, SYSTEMS[units])
    labels = [f"{number(t)} T" for t in shown.tension_N]
    import numpy as np

    svg = drawing(rig, rig.start_m, np.array(shown.tension_N), labels, width=CARD_PX)
    ratio = shown.rows[0]
    return svg, ratio.value, ratio.note
