"""Tracks which rig is in use in a growing session, and where its bodies stand."""

from __future__ import annotations

import numpy as np

from analysis.mechanics.model import Model, model
from analysis.rig.rig import Floats, Rig
from analysis.signals.channel_roles import Roles
from analysis.strokes.rig_changes import Loader, check_same
from logger.errors import UserFault
from logger.session.descriptor import RIG

# how far a body moves until drawing and forces are computed again; common practice, no source
MOVED_M = 0.4


class RigInUse:
    """The rig in use.

    rig, model: with the bodies where the rig file has them.
    file: name of its file in the session's folder.
    changed: whether the rig was changed since the session began.
    from_s: time from which it is in use, s of the session.
    stands_m: positions of the bodies, (bodies,), m from the anchor.
    drawing: number that rises whenever the rig must be drawn again.
    """

    def __init__(self, rig: Rig, rig_model: Model) -> None:
        self.rig, self.model, self.file = rig, rig_model, RIG
        self.changed, self.from_s = False, -np.inf
        self.stands_m: Floats = rig.start_m
        self.drawing = 1

    def change(self, load: Loader, first: Roles, name: str, time_s: float) -> Model | None:
        """Switch at time_s to the rig that a `rig` event names.

        load: reads a rig file of the session; first: roles of the channels in the session's first rig, which the
        new rig must keep.  Returns the model of the new rig; None where the file cannot be used: the strokes
        then go on with the earlier rig.
        """
        self.changed = True
        try:
            rig, its_roles = load(name)
            check_same(first, its_roles, name)
            other = model(rig)
        except (UserFault, np.linalg.LinAlgError):
            return None
        self.rig, self.model, self.file, self.from_s = rig, other, name, time_s
        self.stands_m = rig.start_m
        self.drawing += 1
        return other

    def move(self, x_m: Floats | None) -> Model | None:
        """Set the positions of the bodies, x_m, (bodies,), m from the anchor; None: unknown.

        Returns the rig's model at these positions where it differs from the last one, else None.
        """
        if x_m is None or float(np.max(np.abs(x_m - self.stands_m))) < MOVED_M:
            return None
        self.stands_m = x_m
        self.drawing += 1
        if not any(body.y_m for body in self.rig.bodies):
            return None
        try:
            return model(self.rig, x_m)
        except np.linalg.LinAlgError:
            return None  # the rig locks up there: the last model stays
