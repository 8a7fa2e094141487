"""Puts on the board what strands and parts carry, and draws the rig."""

from __future__ import annotations

from typing import Any

from analysis.live.inferred_loads import CELL, MOST, RigLoads
from analysis.mechanics.model import Model
from analysis.rig.rig import Floats
from dashboard.live.state_feed import Board, sig
from logger.errors import one_line

NEAREST = 5  # rated parts told, the nearest to its limit first
STRANDS_A_PART = 40
# what a strand's tension takes at most, until the page writes it, by the units' name
PLACE = {"metric": "—.— kN", "us": "——— lbf"}


def show_loads(board: Board, carried: RigLoads | None, strands: int) -> None:
    """`s:k`: tension of strands in rope order, N; `u:k`: as `nearest`; `own`, `most`: which of these
    parts their own cell measures, and which carry at most that; carried None: nothing is known now."""
    forces = [] if carried is None else [sig(force, 3) for force in carried.shown_N]
    for k in range(0, strands, STRANDS_A_PART):
        board.set(f"s:{k // STRANDS_A_PART}", forces[k : k + STRANDS_A_PART])
    board.set("how", None if carried is None else carried.how.text())
    for k in range(NEAREST):
        board.set(f"u:{k}", nearest(carried, k))
    uses = [] if carried is None else carried.uses[:NEAREST]
    for key, by in (("own", CELL), ("most", MOST)):
        board.set(key, [one_line(use.name, 40) for use in uses if use.by == by])


def nearest(carried: RigLoads | None, k: int = 0) -> list[Any] | None:
    """[part, force N, limit N, share] of the part that is k-th nearest to its limit."""
    if carried is None or k >= len(carried.uses):
        return None
    use = carried.uses[k]
    return [one_line(use.name, 40), sig(use.force_N, 3), sig(use.limit_N, 3), sig(use.share, 3)]


def draw_rig(model: Model, stands: Floats, width: int, units: str) -> str:
    """The rig as SVG with its bodies at `stands` (bodies,), m, this many pixels wide."""
    from dashboard.rig_drawing.drawing import drawing

    texts = [PLACE[units]] * len(model.rig.strands)
    return drawing(model.rig, stands, model.ideal_tension, texts, width=width)
