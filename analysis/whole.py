"""A session read once, with all that was made of it on the way to its review.

Reports, comparisons and the gear record need more than the object of interface section 6: the
readings behind it, the model's parts, the uncertainty budgets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from analysis.analyser import Analyser, Result
from analysis.bodies import Rig
from analysis.efficiency import Estimates, estimate
from analysis.predict import Model, model
from analysis.review import review_from
from analysis.rig import load_rig, parse_rig
from analysis.roles import roles
from logger.session_types import Block, SessionInfo


@dataclass(frozen=True, eq=False)
class Whole:
    """One session: what its folder says, its rig and model, its readings, and what follows.

    review: the object of interface section 6, the same as `review_session` gives.
    """

    info: SessionInfo
    rig: Rig
    known: Model
    block: Block
    result: Result
    review: dict[str, Any]

    @cached_property
    def found(self) -> Estimates:
        """The quantities of the review with their budgets."""
        return estimate(self.rig, self.known, self.result)


def whole_session(path: str | Path, rig_path: str | Path | None = None) -> Whole:
    """Everything of a session folder; rig_path: what if it had been this rig.

    Raises SessionFault, RigFault or SensorsFault in one line.
    """
    from logger.session import open_session, read_all

    info = open_session(path)
    rig = parse_rig(info.rig_text, str(info.rig_file)) if rig_path is None else load_rig(rig_path)
    known = model(rig)
    analyser = Analyser.of(roles(rig, info.sensors, known))
    block = read_all(path)
    analyser.push(block, block.clock[-1].time_s if block.clock else -math.inf)
    result = analyser.result()
    more = [f"{block.malformed} torn or unreadable rows left out"] if block.malformed else []
    return Whole(info, rig, known, block, result, review_from(info, rig, result, known, more))
