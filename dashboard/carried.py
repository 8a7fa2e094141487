"""What every strand and part of a rig carries now, inferred from the force cells that are there.

Hauling: force cell / its gain x the part's gain, the larger of the frictionless and the model's, so
never below the frictionless value.  Eased, held or silent: never below what the load last needed:
hands off, on each capture alone, frictionless; hands on, frictionless or with the friction turned
round, as the load would run back; whichever loads the part more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.bodies import Floats
from analysis.predict import Model, force_gain
from analysis.tension import efficiencies, hold, load_row, tensions

TINY = 1e-9
HANDS_ON = frozenset({"hold", "ease", "lower", "tension", "nodata", "rest", "loose", "back"})


@dataclass(frozen=True)
class Use:
    """A rated part: force_N on it, limit_N allowed, share = force / limit."""

    name: str
    force_N: float
    limit_N: float
    share: float


@dataclass(frozen=True, eq=False)
class Carried:
    """strand_N: (strands,); uses: rated parts, the nearest to its limit first; how: in words."""

    strand_N: Floats
    uses: tuple[Use, ...]
    how: str


class Carrying:
    """Gains of one rig with its bodies where `known` has them."""

    def __init__(self, known: Model) -> None:
        self.known = known
        self.pieces = known.pieces
        self.ideal = self._forces(known.ideal_tension)
        self.model = self._forces(known.tension)
        back = tensions(known.system, efficiencies(known.rig, hauling=False))
        whole = float(load_row(known.rig, known.system.toward) @ back)
        self.back = self._forces(back) / whole if whole > TINY else np.zeros(len(self.pieces))
        self._gains: dict[str, tuple[float, float]] = {}
        held = [
            hold(known.rig, known.motion, known.system.toward, h.station, 1.0)
            for h in known.held if h.ideal is not None
        ]  # fmt: skip
        self.held = [(t, self._forces(t)) for t in held if t is not None]

    def _forces(self, tension: Floats) -> Floats:
        return np.array([abs(p.force(tension)) for p in self.pieces])

    def gain(self, at: str) -> tuple[float, float]:
        """(ideal, model) force of a cell at this place for a haul tension of 1."""
        if at not in self._gains:
            self._gains[at] = force_gain(self.known.rig, at)
        return self._gains[at]

    def hauling(self, cells: Sequence[tuple[str, float]]) -> Carried | None:
        """cells: (place, N) of each cell that speaks; None where none tells."""
        found = None
        for at, force in cells:
            ideal, model = (abs(g) for g in self.gain(at))
            if ideal < TINY or model < TINY or force <= 0:
                continue
            parts = np.maximum(self.ideal * force / ideal, self.model * force / model)
            found = parts if found is None else np.maximum(found, parts)
        if found is None:
            return None
        return self._told(found, "from the cell through the rig, never below frictionless")

    def needed(self, load_N: float | None, code: str, haul_N: float | None) -> Carried | None:
        """The load resting: load_N is what it last needed; haul_N, where the haul is under tension;
        code: of the haul's state."""
        if load_N is None:
            return None if haul_N is None else self.hauling([("haul", haul_N)])
        rows = [forces * load_N for _, forces in self.held]
        if code in HANDS_ON or not rows:
            rows += [self.ideal * load_N / self.known.ideal_ma, self.back * load_N]
        if haul_N is not None:
            rows.append(self.ideal * haul_N)
        return self._told(np.max(rows, axis=0), "never below what the load last needed")

    def _told(self, parts: Floats, how: str) -> Carried:
        uses = [
            Use(p.name, float(force), p.limit_N, float(force) / p.limit_N)
            for p, force in zip(self.pieces, parts, strict=True) if p.limit_N
        ]  # fmt: skip
        uses.sort(key=lambda use: -use.share)
        return Carried(parts[: len(self.known.rig.strands)], tuple(uses), how)
