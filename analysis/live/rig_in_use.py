"""Tracks which rig is in use in a growing session, and where its bodies stand."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from analysis.mechanics.model import Model, model
from analysis.rig.rig import Floats, Rig
from analysis.rig_file.load import load_rig
from analysis.signals.channel_roles import check_places
from logger.channels.channel import Sensors
from logger.errors import UserFault

# how far a body moves until drawing and forces are computed again; common practice, no source
MOVED_M = 0.4


class RigInUse:
    """The rig in use.

    rig, model: with the bodies where the rig file has them.
    changed: whether the rig was changed since the session began; the positions of its bodies are then
        unknown.
    from_s: time from which it is in use, s of the session.
    stands_m: positions of the bodies, (bodies,), m from the anchor.
    drawing: number that rises whenever the rig must be drawn again.
    """

    def __init__(self, rig: Rig, rig_model: Model) -> None:
        self.rig, self.model = rig, rig_model
        self.changed, self.from_s = False, -np.inf
        self.stands_m: Floats = rig.start_m
        self.drawing = 1
        self._beside = any(body.y_m for body in rig.bodies)

    def change(self, folder: Path, name: str, sensors: Sensors, time_s: float) -> Model | None:
        """Switch to the rig file `name` of the session's folder at time_s.

        Returns the model of the new rig; None where the file cannot be used.
        """
        self.changed = True
        if not re.fullmatch(r"rig-[0-9]{1,6}\.toml", name):
            return None
        try:
            rig = load_rig(folder / name)
            check_places(rig, sensors)
            other = model(rig)
        except (UserFault, np.linalg.LinAlgError):
            return None  # the recorder accepted the file, so it was changed since
        self.rig, self.model, self.from_s = rig, other, time_s
        self.stands_m = rig.start_m
        self.drawing += 1
        return other

    def move(self, x_m: Floats | None) -> Model | None:
        """Set the positions of the bodies, x_m, (bodies,), m from the anchor; None: unknown.

        Returns the rig's model at these positions where it differs from the last one, else None.
        """
        if self.changed or x_m is None or float(np.max(np.abs(x_m - self.stands_m))) < MOVED_M:
            return None
        self.stands_m = x_m
        self.drawing += 1
        if not self._beside:
            return None
        try:
            return model(self.rig, x_m)
        except np.linalg.LinAlgError:
            return None  # the rig locks up there: the last model stays
