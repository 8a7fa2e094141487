"""Holds usual values of gear, rope and people, for a crew that has no values of its own.

Each value is a judgement with its standard uncertainty, drawn from the sources that stand beside it.  What
a rig takes from here is said as assumed.  A preset is safe in one direction only: these answer "can we
move it?".  What the rig sees if the load jams is asked with no loss at any pulley and `JAM_PULL_N` a person.
"""

from __future__ import annotations

from dataclasses import dataclass

RESCUE = "six rescue pulleys, 0.80 to 0.909 (Delaney, Physics for Roping Technicians, p. 90)"
CONNECTOR = (
    "one connector 0.592, two side by side 0.538 (Delaney, p. 90); bars and rings 0.47 to 0.54"
)
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class PulleyPreset:
    """The usual efficiency of one kind of pulley, rope turning 180 degrees, rope of 8 to 16 mm."""

    name: str  # as written in a rig file
    efficiency: float  # tension out / tension in
    efficiency_u: float  # its standard uncertainty, common to all pulleys of this kind
    source: str  # of the value


@dataclass(frozen=True)
class HitchPreset:
    """Where one kind of friction hitch or toothed grab usually gives way."""

    name: str  # as written in a rig file
    slips_N: float | None  # force at which it begins to slip; None: it bites instead
    slips_u_N: float | None  # standard uncertainty of slips_N
    damages_N: float | None  # force at which it begins to hurt the rope
    source: str  # of the value


@dataclass(frozen=True)
class RopePreset:
    """The usual stretch of one kind of rope at a tenth of its minimum strength."""

    name: str  # as written in a rig file
    stretch: float  # elongation, m/m
    stretch_u: float  # its standard uncertainty
    source: str  # of the value


@dataclass(frozen=True)
class Footing:
    """What one person keeps up on a rope, by the ground they stand on."""

    name: str  # as written in a rig file
    pull_N: float  # sustained, each, up to three people
    pull_u_N: float  # its standard uncertainty
    source: str  # of the value


PULLEYS = (
    PulleyPreset("ball-sheave", 0.88, 0.03, f"upper half of {RESCUE}; sheave at least 4 rope diameters"),
    PulleyPreset("plain-sheave", 0.82, 0.05, f"lower half of {RESCUE}; sheave at least 4 rope diameters"),
    PulleyPreset("small-sheave", 0.78, 0.06, "sheave of 2 to 4 rope diameters: 0.741 to 0.83 (Delaney, p. 90)"),
    PulleyPreset("tackle-block", 0.88, 0.05, "wood or steel block, kept: 5 to 8 % of the effort a sheave (magazine, 1973)"),
    PulleyPreset("dry-tackle-block", 0.80, 0.05, "wood or steel block, dry or gritty: lower than kept; " + PRACTICE),
    PulleyPreset("connector", 0.52, 0.06, CONNECTOR),
    PulleyPreset("two-connectors", 0.50, 0.06, CONNECTOR + "; never credited as better than one"),
)  # fmt: skip
# an autoblock (0.5 +/- 0.3 kN) has no row: twice its uncertainty leaves nothing to rely on
HITCHES = (
    HitchPreset("three-wrap-prusik", 4000.0, 1500.0, None, "8 mm cord on 11 to 13 mm rope: 5.3 kN (forum); worn cord slips sooner"),
    HitchPreset("two-wrap-prusik", 2000.0, 800.0, None, "or 6 mm cord: 2 to 4 kN (from memory)"),
    HitchPreset("klemheist", 1500.0, 600.0, None, "2 to 5 kN, one direction only (from memory)"),
    HitchPreset("toothed-cam", None, None, 3000.0, "below the 4 kN of EN 567"),
)  # fmt: skip
ROPES = (
    RopePreset("low-stretch-kernmantle", 0.035, 0.015, "limits of EN 1891, judged"),
    RopePreset("polyester-double-braid", 0.020, 0.008, "3.5 to 5 % at 30 % of break (forum)"),
    RopePreset("nylon-braid", 0.050, 0.020, "2.8 % at 10 %, cycled and dry (UFC 4-159-03), raised for its curve"),
    RopePreset("dynamic", 0.090, 0.020, "at most 10 % at 80 kg (EN 892, from memory)"),
)  # fmt: skip
FOOTINGS = (
    Footing(
        "good", 150.0, 40.0, "HSE L23: 100 to 200 N; fire-service journal: 222 N on a haul line"
    ),
    Footing("wet", 100.0, 40.0, "grass, mud, wet: MIL-STD-1472 (from memory)"),
    Footing("ice", 50.0, 30.0, f"ice or loose scree: {PRACTICE}"),
)
# of four people or more each gives this share (Ringelmann; Ingham, J. Exp. Soc. Psych. 10:371, 1974)
TEAM_SHARE, TEAM_SHARE_FROM = 0.75, 4  # sources above
# what one person can put on a rope for a moment: 834 N alone, no team loss (Ringelmann)
JAM_PULL_N = 850.0
# of the minimum strength, at which the rows of ROPES hold; chosen by us: about what rope carries in use
STRETCH_SHARE = 0.10


def pulley_preset(name: str) -> PulleyPreset:
    """The preset of this name; raises KeyError where there is none."""
    return {row.name: row for row in PULLEYS}[name]


def hitch_preset(name: str) -> HitchPreset:
    """The preset of this name; raises KeyError where there is none."""
    return {row.name: row for row in HITCHES}[name]


def rope_preset(name: str) -> RopePreset:
    """The preset of this name; raises KeyError where there is none."""
    return {row.name: row for row in ROPES}[name]


def team_pull_N(people: int, footing: str) -> tuple[float, float]:
    """What a team keeps up, and its standard uncertainty, N.

    people: at least 1; footing: name of a row of FOOTINGS.  The uncertainty is common to all people of
    the team.  Raises KeyError for another footing.
    """
    row = {each.name: each for each in FOOTINGS}[footing]
    share = TEAM_SHARE if people >= TEAM_SHARE_FROM else 1.0
    return people * share * row.pull_N, people * share * row.pull_u_N
