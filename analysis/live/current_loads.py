"""Works out what the load last needed and what strands and parts carry at this moment."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.live.channel_track import Track
from analysis.live.haul_state import MEAN_S, State
from analysis.live.inferred_loads import Carried, Carrying
from analysis.live.recorder_status import Recording
from analysis.mechanics.measured_parts import measured_parts
from analysis.mechanics.model import Model
from analysis.signals.channel_roles import Roles

HELD = frozenset({"held", "reset", "back"})  # states in which captures alone may hold the load
AT_REST = HELD | {"rest", "loose", "hold", "ease", "lower", "tension", "nodata"}


class CurrentLoads:
    """What cells and estimate tell of the forces in one session.

    roles, tracks, recording: of the session.
    model: of the rig as it stands now.
    last_N: mean haul force of the last haul stroke; None before the first.
    """

    def __init__(
        self, roles: Roles, tracks: Mapping[str, Track], recording: Recording, model: Model
    ) -> None:
        self.roles, self.tracks, self.recording = roles, tracks, recording
        self.change_rig(model)
        self.last_N: float | None = None
        self._load_N: float | None = model.load_force_N
        self._by_cell = False
        self._frictionless_N: float | None = None  # load force of the last stroke, without friction

    def change_rig(self, model: Model) -> None:
        """Go on with this model: another rig, or the bodies elsewhere."""
        self.model, self.carrying = model, Carrying(model)
        self._measures = {c.name: measured_parts(model, c.at) for c in self.roles.forces}

    def hauled(
        self, last_N: float | None, load_N: float | None, by_cell: bool, this_rig: bool
    ) -> None:
        """Take what the estimate says: of the last stroke, of the load, and whether that was measured
        apart from the haul cell; this_rig: whether the stroke was hauled with the rig that is there now."""
        self.last_N = last_N or self.last_N
        if last_N and this_rig:
            self._frictionless_N = last_N * self.model.ideal_ma
        self._load_N = self._load_N if load_N is None else load_N
        self._by_cell = by_cell and load_N is not None

    def needed_N(self, now_s: float) -> float | None:
        """What the load last needed: by a cell that tells it, else frictionless from the haul."""
        needs = [force for at, force in self._cells(now_s) if at == "load"]
        if self._by_cell and self._load_N is not None:
            needs.append(self._load_N)
        elif self._frictionless_N is not None:
            needs.append(self._frictionless_N)
        return max(needs, default=None)

    def held_N(self, state: State, now_s: float) -> float | None:
        """What the captures that may hold carry, at most: what the load last needed, no friction.
        None while the team holds the load."""
        shares = [h.ideal for h in self.model.held if h.ideal is not None]
        needed = self.needed_N(now_s)
        if state.code not in HELD or not shares or needed is None:
            return None
        return max(shares) * needed / self.model.ideal_ma

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
        """Index into the model's parts -> N that the part's own cell reads, the highest of several.  A
        cell that is silent or beyond its capacity does not rule, nor does a haul cell at rest: hands may
        have left it, so it tells nothing of the rope."""
        forces: dict[int, float] = {}
        for channel in self.roles.forces:
            track = self.tracks[channel.name]
            rests = channel is self.roles.haul_force and state.force_N is None
            if rests or track.saturated or not self._speaks(track, now_s):
                continue
            force = max(0.0, float(np.mean(track.recent(MEAN_S))))
            for k in self._measures[channel.name]:
                forces[k] = max(force, forces.get(k, 0.0))
        return forces

    def _cells(self, now_s: float) -> list[tuple[str, float]]:
        """(place, N) of each force cell that speaks, mean over MEAN_S."""
        tracks = ((channel.at, self.tracks[channel.name]) for channel in self.roles.forces)
        return [
            (at, float(np.mean(track.recent(MEAN_S))))
            for at, track in tracks if self._speaks(track, now_s)
        ]  # fmt: skip

    def _speaks(self, track: Track, now_s: float) -> bool:
        return track.value is not None and not track.stale(now_s, self.recording.began_s)
