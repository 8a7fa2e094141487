"""Computes what each part of a rig carries at most, per haul force or per load force, in each condition.

While hauling, friction only reduces the force on most parts, so the frictionless force is the most.  Where
`bounded` says that friction may add to it (an edge of small wrap, pulls that partly cancel), no strand
carries more than its frictionless tension, so the most is the greatest force for strand tensions between
zero and these.  Nothing bounds the drag of a capture that rope runs through but the tension of its strand;
with the hands off it carries its share of the load.

While the load is eased, held or lowered, a part carries a share of what the load needs: frictionless, with
friction turned round, or with one capture alone and the haul slack.  The condition that loads it most counts.
"""

from __future__ import annotations

import itertools
from functools import cached_property

import numpy as np

from analysis.mechanics.load_cases import back_tension, held_tension, load_shares
from analysis.mechanics.measured_parts import bounded
from analysis.mechanics.model import Model
from analysis.mechanics.tension import load_row
from analysis.mechanics.working_limits import RigPart
from analysis.rig.rig import Floats

TINY = 1e-9  # rounding only
MOST_CORNERS = 10  # strands of one part; speed only: the number of corners doubles with each


class ForceBounds:
    """The forces on the parts of one rig, with its bodies where rig_model has them; all (parts,) sizes.

    rig_model: the model.
    pieces: of the model, one for each part.
    ideal, model: per haul force while hauling, frictionless and by the model.
    back: per load force while the load runs back.
    back_per_haul: the same per haul force.
    held: per load force while one capture holds alone; one array for each capture that can.
    """

    def __init__(self, rig_model: Model) -> None:
        self.rig_model, self.pieces = rig_model, rig_model.pieces
        self.ideal = self._sizes(rig_model.ideal_tension, 1.0)
        self.model = self._sizes(rig_model.tension, 1.0)
        back = back_tension(rig_model)
        self.back, self.back_per_haul = self._sizes(back), self._sizes(back, 1.0)
        held = (held_tension(rig_model, capture) for capture in rig_model.held)
        self.held = [self._sizes(tension, 1.0) for tension in held if tension is not None]

    def _sizes(self, tension: Floats, load: float | None = None) -> Floats:
        """Sizes of the parts' forces for strand tensions (strands,), (parts,), per load force or per `load`."""
        shares, whole = load_shares(self.rig_model, tension, load)
        return np.abs(shares) if whole > TINY else np.zeros(len(self.pieces))

    @cached_property
    def bounded(self) -> tuple[bool, ...]:
        """Whether the frictionless gain bounds the force on each part while hauling, (parts,)."""
        return bounded(self.rig_model, self.pieces)

    @cached_property
    def hauling(self) -> Floats:
        """The most per haul force while hauling, (parts,); inf where nothing bounds it."""
        return np.array(
            [
                float(size) if by_gain else self._most(piece, self._top)
                for piece, size, by_gain in zip(self.pieces, self.ideal, self.bounded, strict=True)
            ]
        )

    @cached_property
    def _top(self) -> Floats:
        """The most tension per haul force while hauling, (strands,); inf where nothing bounds it."""
        ideal = np.abs(self.rig_model.ideal_tension)
        return np.where(self.bounded[: len(ideal)], ideal, np.inf)

    @cached_property
    def drag(self) -> Floats:
        """The most per haul force on captures while rope runs through them, (parts,); 0 on other parts."""
        return np.array(
            [
                float(np.max(self._top[np.any(np.abs(piece.matrix) > TINY, axis=0)], initial=0.0))
                if piece.kind == "capture"
                else 0.0
                for piece in self.pieces
            ]
        )

    @cached_property
    def let_go(self) -> Floats:
        """The most per haul force once hands let go of a load that was pulled at, (parts,)."""
        return np.asarray(self.hands_off * self.hauling[self._load])

    @cached_property
    def let_go_lowering(self) -> Floats:
        """The same where the load was lowered, (parts,)."""
        return np.asarray(self.hands_off * self.back_per_haul[self._load])

    @property
    def _load(self) -> int:
        """Index of the load into `pieces`."""
        return next(k for k, piece in enumerate(self.pieces) if piece.kind == "load")

    @cached_property
    def rest(self) -> Floats:
        """The most per load force while the load is eased, held or lowered, (parts,)."""
        row = load_row(self.rig_model.rig, self.rig_model.system.toward)
        still = self.ideal / float(row @ self.rig_model.ideal_tension)
        most: Floats = np.max([*self.held, still, self.back], axis=0)
        return most

    @cached_property
    def hands_off(self) -> Floats:
        """The most per load force while one capture alone holds the load and the haul is slack, (parts,)."""
        none = np.zeros(len(self.pieces))
        most: Floats = np.max([none, *self.held], axis=0)
        return most

    def _most(self, piece: RigPart, top: Floats) -> float:
        """Greatest force on a part for strand tensions from 0 to `top`, (strands,); inf: not bounded."""
        used = np.flatnonzero(np.any(np.abs(piece.matrix) > TINY, axis=0))
        if piece.kind == "capture" or not np.all(np.isfinite(top[used])):
            return np.inf
        if len(used) > MOST_CORNERS:
            return float(np.sum(np.hypot.reduce(piece.matrix, axis=0) * top))
        # the force is a convex function of the tensions, so it is greatest in a corner
        corners = itertools.product((0.0, 1.0), repeat=len(used))
        tension, most = np.zeros(len(top)), 0.0
        for corner in corners:
            tension[used] = np.array(corner) * top[used]
            most = max(most, abs(piece.force(tension)))
        return most
