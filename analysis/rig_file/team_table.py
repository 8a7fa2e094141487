"""Reads the [team] table of a rig file: the people who haul."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.messages.message import message
from analysis.rig.presets import team_pull_N
from analysis.rig_file.draft import RigDraft
from logger.toml_tables import Table


@dataclass(frozen=True)
class Team:
    """The people who haul."""

    pull_N: float | None  # what they keep up together; None: not stated
    people: int | None  # how many they are; None: not stated
    stand_m: float  # where they take the rope, along the haul axis from the anchor


def read_team(draft: RigDraft, table: Table) -> Team:
    """The team, with a note where its pull is assumed; raises RigFault."""
    pull, stand = table.number("pull_N"), table.number("stand_m")
    people, footing = table.whole("people"), table.text("footing")
    table.done()
    if footing is not None:
        if pull is not None:
            raise table.fault(
                "footing", "cannot stand beside pull_N", "write what the team pulls, or its footing"
            )
        if people is None:
            raise table.fault("people", "is missing, and footing needs it", "write people = 4")
        pull, u = team_pull_N(people, footing)
        draft.notes.append(
            message("team_pull_assumed", people=people, footing=footing, pull_N=pull, u_N=u)
        )
    return Team(pull_N=pull, people=people, stand_m=0.0 if stand is None else stand)
