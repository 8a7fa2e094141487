"""A session read once, with all that was made of it on the way to its review.

Reports, comparisons and the gear record need more than the object of interface section 6: the
readings behind it, the model's parts, the uncertainty budgets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.across import load_from
from analysis.analyser import Analyser
from analysis.bodies import Rig
from analysis.efficiency import Estimates
from analysis.later_rig import rigs_of
from analysis.predict import Model, model
from analysis.result import Result
from analysis.review import OfRig, review_all
from analysis.rig import load_rig, parse_rig
from analysis.roles import roles
from logger.session_types import Block, SessionInfo


@dataclass(frozen=True, eq=False)
class Whole:
    """One session: what its folder says, its readings, and what follows.

    review: the object of interface section 6, the same as `review_session` gives; parts: one for
    each rig that was hauled with; rig, known, found: those of the part that the review shows.
    """

    info: SessionInfo
    block: Block
    result: Result
    review: dict[str, Any]
    parts: tuple[OfRig, ...]
    main: OfRig

    @property
    def rig(self) -> Rig:
        return self.main.rig

    @property
    def known(self) -> Model:
        return self.main.known

    @property
    def found(self) -> Estimates:
        """The quantities of the review with their budgets."""
        return self.main.found


def whole_session(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> Whole:
    """Everything of a session folder; rig_path: what if it had been this rig; before: a session
    that tells the load's force.  Raises SessionFault, RigFault or SensorsFault in one line.
    """
    from logger.session import open_session, read_all

    info = open_session(path)
    load = load_from(before) if before is not None else None
    rig = parse_rig(info.rig_text, str(info.rig_file)) if rig_path is None else load_rig(rig_path)
    known = model(rig)
    later = rigs_of(info.path, info.sensors) if rig_path is None else None
    analyser = Analyser.of(roles(rig, info.sensors, known), later)
    block = read_all(path)
    analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
    result = analyser.result()
    more = [f"{block.malformed} torn or unreadable rows left out"] if block.malformed else []
    found = review_all(info, rig, result, known, more, load)
    return Whole(info, block, result, found.json, found.parts, found.main)
