"""What the load last needed and what strands and parts carry at this moment, for one session."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.live.channel_track import Track
from analysis.live.haul_state import State
from analysis.live.inferred_loads import CELL, MOST, Carried, Carrying
from analysis.live.recorder_status import Recording
from analysis.mechanics.measured_parts import measured_parts
from analysis.mechanics.model import Model
from analysis.rig.rig import Floats
from analysis.signals.channel_roles import Roles
from dashboard.live.state_feed import Board, sig
from logger.errors import one_line

NEAREST = 5  # rated parts told, the nearest to its limit first
MEAN_S = 0.25
STRANDS_A_PART = 40
# what a strand's tension takes at most, until the page writes it, by the units' name
PLACE = {"metric": "—.— kN", "us": "——— lbf"}
AT_REST = frozenset({"held", "rest", "reset", "back", "loose", "hold", "ease", "lower", "tension",
                     "nodata"})  # fmt: skip


class LoadsNow:
    """last_N: mean haul force of the last haul stroke, None before the first."""

    def __init__(
        self, found: Roles, tracks: Mapping[str, Track], recording: Recording, known: Model
    ) -> None:
        self.roles, self.tracks, self.recording = found, tracks, recording
        self.rig(known)
        self.last_N: float | None = None
        self._load_N: float | None = known.load_force_N
        self._by_cell = False
        self._frictionless_N: float | None = None  # load force of the last stroke, without friction

    def rig(self, known: Model) -> None:
        """Go on with this model: another rig, or the bodies elsewhere."""
        self.known, self.carrying = known, Carrying(known)
        self._measures = {c.name: measured_parts(known, c.at) for c in self.roles.forces}

    def hauled(
        self, last_N: float | None, load_N: float | None, by_cell: bool, this_rig: bool = True
    ) -> None:
        """What the estimate says: of the last stroke, of the load, and whether that was measured
        apart from the haul cell; this_rig: whether the stroke was hauled with the rig that is there now."""
        self.last_N = last_N or self.last_N
        if last_N and this_rig:
            self._frictionless_N = last_N * self.known.ideal_ma
        self._load_N = self._load_N if load_N is None else load_N
        self._by_cell = by_cell and load_N is not None

    def needed_N(self, now_s: float) -> float | None:
        """What the load last needed: by a cell that tells it, else frictionless from the haul."""
        found = []
        if self._by_cell and self._load_N is not None:
            found.append(self._load_N)
        elif self._frictionless_N is not None:
            found.append(self._frictionless_N)
        for at, force in self._cells(now_s):
            if at == "load":
                found.append(force)
        return max(found, default=None)

    def held_N(self, now_s: float) -> float | None:
        """What the captures that may hold carry, at most: what the load last needed, no friction."""
        shares = [h.ideal for h in self.known.held if h.ideal is not None]
        needed = self.needed_N(now_s)
        if not shares or needed is None:
            return None
        return sig(max(shares) * needed / self.known.ideal_ma, 3)

    def carried(self, state: State, now_s: float) -> Carried | None:
        """What strands and parts carry in this state; None where nothing tells."""
        own = self._own(state, now_s)
        if state.code in AT_REST:
            return self.carrying.needed(self.needed_N(now_s), state.code, state.force_N, own)
        cells = self._cells(now_s)
        if state.code in ("before", "nocell"):  # a haul cell that rests tells nothing
            cells = [cell for cell in cells if self.carrying.gain(cell[0]) != (1.0, 1.0)]
        return self.carrying.hauling(cells, own)

    def _own(self, state: State, now_s: float) -> dict[int, float]:
        """Part -> N that its own cell reads, the highest of several.  A cell that is silent or beyond
        its capacity does not rule, nor does a haul cell at rest: hands may have left it, so it tells
        nothing of the rope."""
        found: dict[int, float] = {}
        for channel in self.roles.forces:
            track = self.tracks[channel.name]
            rests = channel is self.roles.haul_force and state.force_N is None
            silent = track.value is None or track.stale(now_s, self.recording.began_s)
            if rests or silent or track.saturated:
                continue
            force = max(0.0, float(np.mean(track.recent(MEAN_S))))
            for k in self._measures[channel.name]:
                found[k] = max(force, found.get(k, 0.0))
        return found

    def tell(self, board: Board, found: Carried | None) -> None:
        """`s:k`: tension of strands in rope order, N; `u:k`: as `nearest`; `own`, `most`: which of these
        parts their own cell measures, and which carry at most that; found None: nothing is known now."""
        # a strand that the model leaves without tension is not shown as having none
        strands = [] if found is None else [
            sig(float(t), 3) if t > 1e-6 else None for t in found.strand_N
        ]  # fmt: skip
        for k in range(0, len(self.known.rig.strands), STRANDS_A_PART):
            board.set(f"s:{k // STRANDS_A_PART}", strands[k : k + STRANDS_A_PART])
        board.set("how", None if found is None else found.how.text())
        for k in range(NEAREST):
            board.set(f"u:{k}", nearest(found, k))
        uses = [] if found is None else found.uses[:NEAREST]
        for key, by in (("own", CELL), ("most", MOST)):
            board.set(key, [one_line(use.name, 40) for use in uses if use.by == by])

    def drawing(self, stands: Floats, width: int, units: str = "metric") -> str:
        """The rig as SVG with its bodies at `stands` (bodies,), this many pixels wide."""
        from dashboard.rig_drawing.drawing import drawing

        texts = [PLACE[units]] * len(self.known.rig.strands)
        return drawing(self.known.rig, stands, self.known.ideal_tension, texts, width=width)

    def _cells(self, now_s: float) -> list[tuple[str, float]]:
        """(place, N) of each force cell that speaks, mean over a quarter of a second."""
        found = []
        for channel in self.roles.forces:
            track = self.tracks[channel.name]
            if track.value is not None and not track.stale(now_s, self.recording.began_s):
                found.append((channel.at, float(np.mean(track.recent(MEAN_S)))))
        return found


def nearest(found: Carried | None, k: int = 0) -> list[Any] | None:
    """[part, force N, limit N, share] of the part that is k-th nearest to its limit."""
    if found is None or k >= len(found.uses):
        return None
    use = found.uses[k]
    return [one_line(use.name, 40), sig(use.force_N, 3), sig(use.limit_N, 3), sig(use.share, 3)]
