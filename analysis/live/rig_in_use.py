"""Follows which rig is in use while a session goes on, and where its bodies stand."""

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

# how far a body moves until drawing and forces are worked out anew; common practice, no source
MOVED_M = 0.4


class RigInUse:
    """The rig that is there now.

    rig, model: with the bodies where its file has them.
    changed: whether it is another than the session began with; where its bodies stand is then not known.
    from_s: since when it is there, s of the session.
    stands_m: where the bodies stand, (bodies,), m from the anchor.
    drawing: counts what has to be drawn anew.
    """

    def __init__(self, rig: Rig, rig_model: Model) -> None:
        self.rig, self.model = rig, rig_model
        self.changed, self.from_s = False, -np.inf
        self.stands_m: Floats = rig.start_m
        self.drawing = 1
        self._beside = any(body.y_m for body in rig.bodies)

    def change(self, folder: Path, name: str, sensors: Sensors, time_s: float) -> Model | None:
        """Take the rig of this file in the session's folder; its model, None where it cannot be read."""
        self.changed = True
        if not re.fullmatch(r"rig-[0-9]{1,6}\.toml", name):
            return None
        try:
            rig = load_rig(folder / name)
            check_places(rig, sensors)
            other = model(rig)
        except (UserFault, np.linalg.LinAlgError):
            return None  # the recorder took it, so this is a file that was changed since
        self.rig, self.model, self.from_s = rig, other, time_s
        self.stands_m = rig.start_m
        self.drawing += 1
        return other

    def move(self, x_m: Floats | None) -> Model | None:
        """Bodies stand here now, (bodies,), None: not known; the rig's model there, where it is another."""
        if self.changed or x_m is None or float(np.max(np.abs(x_m - self.stands_m))) < MOVED_M:
            return None
        self.stands_m = x_m
        self.drawing += 1
        if not self._beside:
            return None
        try:
            return model(self.rig, x_m)
        except np.linalg.LinAlgError:
            return None  # it locks up there: what was worked out last stays
