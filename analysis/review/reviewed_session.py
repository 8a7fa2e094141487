"""A session read once, with all that was made of it on the way to its review.

Reports, comparisons and the gear record need more than the object of interface section 6: the
readings behind it, the model's parts, the uncertainty budgets.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.efficiency.estimate import Estimates
from analysis.mechanics.model import Model
from analysis.review.review import RigReview, Reviewed, read_and_review
from analysis.rig.rig import Rig
from analysis.strokes.result import Result
from logger.session.records import Block, SessionInfo


@dataclass(frozen=True, eq=False)
class Whole:
    """One session: what its folder says, its readings, and what follows.

    parts: one for each rig that was hauled with; rig, known, found: those of the part that the
    review shows.
    """

    info: SessionInfo
    block: Block
    result: Result
    reviewed: Reviewed

    @property
    def review(self) -> dict[str, Any]:
        """The object of interface section 6, the same as `review_session` gives."""
        return self.reviewed.json

    @property
    def parts(self) -> tuple[RigReview, ...]:
        return self.reviewed.parts

    @property
    def main(self) -> RigReview:
        return self.reviewed.main

    @property
    def rig(self) -> Rig:
        return self.main.rig

    @property
    def rig_model(self) -> Model:
        return self.main.rig_model

    @property
    def estimates(self) -> Estimates:
        """The quantities of the review with their budgets."""
        return self.main.estimates


def whole_session(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> Whole:
    """Everything of a session folder; rig_path: what if it had been this rig; before: a session
    that tells the load's force.  Raises SessionFault, RigFault or SensorsFault in one line.
    """
    info, block, result, review = read_and_review(path, rig_path, before)
    return Whole(info, block, result, review)
