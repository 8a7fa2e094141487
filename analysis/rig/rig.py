"""Defines the data of a rig: bodies on the haul axis, stations in rope order, strands between them.

Positions are metres from the anchor along the haul axis (x, + toward the load) and sideways
(y, + toward the side that `offset_m` counts).  All values SI.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.messages.message import Message

Floats = NDArray[np.float64]

TURNS = ("pulley", "capture", "edge")  # stations that a rope runs over


@dataclass(frozen=True)
class Rating:
    """The rated strength of an item; None: not rated."""

    mbs_N: float | None = None  # minimum breaking strength; allowed is this / design factor
    wll_N: float | None = None  # working load limit, used undivided
    slips_N: float | None = None  # force at which a grab or capture begins to slip, undivided
    damages_N: float | None = None  # force at which it damages the rope, used undivided
    item: str = ""  # the crew's own mark on it
    preset: str = ""  # of a hitch, row of analysis.rig.presets that gives its limits; "": none
    slips_u_N: float | None = None  # standard uncertainty of slips_N; the limit is 2 u lower


@dataclass(frozen=True)
class Body:
    """Something that rope acts on."""

    name: str  # unique in the rig
    kind: str  # anchor | load | further_anchor | edge | grab | plate
    x_m: float  # position at the start, along the haul axis from the anchor
    y_m: float = 0.0  # sideways from the haul axis

    @property
    def moves(self) -> bool:
        """Whether it travels while hauling: the load, grabs and plates."""
        return self.kind in ("load", "grab", "plate")


@dataclass(frozen=True)
class Station:
    """One place that a hand meets when it follows the rope."""

    name: str  # unique in the rig; of a tie, the name of its body
    kind: str  # tie | grab | pulley | capture | edge | haul | free
    rope: int  # index into Rig.ropes
    body: int | None  # index into Rig.bodies; None: a haul taken from the ground, or a free tail
    efficiency: float = 1.0  # tension out / tension in along the rope's run while hauling
    efficiency_u: float = 0.0  # its standard uncertainty
    shared: bool = False  # whether efficiency_u is common to all pulleys with the default
    strength: float | None = None  # of a tie, share of the rope's strength that its knot keeps
    toward_deg: float = 0.0  # of a haul, direction of its strand: 0 toward the anchor's side
    wrap_rad: float = 0.0  # of an edge, angle over which the rope lies on it
    setback_m: float = 0.0  # of a capture, load travel lost each time it sets
    preset: str = ""  # of a pulley, row of analysis.rig.presets that gives its efficiency; "": none
    knot: str = ""  # of a tie, row of analysis.rig.knots that gives strength; "": not named


@dataclass(frozen=True)
class Strand:
    """The rope between two neighbouring stations."""

    rope: int  # index into Rig.ropes
    start: int  # index into Rig.stations, first in rope order
    end: int  # index into Rig.stations, second in rope order
    name: str  # "A1>T1"


@dataclass(frozen=True)
class Rope:
    """One rope of the rig; None: not stated in the rig file."""

    name: str  # unique in the rig
    stations: tuple[int, ...]  # indices into Rig.stations in rope order
    strands: tuple[int, ...]  # indices into Rig.strands in rope order
    ties: int  # number of ties
    length_m: float | None = None  # rope in the bag
    diameter_mm: float | None = None  # diameter
    mbs_N: float | None = None  # minimum breaking strength
    stretch: float | None = None  # elongation, m/m, at stretch_at_N
    stretch_at_N: float | None = None  # force at which the rope stretches by that
    preset: str = ""  # row of analysis.rig.presets that gives its stretch; "": none


@dataclass(frozen=True)
class Load:
    """The load as stated in the rig file; None: not stated."""

    kind: str | None = None  # hanging | slope | rolling | dragging
    mass_kg: float | None = None  # mass
    mass_u_kg: float | None = None  # its standard uncertainty
    slope_rad: float = 0.0  # slope of the ground, + uphill
    coefficient: float | None = None  # rolling or sliding force / normal force
    coefficient_u: float | None = None  # its standard uncertainty
    resistance_N: float | None = None  # force along the haul line while the load moves
    resistance_u_N: float | None = None  # its standard uncertainty
    pull_distance_m: float | None = None  # how far the load must go
    wll_N: float | None = None  # working load limit of its tow or lifting point
    surface: str = ""  # row of analysis.rig.surfaces that gives coefficient and breakaway
    breakaway: float | None = None  # the ground's resistance before the load moves / while it moves
    breakaway_u: float | None = None  # its standard uncertainty


@dataclass(frozen=True)
class Gear:
    """A connector, sling or the like, rated for the vector sum of what it carries."""

    name: str  # unique in the rig
    carries: tuple[str, ...]  # names of pulleys, captures, grabs, plates, anchors or gear
    kind: str  # what it is, for people


@dataclass(frozen=True, eq=False)
class Rig:
    """A rig; once `rig_file.load.check` has passed it, it moves the load toward the anchor in one way."""

    file: str  # name of the rig file, for faults
    title: str  # name of the rig
    note: str  # free text
    source: str  # where the ratio is published
    clearance_m: float  # distance of two bodies at which the stage is two-blocked
    design_factor: float  # minimum breaking strength / allowed force
    default_u: float  # standard uncertainty common to all pulleys with the default efficiency
    default_assumed: bool  # whether a pulley needs an efficiency that the file does not state
    bodies: tuple[Body, ...]  # [0] is the anchor, [1] the load
    stations: tuple[Station, ...]  # rope after rope, each in rope order
    strands: tuple[Strand, ...]  # rope after rope, each in rope order
    ropes: tuple[Rope, ...]  # in file order
    gears: tuple[Gear, ...]  # in file order
    ratings: Mapping[str, Rating]  # by name of the item
    load: Load  # the load
    team_pull_N: float | None  # what the haulers can keep up together; None: not stated
    people: int | None  # number of people who haul; None: not stated
    stand_m: float  # where the team takes the rope, along the haul axis from the anchor
    haul: int  # index of the haul into stations
    notes: tuple[Message, ...] = field(default=())  # warnings from reading the file

    @cached_property
    def index(self) -> dict[str, int]:
        """Body name -> index into bodies."""
        return {body.name: k for k, body in enumerate(self.bodies)}

    @cached_property
    def movers(self) -> tuple[int, ...]:
        """Indices of the bodies that move, in file order (the load among them)."""
        return tuple(k for k, body in enumerate(self.bodies) if body.moves)

    @cached_property
    def turns(self) -> tuple[int, ...]:
        """Indices of the stations that the rope runs over: pulleys, captures, edges."""
        return tuple(k for k, s in enumerate(self.stations) if s.kind in TURNS)

    @cached_property
    def before(self) -> dict[int, int]:
        """Station index -> index of the strand that arrives at it."""
        return {strand.end: k for k, strand in enumerate(self.strands)}

    @cached_property
    def after(self) -> dict[int, int]:
        """Station index -> index of the strand that leaves it."""
        return {strand.start: k for k, strand in enumerate(self.strands)}

    @cached_property
    def haul_strand(self) -> int:
        """Index of the strand between the rig and the haulers."""
        return self.before[self.haul] if self.haul in self.before else self.after[self.haul]

    @cached_property
    def haul_sign(self) -> int:
        """+1 if rope runs toward the haulers in rope order, -1 if the path begins at them."""
        return 1 if self.haul in self.before else -1

    @cached_property
    def ends(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Strands between two bodies: their indices and the body at each end, three arrays."""
        rows = []
        for k, strand in enumerate(self.strands):
            a, b = self.stations[strand.start].body, self.stations[strand.end].body
            if a is not None and b is not None:
                rows.append((k, a, b))
        table = np.array(rows, dtype=np.int64).reshape(-1, 3)
        return table[:, 0], table[:, 1], table[:, 2]

    @cached_property
    def haul_direction(self) -> Floats:
        """Unit vector along the haul strand in rope order, (2,), from `toward_deg`.

        0 is toward the anchor's side; positive angles turn toward positive offsets.
        """
        angle = np.deg2rad(self.stations[self.haul].toward_deg)
        out = np.array([-np.cos(angle), np.sin(angle)])
        out[np.abs(out) < 1e-15] = 0.0
        return out * self.haul_sign

    @cached_property
    def start_m(self) -> Floats:
        """Positions of all bodies at the start of the job, m, (bodies,)."""
        return np.array([body.x_m for body in self.bodies], dtype=np.float64)

    @cached_property
    def side_m(self) -> Floats:
        """Sideways offsets of all bodies, m, (bodies,)."""
        return np.array([body.y_m for body in self.bodies], dtype=np.float64)

    @cached_property
    def grabs(self) -> tuple[str, ...]:
        """Names of the grabs, in file order."""
        return tuple(body.name for body in self.bodies if body.kind == "grab")

    @cached_property
    def captures(self) -> tuple[int, ...]:
        """Indices of the captures into stations."""
        return tuple(k for k, s in enumerate(self.stations) if s.kind == "capture")
