"""Infers the force on every strand and part of a rig now from its force cells.

While hauling, the force on a part is cell force / gain of the cell x gain of the part, the larger of the
frictionless and the model's value.  From the haul cell it is the most that the part can carry
(`analysis.review.force_bounds`).  It is no bound from another cell alone, because friction then adds force on
the side of the haul.

While the load rests, a part carries at most what the load last needed.  With hands off, each capture
alone may hold it, frictionless; with hands on, the rope may be frictionless or its friction reversed, as
the load would run back.  The case that loads the part most counts.

A part that a cell measures carries what the cell reads, in every state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.model import Model, force_gain
from analysis.messages.message import Message, message
from analysis.review.force_bounds import ForceBounds
from analysis.rig.rig import Floats

TINY = 1e-9  # rounding only
NO_TENSION_N = 1e-6  # rounding only: tension that the model leaves in a slack strand
CELL, MOST, ABOUT = "cell", "most", ""
HANDS_ON = frozenset({"hold", "ease", "lower", "tension", "nodata", "rest", "loose", "back"})


@dataclass(frozen=True)
class PartUse:
    """The force on a rated part, and its limit.

    by: CELL, the part's own cell reads the force; MOST, the part carries at most this; ABOUT, by the
        model, no bound.
    """

    name: str  # of the part
    force_N: float  # force on the part
    limit_N: float  # force that it is allowed
    share: float  # force_N / limit_N
    by: str = ABOUT

    @property
    def over(self) -> bool:
        """Whether the part carries more than it is allowed."""
        return self.share > 1


@dataclass(frozen=True, eq=False)
class RigLoads:
    """The forces on the strands and parts of a rig."""

    strand_N: Floats  # (strands,) tension of each strand, in rope order
    uses: tuple[PartUse, ...]  # rated parts, the nearest to its limit first
    how: Message  # from what the forces are inferred

    @property
    def shown_N(self) -> list[float | None]:
        """strand_N with None for a strand that is slack in the model: in fact it may have some tension."""
        return [float(force) if force > NO_TENSION_N else None for force in self.strand_N]


class RigLoadInference:
    """Forces on the parts of one rig per force at a cell, with the bodies where rig_model has them.

    rig_model: the model.
    pieces: of the model, one for each part.
    bounds: what each part carries in each condition.
    """

    def __init__(self, rig_model: Model) -> None:
        self.rig_model = rig_model
        self.pieces = rig_model.pieces
        self.bounds = ForceBounds(rig_model)
        self._gains: dict[str, tuple[float, float]] = {}

    def gain(self, at: str) -> tuple[float, float]:
        """(ideal, model): force of a cell at this place / haul tension."""
        if at not in self._gains:
            self._gains[at] = force_gain(self.rig_model.rig, at)
        return self._gains[at]

    def hauling(
        self, cells: Sequence[tuple[str, float]], own: Mapping[int, float] | None = None
    ) -> RigLoads | None:
        """The forces while hauling; None where no cell reads a force.

        cells: (place, force N) of each cell with a reading; own: index into the model's parts -> force
        that the part's own cell reads, N.
        """
        bounds, forces, most = self.bounds, None, False
        for at, force in cells:
            ideal, model = (abs(g) for g in self.gain(at))
            if ideal < TINY or model < TINY or force <= 0:
                continue
            parts = np.maximum(bounds.ideal * force / ideal, bounds.model * force / model)
            if ideal == model == 1.0:
                most = True
                parts = np.where(np.isfinite(bounds.hauling), bounds.hauling * force, parts)
            forces = parts if forces is None else np.maximum(forces, parts)
        if forces is None:
            return None
        if not most:
            return self._rig_loads(forces, message("from_the_cell"), own)
        is_bounded = np.isfinite(bounds.hauling).tolist()
        how = message("at_most_from_the_haul_cell")
        free = ", ".join(p.name for p, b in zip(self.pieces, is_bounded, strict=True) if not b)
        if free:
            how = message("at_most_but_for_some", parts=free)
        return self._rig_loads(forces, how, own, is_bounded)

    def needed(
        self, load_N: float | None, code: str, haul_N: float | None,
        own: Mapping[int, float] | None = None,
    ) -> RigLoads | None:  # fmt: skip
        """The forces while the load rests; None where neither force is there.

        load_N: force that the load last needed; code: of the haul state; haul_N: tension of the haul
        strand, None where it has none; own: as for `hauling`.
        """
        if load_N is None:
            if haul_N is None or haul_N <= 0:
                return None
            # friction may help to hold the load, so the haul tension bounds nothing here
            how = message("from_the_haul_cell")
            either = np.maximum(self.bounds.ideal, self.bounds.model)
            return self._rig_loads(either * haul_N, how, own)
        hands_on = code in HANDS_ON or not self.bounds.held
        most = (self.bounds.rest if hands_on else self.bounds.hands_off) * load_N
        if haul_N is not None:
            most = np.maximum(most, self.bounds.ideal * haul_N)
        how = message("what_the_load_needed")
        return self._rig_loads(most, how, own, (True,) * len(self.pieces))

    def _rig_loads(
        self, parts: Floats, how: Message, own: Mapping[int, float] | None = None,
        most: Sequence[bool] = (),
    ) -> RigLoads:  # fmt: skip
        """Replace inferred forces `parts`, N, (parts,), by measured ones (`own`) and compare with the limits.

        most: whether each inferred force is a bound.
        """
        own = own or {}
        parts = np.array([own.get(k, float(force)) for k, force in enumerate(parts)])
        if own:
            names = ", ".join(self.pieces[k].name for k in sorted(own))
            how = message("by_own_cells", parts=names, count=len(own), others=how)
        by = [CELL if k in own else MOST if most and most[k] else ABOUT for k in range(len(parts))]
        uses = [
            PartUse(name=p.name, force_N=float(force), limit_N=p.limit_N, share=float(force) / p.limit_N, by=b)
            for p, force, b in zip(self.pieces, parts, by, strict=True) if p.limit_N
        ]  # fmt: skip
        uses.sort(key=lambda use: -use.share)
        return RigLoads(parts[: len(self.rig_model.rig.strands)], tuple(uses), how)
