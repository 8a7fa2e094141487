"""Sends what strands and parts carry, and draws the rig."""

from __future__ import annotations

from analysis.live.inferred_loads import RigLoads
from analysis.mechanics.model import Model
from analysis.rig.rig import Floats
from dashboard.live.state_feed import Board, sig
from dashboard.live.wire import NearPart, Numbered, Parts
from logger.errors import one_line

NEAREST = 5  # rated parts that are sent, the nearest to its limit first
STRANDS_A_PART = 40
# what a strand's tension takes at most, until the page writes it, by the units' name
PLACE = {"metric": "—.— kN", "us": "——— lbf"}


def show_loads(board: Board, carried: RigLoads | None, strands: int) -> None:
    """Send tensions and uses; carried None: nothing is known now; strands: how many the rig has."""
    forces = [] if carried is None else [sig(force, 3) for force in carried.shown_N]
    for k in range(0, strands, STRANDS_A_PART):
        board.put_numbered(k // STRANDS_A_PART, Numbered(strand=forces[k : k + STRANDS_A_PART]))
    board.put(Parts(tensions_from=None if carried is None else carried.how.text()))
    for k in range(NEAREST):
        board.put_numbered(k, Numbered(use=use_of(carried, k)))


def use_of(carried: RigLoads | None, k: int = 0) -> NearPart | None:
    """The part that is k-th nearest to its limit; None where there is none."""
    if carried is None or k >= len(carried.uses):
        return None
    use = carried.uses[k]
    return NearPart(
        name=one_line(use.name, 40),
        force_N=sig(use.force_N, 3),
        limit_N=sig(use.limit_N, 3),
        share=sig(use.share, 3),
        over=use.over,
        by=use.by,
    )


def draw_rig(model: Model, stands: Floats, width: int, units: str) -> str:
    """The rig as SVG with its bodies at `stands` (bodies,), m, this many pixels wide."""
    from dashboard.rig_drawing.drawing import drawing

    texts = [PLACE[units]] * len(model.rig.strands)
    return drawing(model.rig, stands, model.ideal_tension, texts, width=width)
