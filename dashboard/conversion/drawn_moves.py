"""Draws the rig before a conversion and after each of its moves, with what every strand carries while held."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.conversion.convert import Conversion
from analysis.mechanics.kinematics import TINY
from analysis.rig_file.load import sketch_rig
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.units import Units

SHARE_DIGITS = 2  # significant digits of a strand's share of the load: 0.5, 0.33
NAMESPACE = ' xmlns="http://www.w3.org/2000/svg"'


@dataclass(frozen=True)
class DrawnMove:
    """One move of a conversion as people see it."""

    number: int  # from 1
    kind: str  # of the JSON of `haul convert`
    text: str  # what to do
    held_by: str  # in words: "held by C1", "on the ground, chocked"
    svg: str  # drawing of the rig after it


def drawn_moves(made: Conversion, shown: Units, width: int) -> tuple[DrawnMove, ...]:
    """The moves of a conversion with their drawings, width pixels wide."""
    return tuple(
        DrawnMove(
            number=k,
            kind=move.kind,
            text=" ".join(one.text(shown) for one in move.texts),
            held_by="chocked on the ground" if move.held_by == "ground" else f"held by {move.held_by}",
            svg=drawn_rig(move.rig, width, move.tension, move.changed),
        )
        for k, move in enumerate(made.moves, 1)
    )  # fmt: skip


def drawn_rig(
    text: str, width: int, tension: Sequence[float] | None = None, ringed: Collection[str] = ()
) -> str:
    """The SVG of a rig file; it need not be a rig that can haul.

    tension: tension / load force of each strand while the load is held; None: not written on the strands.
    ringed: names of stations with a ring round them.  Raises RigFault for a text that is no rig file.
    """
    rig = sketch_rig(text, "rig")
    shares = None if tension is None else np.array(tension)
    texts = [""] * len(rig.strands) if shares is None else [carried(float(t)) for t in shares]
    return drawing(rig, rig.start_m, shares, texts, width=width, ringed=ringed)


def inside_html(svg: str) -> str:
    """A drawing as it stands inside an HTML file: the namespace is implied there, and nothing in the file looks
    like an address."""
    return svg.replace(NAMESPACE, "", 1)


def carried(share: float) -> str:
    """What a strand carries while the load is held; share: tension / load force."""
    return "slack" if abs(share) <= TINY else f"{share:.{SHARE_DIGITS}g} × load"
