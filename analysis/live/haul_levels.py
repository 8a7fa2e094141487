"""Judges the haul force by the levels of its cell: the caution level, and the lowest stop level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.prediction.alarm_rows import haul_cell_level
from analysis.prediction.predict import first_limit, stop_hauling_at
from analysis.signals.channel_roles import Roles

Reached = Literal["", "caution", "stop"]


@dataclass(frozen=True)
class StopLevel:
    """A haul force at which hauling stops.

    force_N: the level, N.
    because: what sets it; None where the sensors file does, as the haul cell's `stop_at`.
    """

    force_N: float
    because: Message | None


@dataclass(frozen=True)
class HaulLevels:
    """The levels that the haul force of one rig is judged by.

    stops: stop levels, the lowest first; none without a haul cell.
    caution_N: caution level of the haul cell, N; None where it has none.
    because: which part of the rig sets its stop level, or why none does.
    rated: number of strands and parts of the rig that are rated.
    parts: number of its strands and parts.
    """

    stops: tuple[StopLevel, ...]
    caution_N: float | None
    because: Message
    rated: int
    parts: int

    @property
    def stop_N(self) -> float | None:
        """The lowest stop level, N; None where there is none."""
        return self.stops[0].force_N if self.stops else None

    def reached(self, force_N: float | None) -> Reached:
        """The highest level that a haul force is above; "" for none, and where no force is known."""
        if self.over_stop(force_N):
            return "stop"
        if force_N is not None and self.caution_N is not None and force_N > self.caution_N:
            return "caution"
        return ""

    def over_stop(self, force_N: float | None) -> bool:
        """Whether a haul force is above the lowest stop level."""
        return force_N is not None and self.stop_N is not None and force_N > self.stop_N

    def stop_share(self, force_N: float | None) -> float | None:
        """A haul force as a share of the lowest stop level; None where either is not known."""
        if force_N is None or not self.stop_N:
            return None
        return force_N / self.stop_N


def haul_levels(roles: Roles, rig_model: Model) -> HaulLevels:
    """The levels of the haul cell of a session, with the rig that is in use.

    The recorder judges the haul cell by what no other cell judges, and so does this.
    """
    counted = stop_hauling_at(rig_model)
    limit = first_limit(rig_model, haul_cell_level(rig_model, roles.channels))
    because = limit.because
    if limit.haul_force_N is None and counted.haul_force_N is not None:
        because = message("judged_by_own_cells")
    cell, stops = roles.haul_force, []
    if cell is not None and cell.stop_at is not None:
        stops.append(StopLevel(cell.stop_at, None))
    if cell is not None and limit.haul_force_N is not None:
        stops.append(StopLevel(limit.haul_force_N, because))
    return HaulLevels(
        stops=tuple(sorted(stops, key=lambda stop: stop.force_N)),
        caution_N=None if cell is None else cell.warn_at,
        because=because,
        rated=counted.rated,
        parts=counted.parts,
    )
