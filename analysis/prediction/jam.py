"""Answers what a rig sees if the load jams while the whole team pulls with all it has."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.rig.presets import JAM_PULL_N

# people where the rig file states none; chosen by us: the least that make a team
ASSUMED_PEOPLE = 2


@dataclass(frozen=True)
class Jam:
    """The greatest share of a limit, else the greatest force, with the load jammed."""

    people: int  # who pull
    assumed: bool  # whether their number is not stated in the rig file
    haul_force_N: float  # tension in the haul strand, N
    name: str  # part nearest its limit; the most loaded anchor if none is rated
    force_N: float  # on that part, N
    limit_N: float | None  # allowed force of that part, N; None: not rated

    @property
    def use(self) -> float | None:
        """Force / limit; None where nothing is rated."""
        return None if self.limit_N is None else self.force_N / self.limit_N


def jammed(rig_model: Model) -> Jam:
    """The forces with a jammed load: no loss at any pulley, and `JAM_PULL_N` from each person.

    Friction would only lower them, so every force is an upper bound for this pull; a shock is not in it.
    """
    people = rig_model.rig.people
    pull_N = JAM_PULL_N * (ASSUMED_PEOPLE if people is None else people)
    rated = [one for one in rig_model.parts if one.limit_N is not None]
    if rated:
        worst = max(rated, key=lambda one: abs(one.ideal) / (one.limit_N or 1.0))
    else:
        anchors = [one for one in rig_model.parts if one.kind in ("anchor", "further_anchor")]
        worst = max(anchors or rig_model.parts, key=lambda one: abs(one.ideal))
    return Jam(
        people=ASSUMED_PEOPLE if people is None else people,
        assumed=people is None,
        haul_force_N=pull_N,
        name=worst.name,
        force_N=abs(worst.ideal) * pull_N,
        limit_N=worst.limit_N,
    )


def jam_message(jam: Jam) -> Message:
    """The answer as a message; a caution where a part is over its limit."""
    assumed = " (assumed)" if jam.assumed else ""
    values = {"people": jam.people, "assumed": assumed, "name": jam.name}
    forces = {"haul_N": jam.haul_force_N, "force_N": jam.force_N}
    if jam.use is None:
        return message("jammed_unrated", **values, **forces)
    if jam.use > 1:
        return message("jammed_over", use=jam.use, **values, **forces)
    return message("jammed_within", use=jam.use, **values, **forces)
