"""The rigs that a plan page shows: read from their files, read again when asked, answers kept.

What depends on the pulleys is solved anew for every efficiency asked for; the way of the job does
not depend on it and is worked out once a file.
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
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from analysis.rig_file.load import load_rig
from logger.errors import UserFault

MODES = ("each", "together")
# what `over` says for every condition of the job
OVER = frozenset({"part_over_limit", "part_over_limit_on_the_way", "capture_over_limit"})
KEPT = 60  # efficiencies whose answer is kept: a slider's whole way


@dataclass(frozen=True)
class PartRow:
    """One strand or element of the gear table.

    ideal, model: force while hauling for a haul tension of 1; force_N, use: in each condition of
    `conditions`, None where not known; worst: the greatest use, in condition `worst_in`.
    reached_at_N: haul tension at which the limit is reached, without friction.
    """

    name: str
    kind: str
    on: str
    ideal: float
    model: float
    force_N: tuple[float | None, ...]
    use: tuple[float | None, ...]
    worst: float | None
    worst_in: str
    limit_N: float | None
    reached_at_N: float | None
    why: Message | None
    item: str


class Planned:
    """One rig file.  Raises UserFault where it cannot be read at first; later `fault` says so in a line."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._lock = threading.RLock()
        self.version = 0
        self.fault = ""
        self._take(load_rig(self.path))

    def _take(self, rig: Rig) -> None:
        self.rig = rig
        self.fault = ""
        self.version += 1
        self._predicted: tuple[dict[str, Any], tuple[Message, ...]] | None = None
        self._models: dict[float | None, Model] = {}
        self._stories: dict[str, JobFrames] = {}
        self._found: tuple[Model, tuple[Condition, ...]] | None = (
            None  # of the last model asked for
        )
        self._stamp = self._seen()

    def _seen(self) -> tuple[int, int] | None:
        try:
            found = self.path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size

    def refresh(self) -> None:
        """Read the file again where it has changed."""
        with self._lock:
            if self._seen() == self._stamp and not self.fault:
                return
            try:
                self._take(load_rig(self.path))
            except UserFault as fault:
                self.fault = str(fault)
                self.version += 1

    def base(self) -> dict[str, Any]:
        """The JSON of `haul predict` for the file as it is."""
        return self._prediction()[0]

    def warnings(self) -> tuple[Message, ...]:
        """What `haul predict` warns of for the file as it is."""
        return self._prediction()[1]

    def _prediction(self) -> tuple[dict[str, Any], tuple[Message, ...]]:
        with self._lock:
            if self._predicted is None:
                self._predicted = prediction(self.rig)
            return self._predicted

    def model(self, e: float | None = None) -> Model:
        with self._lock:
            if e not in self._models:
                if len(self._models) >= KEPT:
                    self._models.clear()
                self._models[e] = model(what_if(self.rig, e))
            return self._models[e]

    def conditions(self, e: float | None = None) -> tuple[Condition, ...]:
        with self._lock:
            known = self.model(e)
            if self._found is None or self._found[0] is not known:
                self._found = (known, conditions(known))
            return self._found[1]

    def at(self, e: float | None, x_m: Any) -> Model | None:
        """The model with the bodies at x_m, None where the rig locks up there."""
        try:
            return model(what_if(self.rig, e), x_m)
        except np.linalg.LinAlgError:
            return None

    def story(self, mode: str) -> JobFrames:
        with self._lock:
            if mode not in self._stories:
                done = job(self.rig, mode, reset_setbacks(self.model()))
                self._stories[mode] = job_frames(self.rig, done)
            return self._stories[mode]


def part_rows(known: Model, found: Sequence[Condition]) -> list[PartRow]:
    """Strands and elements in all these conditions, the one nearest its limit first, then the unrated by
    force."""
    rows = []
    for k, part in enumerate(known.parts):
        cells = [c.rows[k] if c.rows else None for c in found]
        forces = tuple(None if c is None or c.force_N is None else abs(c.force_N) for c in cells)
        uses = tuple(None if c is None else c.use for c in cells)
        worst, where = None, ""
        for use, condition in zip(uses, found, strict=True):
            if use is not None and (worst is None or use > worst + 1e-12):
                worst, where = use, condition.name
        limit = part.limit_N
        reached = None if limit is None or abs(part.ideal) < 1e-9 else limit / abs(part.ideal)
        rating = known.rig.ratings.get(part.name)
        rows.append(
            PartRow(name=part.name, kind=part.kind, on=part.on, ideal=abs(part.ideal), model=abs(part.model), force_N=forces, use=uses,
                    worst=worst, worst_in=where, limit_N=limit, reached_at_N=reached, why=part.why, item=rating.item if rating else "")
        )  # fmt: skip

    def rank(row: PartRow) -> tuple[bool, float, float]:
        share = row.worst
        if share is None and row.limit_N is not None:
            share = row.model / row.limit_N
        return row.limit_N is None, -(share or 0.0), -row.model

    return sorted(rows, key=rank)


def over(rows: Sequence[PartRow]) -> list[Message]:
    """What would carry more than it is allowed to, and when."""
    return [
        message(
            "part_over_limit_while", name=row.name, use=row.worst, condition=row.worst_in,
            limit_N=row.limit_N, why=row.why,
        )
        for row in rows if row.worst is not None and row.worst > 1
    ]  # fmt: skip


def travel_warnings(planned: Planned) -> list[Message]:
    """What `predict` warns of beyond the model's own: the way, the rope."""
    own = planned.model().warnings
    return [one for one in planned.warnings() if one not in own and one.code not in OVER]


def counted(rig: Rig) -> str:
    """The hardware in words: "4 pulleys, 2 grabs, 1 capture, 1 rope"."""
    kinds = [s.kind for s in rig.stations]
    plates = sum(b.kind == "plate" for b in rig.bodies)
    anchors = sum(b.kind == "further_anchor" for b in rig.bodies)
    found = [
        (kinds.count("pulley"), "pulley"), (kinds.count("grab"), "grab"),
        (kinds.count("capture"), "capture"), (kinds.count("edge"), "edge"), (plates, "plate"),
        (anchors, "further anchor"), (len(rig.gears), "piece of gear"), (len(rig.ropes), "rope"),
    ]  # fmt: skip
    return ", ".join(_many(n, word) for n, word in found if n)


def _many(n: int, word: str) -> str:
    plural = {"piece of gear": "pieces of gear"}.get(word, word + "s")
    return f"{n} {word if n == 1 else plural}"
