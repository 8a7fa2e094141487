"""What every strand and element carries in each condition of the job.

Raising and breaking away: friction against the motion, with the pulleys' efficiencies.  Held: the
team's hands off, one capture alone, no friction.  Running back: friction turned round, captures
held open.  Forces scale with the load's own force in that condition.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.mechanics.load_resistance import Resistance, resistance
from analysis.mechanics.model import Held, Model
from analysis.mechanics.tension import (
    efficiencies,
    hold,
    load_row,
    sensitivities_back,
    spread,
    spreads,
    tensions,
)
from analysis.mechanics.working_limits import Part
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats


def held_tension(model: Model, held: Held) -> Floats | None:
    """Strand tensions (strands,) per load force with this capture alone holding; None if it cannot."""
    return hold(model.rig, model.motion, model.system.toward, held.station, 1.0)


def back_tension(model: Model) -> Floats:
    """Strand tensions (strands,) per haul tension while the load runs back, friction turned round."""
    return tensions(model.system, efficiencies(model.rig, hauling=False))


def load_shares(model: Model, tension: Floats, load: float | None = None) -> tuple[Floats, float]:
    """Force of each of `model.pieces` per load force, (pieces,), and the load force in the tension's unit.

    tension: (strands,), in any unit; load: the load force with it, where it is stated.
    """
    whole = float(load_row(model.rig, model.system.toward) @ tension) if load is None else load
    force = np.array([piece.force(tension) for piece in model.pieces])
    return force / whole, whole


@dataclass(frozen=True)
class Row:
    """One part in one condition: force in N with its standard uncertainty, what is allowed (N),
    and use = force / limit; of_load: force / load force, known even where the load is not.
    """

    name: str
    kind: str
    on: str
    of_load: float
    force_N: float | None
    force_u_N: float | None
    limit_N: float | None
    use: float | None
    why: Message | None


@dataclass(frozen=True)
class Condition:
    """name: raising | breaking away | held on CAPTURE | running back; load_N, haul_N with standard
    uncertainties; rows: strands in rope order, then elements; covers: grabs that can be reset
    meanwhile (held alone); why_not: why there are no forces; held_on: the capture that holds alone."""

    name: str
    load_N: float | None
    load_u_N: float | None
    haul_N: float | None
    haul_u_N: float | None
    rows: tuple[Row, ...]
    covers: tuple[str, ...] = ()
    why_not: Message | None = None
    held_on: str | None = None


def conditions(known: Model) -> tuple[Condition, ...]:
    """Raising, breaking away, held on each capture in rope order, running back."""
    needs = resistance(known.rig.load)
    up = _Shares.of(known, known.tension, known.gradient)
    found = [
        up.condition("raising", needs.force_N, needs.force_u_N, needs.why),
        up.condition("breaking away", needs.start_N, needs.start_u_N, needs.start_why),
    ]
    for held in known.held:
        name = f"held on {held.name}"
        tension = held_tension(known, held)
        if tension is None:
            why = message("capture_cannot_hold", capture=held.name)
            found.append(
                Condition(
                    name=name,
                    load_N=needs.force_N,
                    load_u_N=needs.force_u_N,
                    haul_N=0.0,
                    haul_u_N=0.0,
                    rows=(),
                    covers=(),
                    why_not=why,
                    held_on=held.name,
                )
            )
            continue
        still = _Shares.of(known, tension, np.zeros((len(tension), len(known.rig.turns))), 1.0)
        one = still.condition(name, needs.force_N, needs.force_u_N, needs.why)
        found.append(replace(one, haul_N=0.0, haul_u_N=0.0, covers=held.covers, held_on=held.name))
    found.append(_back(known, needs))
    return tuple(found)


def _back(known: Model, needs: Resistance) -> Condition:
    e, tension = efficiencies(known.rig, hauling=False), back_tension(known)
    gradient = sensitivities_back(known.rig, known.system, e, tension)
    shares = _Shares.of(known, tension, gradient)
    return shares.condition("running back", needs.lower_N, needs.lower_u_N, needs.lower_why)


@dataclass(frozen=True, eq=False)
class _Shares:
    """Forces for a load force of 1 with their uncertainty from the turns' efficiencies."""

    pieces: tuple[Part, ...]
    force: Floats  # (pieces,)
    u: Floats
    haul: float
    haul_u: float

    @classmethod
    def of(
        cls, known: Model, tension: Floats, gradient: Floats, load: float | None = None
    ) -> _Shares:
        """tension, gradient: per haul tension, or per load force where `load` is 1.

        With p a part's force and m the load's, both per haul tension:
        d(p/m)/de = (dp/de - (p/m) dm/de) / m.
        """
        row, pieces = load_row(known.rig, known.system.toward), known.pieces
        force, whole = load_shares(known, tension, load)
        slopes = np.array([piece.slope(tension) for piece in pieces]) @ gradient
        of_load = row @ gradient
        u = spreads(known.rig, (slopes - np.outer(force, of_load)) / whole)
        return cls(pieces, force, u, 1 / whole, spread(known.rig, of_load) / whole**2)

    def condition(
        self, name: str, load_N: float | None, load_u_N: float | None, why: Message | None
    ) -> Condition:
        """Scaled to this load force; its uncertainty is independent of the efficiencies'."""
        scaled: Callable[[float, float], tuple[float | None, float | None]]
        if load_N is None:
            scaled = _unknown
        else:
            size, size_u = load_N, load_u_N or 0.0
            scaled = lambda share, u: (share * size, float(np.hypot(u * size, share * size_u)))  # noqa: E731
        rows = []
        for piece, share, u in zip(self.pieces, self.force, self.u, strict=True):
            force, force_u = scaled(float(share), float(u))
            use = None
            if force is not None and piece.limit_N is not None:
                use = abs(force) / piece.limit_N
            rows.append(
                Row(name=piece.name, kind=piece.kind, on=piece.on, of_load=float(share), force_N=force, force_u_N=force_u,
                    limit_N=piece.limit_N, use=use, why=piece.why)
            )  # fmt: skip
        haul, haul_u = scaled(self.haul, self.haul_u)
        return Condition(
            name=name,
            load_N=load_N,
            load_u_N=load_u_N,
            haul_N=haul,
            haul_u_N=haul_u,
            rows=tuple(rows),
            covers=(),
            why_not=why,
        )


def _unknown(share: float, u: float) -> tuple[None, None]:
    return None, None
