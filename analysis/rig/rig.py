"""What a rig consists of: bodies on the haul axis, stations in rope order, strands between them.

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
    """What a thing stands: `wll_N` is used as it is, `mbs_N` divided by the design factor.

    slips_N, damages_N: where a grab begins to slip or to hurt the rope, used undivided.
    """

    mbs_N: float | None = None
    wll_N: float | None = None
    slips_N: float | None = None
    damages_N: float | None = None
    item: str = ""


@dataclass(frozen=True)
class Body:
    """Something that rope acts on: anchor, load, further_anchor, edge (all but load fixed), grab, plate."""

    name: str
    kind: str
    x_m: float
    y_m: float = 0.0

    @property
    def moves(self) -> bool:
        return self.kind in ("load", "grab", "plate")


@dataclass(frozen=True)
class Station:
    """One place that a hand meets following the rope.

    kind: tie | grab | pulley | capture | edge | haul | free; body: index into Rig.bodies, None
    for a haul taken by a team standing on the ground and for a free tail.
    efficiency: tension out / tension in along the rope's run while hauling (1 where nothing is
    lost); efficiency_u its standard uncertainty; shared: the uncertainty is the one common to
    all pulleys that use the default.  strength: of a tie, what its knot keeps of the rope's, 0 to 1;
    None: not stated.
    """

    name: str
    kind: str
    rope: int
    body: int | None
    efficiency: float = 1.0
    efficiency_u: float = 0.0
    shared: bool = False
    strength: float | None = None
    toward_deg: float = 0.0
    wrap_rad: float = 0.0
    setback_m: float = 0.0


@dataclass(frozen=True)
class Strand:
    """The rope between two stations next to each other in rope order (indices into Rig.stations)."""

    rope: int
    start: int
    end: int
    name: str


@dataclass(frozen=True)
class Rope:
    name: str
    stations: tuple[int, ...]
    strands: tuple[int, ...]
    ties: int
    length_m: float | None = None
    diameter_mm: float | None = None
    mbs_N: float | None = None
    stretch: float | None = None  # elongation, m/m, at stretch_at_N
    stretch_at_N: float | None = None


@dataclass(frozen=True)
class Load:
    """What the file says of the load; None is: not known."""

    kind: str | None = None
    mass_kg: float | None = None
    mass_u_kg: float | None = None
    slope_rad: float = 0.0
    coefficient: float | None = None
    coefficient_u: float | None = None
    resistance_N: float | None = None
    resistance_u_N: float | None = None
    pull_distance_m: float | None = None
    wll_N: float | None = None
    surface: str = ""  # row of analysis.rig.surfaces that coefficient and breakaway come from
    breakaway: float | None = None  # ground's resistance before it moves / while it moves
    breakaway_u: float | None = None


@dataclass(frozen=True)
class Gear:
    name: str
    carries: tuple[str, ...]
    kind: str


@dataclass(frozen=True, eq=False)
class Rig:
    """A checked rig: it moves the load toward the anchor, in one way only, with every strand in tension.

    bodies[0] is the anchor and bodies[1] the load.
    """

    file: str
    title: str
    note: str
    source: str
    clearance_m: float
    design_factor: float
    default_u: float  # standard uncertainty common to all pulleys with the default efficiency
    default_assumed: bool  # the file states no pulley efficiency and a pulley needs one
    bodies: tuple[Body, ...]
    stations: tuple[Station, ...]
    strands: tuple[Strand, ...]
    ropes: tuple[Rope, ...]
    gears: tuple[Gear, ...]
    ratings: Mapping[str, Rating]
    load: Load
    team_pull_N: float | None
    stand_m: float
    haul: int  # station index
    notes: tuple[Message, ...] = field(default=())  # warnings that reading the file gave

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
        """Unit vector along the haul strand in rope order, shape (2,): from `toward_deg`, 0 toward
        the anchor's side, turning toward the side that offsets count."""
        angle = np.deg2rad(self.stations[self.haul].toward_deg)
        out = np.array([-np.cos(angle), np.sin(angle)])
        out[np.abs(out) < 1e-15] = 0.0
        return out * self.haul_sign

    @cached_property
    def start_m(self) -> Floats:
        """Positions of all bodies at the start of the job, shape (bodies,)."""
        return np.array([body.x_m for body in self.bodies], dtype=np.float64)

    @cached_property
    def side_m(self) -> Floats:
        """Sideways offsets of all bodies, shape (bodies,)."""
        return np.array([body.y_m for body in self.bodies], dtype=np.float64)

    @cached_property
    def grabs(self) -> tuple[str, ...]:
        return tuple(body.name for body in self.bodies if body.kind == "grab")

    @cached_property
    def captures(self) -> tuple[int, ...]:
        return tuple(k for k, s in enumerate(self.stations) if s.kind == "capture")
