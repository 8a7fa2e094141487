"""Reads and reviews a session, and keeps the readings, models and budgets behind the review.

Reports, comparisons and the gear record need these besides the object of interface section 6.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.efficiency.estimate import Estimates
from analysis.mechanics.model import Model
from analysis.review.chapters import Chapter
from analysis.review.review import Reviewed, read_and_review
from analysis.rig.rig import Rig
from analysis.strokes.result import Result
from logger.session.records import Block, SessionInfo


@dataclass(frozen=True, eq=False)
class Whole:
    """A whole session: its description, its readings and its review."""

    info: SessionInfo  # description of the session
    block: Block  # all its rows
    result: Result  # of the analyser
    reviewed: Reviewed  # its review

    @property
    def review(self) -> dict[str, Any]:
        """The object of interface section 6, as `review_session` returns it."""
        return self.reviewed.json

    @property
    def chapters(self) -> tuple[Chapter, ...]:
        """The chapters of the session, one for each rig."""
        return self.reviewed.chapters

    @property
    def main(self) -> Chapter:
        """The chapter whose values the review shows for the session."""
        return self.reviewed.main

    @property
    def rig(self) -> Rig:
        """The rig that the review shows."""
        return self.main.rig

    @property
    def rig_model(self) -> Model:
        """The model of this rig."""
        return self.main.rig_model

    @property
    def estimates(self) -> Estimates:
        """The measured quantities of this rig with their budgets."""
        return self.main.estimates


def whole_session(
    path: str | Path, rig_path: str | Path | None = None, before: str | Path | None = None
) -> Whole:
    """Read and review a session folder.

    rig_path: a rig file to use in place of the session's; before: a session that gives the load force.
    Raises SessionFault, RigFault or SensorsFault.
    """
    info, block, result, review = read_and_review(path, rig_path, before)
    return Whole(info, block, result, review)
