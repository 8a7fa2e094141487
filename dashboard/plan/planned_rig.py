"""Reads the rigs of a plan page from their files and solves them.

A file is read again where it has changed. The model is solved for each pulley efficiency that the
page asks for. The frames of the job do not depend on the efficiency: they are computed once for
each reading of the file.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.mechanics.load_cases import Condition, conditions
from analysis.mechanics.model import Model, model, reset_setbacks
from analysis.mechanics.travel import job
from analysis.mechanics.what_if import what_if
from analysis.messages.message import Message, message
from analysis.prediction.job_frames import JobFrames, job_frames
from analysis.prediction.job_limits import LATER, highest_uses, job_models, stop_levels
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig
from logger.errors import UserFault

MODES = ("each", "together")  # grabs reset one at a time, or all at once
# codes of the prediction's warnings that `over_limit` gives for every condition of the job
OVER_CODES = frozenset(
    {
        "part_over_limit",
        "part_over_limit_on_the_way",
        "part_over_limit_in",
        "capture_over_limit",
    }
)
MOST_MODELS = 60  # pulley efficiencies whose model is kept: all positions of the page's slider


@dataclass(frozen=True)
class PartRow:
    """One strand or element in all conditions of the job, for the table of gear."""

    name: str  # of the strand or element
    kind: str  # strand, pulley, grab, capture, edge, plate, gear, ...
    on: str  # the body that it hangs on or holds; "": none
    ideal: float  # tension or force while hauling without friction, for a haul tension of 1
    model: float  # the same with friction
    force_N: tuple[float | None, ...]  # force in each condition; None: not known
    use: tuple[float | None, ...]  # share of the limit in each condition; None: not known
    worst: float | None  # the greatest use over the whole job; None: not known
    worst_in: str  # name of the condition of the greatest use; "": none
    limit_N: float | None  # allowed force; None: unrated
    reached_at_N: float | None  # lowest haul force that brings it to its limit in any condition
    why: Message | None  # where the limit comes from
    item: str  # label of the piece of gear; "": none


class PlannedRig:
    """A rig file and what is computed from it.  Safe for several threads.

    The first reading raises UserFault where the file is at fault; after a later one `fault` holds
    the fault as one line, "" where there is none.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._lock = threading.RLock()
        self.version = 0  # rises with every reading of the file
        self.fault = ""
        self._set_rig(load_rig(self.path))

    def _set_rig(self, rig: Rig) -> None:
        """Show this rig; everything computed from the one before is dropped."""
        self.rig = rig
        self.fault = ""
        self.version += 1
        self._predicted: tuple[dict[str, Any], tuple[Message, ...]] | None = None
        self._models: dict[float | None, Model] = {}
        self._job_frames: dict[str, JobFrames] = {}
        # of the model that was asked for last
        self._conditions: tuple[Model, tuple[Condition, ...]] | None = None
        self._stamp = self._file_stamp()

    def _file_stamp(self) -> tuple[int, int] | None:
        """Time of change (ns) and size (bytes) of the file; None: there is no such file."""
        try:
            status = self.path.stat()
        except OSError:
            return None
        return status.st_mtime_ns, status.st_size

    def refresh(self) -> None:
        """Read the file again where it has changed."""
        with self._lock:
            if self._file_stamp() == self._stamp and not self.fault:
                return
            try:
                self._set_rig(load_rig(self.path))
            except UserFault as fault:
                self.fault = str(fault)
                self.version += 1

    def prediction(self) -> dict[str, Any]:
        """The JSON of `haul predict` for the file as it is."""
        return self._prediction()[0]

    def warnings(self) -> tuple[Message, ...]:
        """The warnings of `haul predict` for the file as it is."""
        return self._prediction()[1]

    def _prediction(self) -> tuple[dict[str, Any], tuple[Message, ...]]:
        with self._lock:
            if self._predicted is None:
                self._predicted = prediction(self.rig)
            return self._predicted

    def model(self, e: float | None = None) -> Model:
        """The model at the start of the job.  e: efficiency of every pulley; None: the file's own."""
        with self._lock:
            if e not in self._models:
                if len(self._models) >= MOST_MODELS:
                    self._models.clear()
                self._models[e] = model(what_if(self.rig, e))
            return self._models[e]

    def conditions(self, e: float | None = None) -> tuple[Condition, ...]:
        """Forces while hauling, breaking away, holding and running back.  e: as in `model`."""
        with self._lock:
            rig_model = self.model(e)
            if self._conditions is None or self._conditions[0] is not rig_model:
                self._conditions = (rig_model, conditions(rig_model))
            return self._conditions[1]

    def model_at(self, e: float | None, x_m: Any) -> Model | None:
        """The model with the bodies at x_m (bodies,); None where the rig jams there.  e: as in
        `model`."""
        try:
            return model(what_if(self.rig, e), x_m)
        except np.linalg.LinAlgError:
            return None

    def job_frames(self, mode: str) -> JobFrames:
        """The frames of the job.  mode: one of MODES."""
        with self._lock:
            if mode not in self._job_frames:
                done = job(self.rig, mode, reset_setbacks(self.model()))
                self._job_frames[mode] = job_frames(self.rig, done)
            return self._job_frames[mode]


def part_rows(rig_model: Model, in_conditions: Sequence[Condition]) -> list[PartRow]:
    """Strands and elements in these conditions: the one nearest its limit first, then the unrated
    ones, the greatest force first."""
    rows = []
    models = job_models(rig_model.rig)
    highest, levels = highest_uses(models), stop_levels(models)
    for k, piece in enumerate(rig_model.parts):
        cells = [c.rows[k] if c.rows else None for c in in_conditions]
        uses = tuple(None if c is None else c.use for c in cells)
        most = highest.get(k)
        rating = rig_model.rig.ratings.get(piece.name)
        rows.append(
            PartRow(
                name=piece.name,
                kind=piece.kind,
                on=piece.on,
                ideal=abs(piece.ideal),
                model=abs(piece.model),
                force_N=tuple(
                    None if c is None or c.force_N is None else abs(c.force_N) for c in cells
                ),
                use=uses,
                worst=None if most is None else most.use,
                worst_in="" if most is None else most.condition + (LATER if most.later else ""),
                limit_N=piece.limit_N,
                reached_at_N=levels[k].level_N if k in levels else None,
                why=piece.why,
                item=rating.item if rating else "",
            )
        )
    return sorted(rows, key=_rank)


def _rank(row: PartRow) -> tuple[bool, float, float]:
    """Sorts rated rows first, then by share of the limit, then by force, both falling."""
    share = row.worst
    if share is None and row.limit_N is not None:
        share = row.model / row.limit_N
    return row.limit_N is None, -(share or 0.0), -row.model


def over_limit(rows: Sequence[PartRow]) -> list[Message]:
    """A warning for each row whose force exceeds its limit, with the condition in which it does."""
    return [
        message(
            "part_over_limit_while", name=row.name, use=row.worst, condition=row.worst_in,
            limit_N=row.limit_N, why=row.why,
        )
        for row in rows if row.worst is not None and row.worst > 1
    ]  # fmt: skip


def travel_warnings(planned: PlannedRig) -> list[Message]:
    """The prediction's warnings on travel and rope: those that neither the model nor `over_limit`
    gives."""
    own = planned.model().warnings
    return [one for one in planned.warnings() if one not in own and one.code not in OVER_CODES]


def hardware(rig: Rig) -> str:
    """The hardware in words: "4 pulleys, 2 grabs, 1 capture, 1 rope"."""
    kinds = [s.kind for s in rig.stations]
    plates = sum(b.kind == "plate" for b in rig.bodies)
    anchors = sum(b.kind == "further_anchor" for b in rig.bodies)
    counts = [
        (kinds.count("pulley"), "pulley"), (kinds.count("grab"), "grab"),
        (kinds.count("capture"), "capture"), (kinds.count("edge"), "edge"), (plates, "plate"),
        (anchors, "further anchor"), (len(rig.gears), "piece of gear"), (len(rig.ropes), "rope"),
    ]  # fmt: skip
    return ", ".join(_many(n, word) for n, word in counts if n)


def _many(n: int, word: str) -> str:
    plural = {"piece of gear": "pieces of gear"}.get(word, word + "s")
    return f"{n} {word if n == 1 else plural}"
