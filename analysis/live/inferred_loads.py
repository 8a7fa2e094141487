"""What every strand and part of a rig carries now, inferred from the force cells that are there.

Hauling: force cell / its gain x the part's gain, the larger of the frictionless and the model's.
From the haul cell that is the most that a part can carry, as friction only takes off; not for a
part that friction itself loads (a capture that rope runs through) or whose pulls partly cancel, nor
from another cell alone, as friction then adds on the haul's side.  Eased, held or silent: at most
what the load last needed: hands off, on each capture alone, frictionless; hands on, frictionless or
with the friction turned round, as the load would run back; whichever loads the part more.
A part that a cell measures carries what the cell reads, in every state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.mechanics.load_cases import back_tension, held_tension, load_shares
from analysis.mechanics.measured_parts import bounded
from analysis.mechanics.model import Model, force_gain
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats

TINY = 1e-9  # rounding only
NO_TENSION_N = 1e-6  # rounding only: what the model leaves of a slack strand
CELL, MOST, ABOUT = "cell", "most", ""
HANDS_ON = frozenset({"hold", "ease", "lower", "tension", "nodata", "rest", "loose", "back"})


@dataclass(frozen=True)
class Use:
    """A rated part: force_N on it, limit_N allowed, share = force / limit; by: CELL, its own cell
    reads the force; MOST, it carries at most that; ABOUT, neither, by the model."""

    name: str
    force_N: float
    limit_N: float
    share: float
    by: str = ABOUT

    @property
    def over(self) -> bool:
        """Whether the part carries more than it is allowed."""
        return self.share > 1


@dataclass(frozen=True, eq=False)
class Carried:
    """What strands and parts carry.

    strand_N: tension of each strand in rope order, N, (strands,).
    uses: rated parts, the nearest to its limit first.
    how: in words, what the forces follow from.
    """

    strand_N: Floats
    uses: tuple[Use, ...]
    how: Message

    @property
    def shown_N(self) -> list[float | None]:
        """strand_N; None for a strand that the model leaves without tension: it may have some."""
        return [float(force) if force > NO_TENSION_N else None for force in self.strand_N]


class Carrying:
    """Gains of one rig with its bodies where `known` has them."""

    def __init__(self, known: Model) -> None:
        self.known = known
        self.pieces = known.pieces
        # sizes of the parts' forces, (parts,): per haul tension, running back and held per load force
        self.ideal = self._sizes(known.ideal_tension, 1.0)
        self.model = self._sizes(known.tension, 1.0)
        self.back = self._sizes(back_tension(known))
        self._gains: dict[str, tuple[float, float]] = {}
        held = (held_tension(known, capture) for capture in known.held)
        self.held = [self._sizes(tension, 1.0) for tension in held if tension is not None]

    @cached_property
    def bounded(self) -> tuple[bool, ...]:
        """Whether the frictionless gain is the most that each part can carry while hauling."""
        return bounded(self.known, self.pieces)

    def _sizes(self, tension: Floats, load: float | None = None) -> Floats:
        shares, whole = load_shares(self.known, tension, load)
        return np.abs(shares) if whole > TINY else np.zeros(len(self.pieces))

    def gain(self, at: str) -> tuple[float, float]:
        """(ideal, model) force of a cell at this place for a haul tension of 1."""
        if at not in self._gains:
            self._gains[at] = force_gain(self.known.rig, at)
        return self._gains[at]

    def hauling(
        self, cells: Sequence[tuple[str, float]], own: Mapping[int, float] | None = None
    ) -> Carried | None:
        """cells: (place, N) of each cell that speaks; own: index into the rig's parts -> N that its
        own cell reads; None where none tells."""
        found, most = None, False
        for at, force in cells:
            ideal, model = (abs(g) for g in self.gain(at))
            if ideal < TINY or model < TINY or force <= 0:
                continue
            most = most or (ideal == model == 1.0)
            parts = np.maximum(self.ideal * force / ideal, self.model * force / model)
            found = parts if found is None else np.maximum(found, parts)
        if found is None:
            return None
        if not most:
            return self._told(found, message("from_the_cell"), own)
        how = message("at_most_from_the_haul_cell")
        free = ", ".join(p.name for p, b in zip(self.pieces, self.bounded, strict=True) if not b)
        if free:
            how = message("at_most_but_for_some", parts=free)
        return self._told(found, how, own, self.bounded)

    def needed(
        self, load_N: float | None, code: str, haul_N: float | None,
        own: Mapping[int, float] | None = None,
    ) -> Carried | None:  # fmt: skip
        """The load resting: load_N is what it last needed; haul_N, where the haul is under tension;
        code: of the haul's state; own: as for `hauling`."""
        if load_N is None:
            if haul_N is None or haul_N <= 0:
                return None
            # friction may help to hold the load, so the haul tension bounds nothing here
            how = message("from_the_haul_cell")
            return self._told(np.maximum(self.ideal, self.model) * haul_N, how, own)
        rows = [sizes * load_N for sizes in self.held]
        if code in HANDS_ON or not rows:
            rows += [self.ideal * load_N / self.known.ideal_ma, self.back * load_N]
        if haul_N is not None:
            rows.append(self.ideal * haul_N)
        how = message("what_the_load_needed")
        return self._told(np.max(rows, axis=0), how, own, (True,) * len(self.pieces))

    def _told(
        self, parts: Floats, how: Message, own: Mapping[int, float] | None = None,
        most: Sequence[bool] = (),
    ) -> Carried:  # fmt: skip
        """own: what cells measure themselves; most: whether `parts` is the most, by part."""
        own = own or {}
        parts = np.array([own.get(k, float(force)) for k, force in enumerate(parts)])
        if own:
            names = ", ".join(self.pieces[k].name for k in sorted(own))
            how = message("by_own_cells", parts=names, count=len(own), others=how)
        by = [CELL if k in own else MOST if most and most[k] else ABOUT for k in range(len(parts))]
        uses = [
            Use(name=p.name, force_N=float(force), limit_N=p.limit_N, share=float(force) / p.limit_N, by=b)
            for p, force, b in zip(self.pieces, parts, by, strict=True) if p.limit_N
        ]  # fmt: skip
        uses.sort(key=lambda use: -use.share)
        return Carried(parts[: len(self.known.rig.strands)], tuple(uses), how)
