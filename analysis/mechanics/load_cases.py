"""Computes the force on every strand and element in each condition of the job.

Raising and breaking away: friction acts against the motion, with the pulleys' efficiencies.  Held on
a capture: the haul is slack, one capture holds alone, no friction.  Running back: friction acts the
other way, captures are held open.  Forces scale with the load force of the condition.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from analysis.mechanics.load_resistance import Resistance, can_run_back, resistance
from analysis.mechanics.model import Held, Model
from analysis.mechanics.tension import (
    efficiencies,
    load_row,
    sensitivities_back,
    spread,
    spreads,
    tensions,
)
from analysis.mechanics.working_limits import RigPart
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Load

KEPT_MODELS = (
    64  # speed only: models whose shares are kept; stop levels and uses over a job ask for the same
)
RAISING, BREAKING, BACK = "raising", "breaking away", "running back"


def held_on(capture: str) -> str:
    """Name of the condition in which this capture holds the load alone."""
    return f"held on {capture}"


def condition_names(rig_model: Model) -> tuple[str, ...]:
    """Names of all conditions, in the order of `conditions`."""
    return (RAISING, BREAKING, *(held_on(held.name) for held in rig_model.held), BACK)


def held_tension(model: Model, held: Held) -> Floats | None:
    """Strand tensions per load force while this capture holds alone, (strands,); None if it cannot."""
    return model.held_tensions[held.name]


def back_tension(model: Model) -> Floats:
    """Strand tensions per haul tension while the load runs back, (strands,), with friction reversed."""
    return tensions(model.system, efficiencies(model.rig, hauling=False))


def load_shares(model: Model, tension: Floats, load: float | None = None) -> tuple[Floats, float]:
    """Force on each of `model.pieces` per load force, (pieces,), and the load force in the tension's unit.

    tension: strand tensions, (strands,), in any unit; load: the load force in the same unit, by
    default computed from the tensions.
    """
    whole = float(load_row(model.rig, model.system.toward) @ tension) if load is None else load
    force = np.array([piece.force(tension) for piece in model.pieces])
    return force / whole, whole


@dataclass(frozen=True, eq=False)
class CaseShares:
    """The size of the force on each part in one condition, per load force."""

    condition: str  # raising | held on CAPTURE | running back
    share: Floats  # (parts,) force / load force


@lru_cache(maxsize=KEPT_MODELS)
def case_shares(rig_model: Model) -> tuple[CaseShares, ...]:
    """Force on each part per load force: raising, held on each capture that can hold, running back.

    Breaking away loads the parts in the proportions of raising.  Running back is left out for a load that
    the ground alone holds.
    """
    raising = np.array([abs(one.model) for one in rig_model.parts]) / rig_model.model_ma
    cases = [CaseShares(RAISING, raising)]
    for held in rig_model.held:
        tension = held_tension(rig_model, held)
        if tension is not None:
            share, _ = load_shares(rig_model, tension, 1.0)
            cases.append(CaseShares(held_on(held.name), np.abs(share)))
    if runs_back(rig_model.rig.load):
        share, whole = load_shares(rig_model, back_tension(rig_model))
        if whole > 0:
            cases.append(CaseShares(BACK, np.abs(share)))
    return tuple(cases)


def runs_back(load: Load) -> bool:
    """Whether the load may run back when it is let go; True where the file does not say."""
    why = resistance(load).lower_why
    return can_run_back(load) and (why is None or why.code != "ground_holds_the_load")


@dataclass(frozen=True)
class LoadCaseRow:
    """The force on one part in one condition of the job."""

    name: str  # of the part
    kind: str  # of the part, as in RigPart
    on: str  # body or strand that carries it; of gear, the names of what it carries
    of_load: float  # force / load force; does not need the load force
    force_N: float | None  # None: the load force is not known
    force_u_N: float | None  # standard uncertainty of force_N
    limit_N: float | None  # allowed force; None: not rated
    use: float | None  # force / limit
    why: Message | None  # what sets the limit


@dataclass(frozen=True)
class Condition:
    """One condition of the job with the force on every part; forces are None where not known."""

    name: str  # raising | breaking away | held on CAPTURE | running back
    load_N: float | None  # load force
    load_u_N: float | None  # its standard uncertainty
    haul_N: float | None  # haul force
    haul_u_N: float | None  # its standard uncertainty
    rows: tuple[LoadCaseRow, ...]  # strands in rope order, then elements; empty: it cannot hold
    covers: tuple[str, ...] = ()  # held on a capture: grabs that can be reset meanwhile
    why_not: Message | None = None  # why there are no forces
    held_on: str | None = None  # name of the capture that holds alone


def conditions(rig_model: Model) -> tuple[Condition, ...]:
    """All conditions of the job: raising, breaking away, held on each capture in rope order, running back."""
    needs = resistance(rig_model.rig.load)
    up = _Shares.from_model(rig_model, rig_model.tension, rig_model.gradient)
    cases = [
        up.condition(RAISING, needs.force_N, needs.force_u_N, needs.why),
        up.condition(BREAKING, needs.start_N, needs.start_u_N, needs.start_why),
    ]
    for held in rig_model.held:
        name = held_on(held.name)
        tension = held_tension(rig_model, held)
        if tension is None:
            why = message("capture_cannot_hold", capture=held.name)
            cases.append(
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
        still = _Shares.from_model(
            rig_model, tension, np.zeros((len(tension), len(rig_model.rig.turns))), 1.0
        )
        one = still.condition(name, needs.force_N, needs.force_u_N, needs.why)
        cases.append(replace(one, haul_N=0.0, haul_u_N=0.0, covers=held.covers, held_on=held.name))
    cases.append(_back(rig_model, needs))
    return tuple(cases)


def _back(rig_model: Model, needs: Resistance) -> Condition:
    """The condition in which the load runs back."""
    e, tension = efficiencies(rig_model.rig, hauling=False), back_tension(rig_model)
    gradient = sensitivities_back(rig_model.rig, rig_model.system, e, tension)
    shares = _Shares.from_model(rig_model, tension, gradient)
    return shares.condition(BACK, needs.lower_N, needs.lower_u_N, needs.lower_why)


@dataclass(frozen=True, eq=False)
class _Shares:
    """Forces for a load force of 1, with the uncertainty that the turns' efficiencies give them."""

    pieces: tuple[RigPart, ...]  # the parts of the rig
    force: Floats  # (pieces,) force on each part / load force
    u: Floats  # (pieces,) its standard uncertainty
    haul: float  # haul force / load force
    haul_u: float  # its standard uncertainty

    @classmethod
    def from_model(
        cls, rig_model: Model, tension: Floats, gradient: Floats, load: float | None = None
    ) -> _Shares:
        """Shares for strand tensions, (strands,), and their gradient over efficiencies, (strands, turns).

        Both are per haul tension, or per load force where `load` is 1.  With p the force on a part and
        m the load force, both per haul tension: d(p/m)/de = (dp/de - (p/m) dm/de) / m.
        """
        row, pieces = load_row(rig_model.rig, rig_model.system.toward), rig_model.pieces
        force, whole = load_shares(rig_model, tension, load)
        slopes = np.array([piece.slope(tension) for piece in pieces]) @ gradient
        of_load = row @ gradient
        u = spreads(rig_model.rig, (slopes - np.outer(force, of_load)) / whole)
        return cls(pieces, force, u, 1 / whole, spread(rig_model.rig, of_load) / whole**2)

    def condition(
        self, name: str, load_N: float | None, load_u_N: float | None, why: Message | None
    ) -> Condition:
        """The condition for this load force, whose uncertainty is independent of the efficiencies."""
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
                LoadCaseRow(name=piece.name, kind=piece.kind, on=piece.on, of_load=float(share), force_N=force, force_u_N=force_u,
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
    """Force and uncertainty where the load force is not known."""
    return None, None
