"""Serves the plan page to this machine alone, through the gate; no request changes a file."""

from __future__ import annotations

import json
import re
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.mechanics.what_if import LEAST_E, MOST_E
from dashboard.plan.job_step import frame_answer
from dashboard.plan.page import page
from dashboard.plan.planned_rig import MODES, PlannedRig
from dashboard.plan.tables import about, comparison, tables, top
from dashboard.plan.wire import FrameAnswer, PlanAnswer, PlannedRigTables
from dashboard.text.units import SYSTEMS, Units
from dashboard.web import assets
from dashboard.web.gate import (
    HTML,
    JSON,
    VIEWER,
    Answer,
    Gate,
    Refused,
    Route,
    WebRequest,
    asked_int,
)
from dashboard.web.listener import FaultLog, Listening

LABELS = ("t", "force")
LEAST_WIDTH, MOST_WIDTH = 320, 1600  # of a drawing, px


@dataclass(frozen=True)
class Asked:
    """What a query asks for, checked."""

    e: float | None  # efficiency of every pulley; None: as in the file
    units: Units  # in which the answer is written
    mode: str  # how grabs are reset, one of MODES
    labels: str  # on the strands of the drawing, one of LABELS


def asked(query: Mapping[str, str]) -> Asked:
    """The query of a request, checked.  Raises Refused."""
    given = query.get("e", "")
    e = None
    if given:
        if not re.fullmatch(r"[01]\.[0-9]{1,4}", given) or not LEAST_E <= float(given) <= MOST_E:
            raise Refused(400, f"e must be a pulley efficiency from {LEAST_E:.2f} to {MOST_E:.2f}")
        e = float(given)
    return Asked(
        e,
        SYSTEMS[_one_of(query, "units", tuple(SYSTEMS))],
        _one_of(query, "mode", MODES),
        _one_of(query, "labels", LABELS),
    )


def _one_of(query: Mapping[str, str], name: str, choices: Sequence[str]) -> str:
    """The query's value, the first choice where it has none.  Raises Refused for another value."""
    value = query.get(name, choices[0])
    if value not in choices:
        raise Refused(400, f"{name} must be " + " or ".join(choices))
    return value


@dataclass(frozen=True)
class Beside:
    """What another page adds to the server of the plan page."""

    routes: tuple[Route, ...] = ()  # its routes
    script_hashes: tuple[str, ...] = ()  # sources of its inline scripts, for the policy
    role_of: Callable[[dict[str, Any]], str | None] = lambda environ: VIEWER  # role of a request


class PlanServer(Listening):
    """Serves the plan page of one rig or of two.

    units: the name of the system of units that the page opens with; port: 0 for any that is free;
    beside: what another page adds to this server.
    """

    def __init__(
        self,
        plans: Sequence[PlannedRig],
        units: str = "metric",
        port: int = 0,
        beside: Beside | None = None,
    ) -> None:
        self.plans, self.units = tuple(plans), units
        beside = Beside() if beside is None else beside
        self.beside = beside
        self.faults = FaultLog()
        super().__init__(self._call, port)
        at = re.compile
        routes = [
            Route("GET", at("/"), self._page),
            Route("GET", at("/plan"), self._plan),
            Route("GET", at("/drawing"), self._drawing),
            assets.route("plan", "rig", "shared"),
            *beside.routes,
        ]
        # no action is offered, so no page receives the token
        self.gate = Gate(
            hosts=self.hosts,
            token=secrets.token_urlsafe(24),
            routes=routes,
            script_hashes=beside.script_hashes,
            log=self.faults,
            role_of=beside.role_of,
        )

    def _call(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        return self.gate(environ, start)

    def _page(self, request: WebRequest) -> Answer:
        for planned in self.plans:
            planned.refresh()
        html = page(self.plans, self.units, bool(self.beside.routes))
        return Answer(200, html.encode("utf-8", "replace"), HTML)

    def _plan(self, request: WebRequest) -> Answer:
        """The contents of every rig, and the comparison where there are two without a fault."""
        want = asked(request.query)
        for planned in self.plans:
            planned.refresh()
        rigs = [_rig(planned, want) for planned in self.plans]
        sound = len(self.plans) == 2 and not any(p.fault for p in self.plans)
        side = comparison(self.plans, want.e, want.mode, want.units) if sound else ""
        return _json(PlanAnswer(rigs=rigs, compare=side))

    def _drawing(self, request: WebRequest) -> Answer:
        """One step of the job.  The page names the version of the file whose steps it shows."""
        want = asked(request.query)
        index, frame = asked_int(request.query, "rig"), asked_int(request.query, "frame")
        width = min(MOST_WIDTH, max(LEAST_WIDTH, asked_int(request.query, "w") or 900))
        if index >= len(self.plans):
            raise Refused(404, "no such rig")
        planned = self.plans[index]
        if planned.fault or str(planned.version) != request.query.get("v", str(planned.version)):
            raise Refused(409, "the file has changed: read it again")
        frames = planned.job_frames(want.mode).frames
        if frame >= len(frames):
            raise Refused(404, "no such step")
        return _json(
            frame_answer(planned, want.mode, frame, want.e, want.units, want.labels, width)
        )


def _rig(planned: PlannedRig, want: Asked) -> PlannedRigTables:
    """The contents of one rig except its drawing; where the file is at fault, the fault alone."""
    answer = PlannedRigTables(
        v=planned.version,
        fault=planned.fault,
        e=_shown_e(planned),
        title="",
        said="",
        top="",
        tables="",
        frames=0,
    )
    if not planned.fault:
        answer["title"] = planned.rig.title or planned.path.name
        answer["said"] = about(planned, want.e)
        answer["top"] = top(planned, want.e, want.units)
        answer["tables"] = tables(planned, want.e, want.units)
        answer["frames"] = len(planned.job_frames(want.mode).frames)
    return answer


def _shown_e(planned: PlannedRig) -> float:
    """The mean efficiency of the rig's pulleys: where the what-if slider stands until it is moved."""
    own = [s.efficiency for s in planned.rig.stations if s.kind == "pulley"]
    return round(min(MOST_E, max(LEAST_E, sum(own) / len(own))), 2) if own else 0.9


def _json(value: PlanAnswer | FrameAnswer) -> Answer:
    return Answer(200, json.dumps(value, ensure_ascii=False).encode("utf-8", "replace"), JSON)
