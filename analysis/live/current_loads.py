"""Computes the force that the load last needed, and the forces on strands and parts now."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.live.channel_track import Track
from analysis.live.haul_state import MEAN_S, State
from analysis.live.inferred_loads import RigLoadInference, RigLoads
from analysis.live.recorder_status import RecorderWatch
from analysis.mechanics.measured_parts import measured_parts
from analysis.mechanics.model import Model
from analysis.signals.channel_roles import Roles

HELD = frozenset({"held", "reset", "back"})  # states in which captures alone may hold the load
AT_REST = HELD | {"rest", "loose", "hold", "ease", "lower", "tension", "nodata"}


class CurrentLoads:
    """Forces in one session now, from its cells and from the estimate of the load force.

    roles: of the session's channels.
    tracks: readings by channel.
    recording: the recorder's status.
    model: of the rig as it stands now.
    inference: forces on its parts from those at its cells.
    last_N: mean haul force of the last haul stroke; None before the first.
    """

    def __init__(
        self, roles: Roles, tracks: Mapping[str, Track], recording: RecorderWatch, model: Model
    ) -> None:
        self.roles, self.tracks, self.recording = roles, tracks, recording
        self.change_rig(model)
        self.last_N: float | None = None
        self._load_N: float | None = model.load_force_N
        self._by_cell = False
        self._frictionless_N: float | None = None  # haul force of the last stroke x ideal MA

    def change_rig(self, model: Model) -> None:
        """Use this model from now on: of another rig, or of the rig with its bodies elsewhere."""
        self.model, self.inference = model, RigLoadInference(model)
        self._measures = {c.name: measured_parts(model, c.at) for c in self.roles.forces}

    def take_estimate(
        self, last_N: float | None, load_N: float | None, by_cell: bool, this_rig: bool
    ) -> None:
        """Take the latest estimate.

        last_N: mean haul force of the last stroke; load_N: load force; by_cell: whether the load force was
        measured independently of the rig file; this_rig: whether the rig in use made the last stroke.
        """
        self.last_N = last_N or self.last_N
        if last_N and this_rig:
            self._frictionless_N = last_N * self.model.ideal_ma
        self._load_N = self._load_N if load_N is None else load_N
        self._by_cell = by_cell and load_N is not None

    def needed_N(self, now_s: float) -> float | None:
        """The force that the load last needed, N; None before any stroke.

        The highest of the cells at the load and the measured load force, or else of the frictionless
        value from the haul force.
        """
        needs = [force for at, force in self._cells(now_s) if at == "load"]
        if self._by_cell and self._load_N is not None:
            needs.append(self._load_N)
        elif self._frictionless_N is not None:
            needs.append(self._frictionless_N)
        return max(needs, default=None)

    def held_N(self, state: State, now_s: float) -> float | None:
        """The most that a capture which may hold the load carries, N, frictionless.

        From the force that the load last needed; None while the team holds the load.
        """
        shares = [h.ideal for h in self.model.held if h.ideal is not None]
        needed = self.needed_N(now_s)
        if state.code not in HELD or not shares or needed is None:
            return None
        return max(shares) * needed / self.model.ideal_ma

    def carried(self, state: State, now_s: float) -> RigLoads | None:
        """The forces on strands and parts in this state; None where no cell allows to infer them."""
        own = self._own(state, now_s)
        if state.code in AT_REST:
            return self.inference.needed(self.needed_N(now_s), state.code, state.force_N, own)
        cells = self._cells(now_s)
        if state.code in ("before", "nocell"):  # a haul cell at rest gives no force elsewhere
            cells = [cell for cell in cells if self.inference.gain(cell[0]) != (1.0, 1.0)]
        return self.inference.hauling(cells, own)

    def _own(self, state: State, now_s: float) -> dict[int, float]:
        """Index into the model's parts -> force that the part's own cell reads, N; the highest of several.

        A cell that is silent or beyond its capacity is left out.  So is a haul cell at rest: hands may
        have left it, so it does not measure the rope.
        """
        forces: dict[int, float] = {}
        for channel in self.roles.forces:
            track = self.tracks[channel.name]
            rests = channel is self.roles.haul_force and state.force_N is None
            if rests or track.saturated or not self._has_reading(track, now_s):
                continue
            force = max(0.0, float(np.mean(track.recent(MEAN_S))))
            for k in self._measures[channel.name]:
                forces[k] = max(force, forces.get(k, 0.0))
        return forces

    def _cells(self, now_s: float) -> list[tuple[str, float]]:
        """(place, force N) of each force cell with a recent reading, mean over MEAN_S."""
        tracks = ((channel.at, self.tracks[channel.name]) for channel in self.roles.forces)
        return [
            (at, float(np.mean(track.recent(MEAN_S))))
            for at, track in tracks if self._has_reading(track, now_s)
        ]  # fmt: skip

    def _has_reading(self, track: Track, now_s: float) -> bool:
        """Whether the track has a reading that is not overdue."""
        return track.value is not None and not track.stale(now_s, self.recording.began_s)
