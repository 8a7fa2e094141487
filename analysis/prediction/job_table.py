"""Makes the table of a job, one row a stroke: what ends it, which grabs are reset, the haul force.

With a body beside the haul axis, the angles of the strands and the haul force grow as the load comes
near; so the model is solved again at the end of every stroke.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.mechanics.kinematics import directions
from analysis.mechanics.model import Model, model, reset_setbacks
from analysis.mechanics.travel import Job, PlannedStroke, job
from analysis.rig.rig import Floats, Rig


@dataclass(frozen=True)
class StrokeRow:
    """One stroke of the job."""

    number: int  # from 1
    load_m: float  # load travel since the start, net of setbacks
    haul_m: float  # rope hauled since the start
    two_blocked: tuple[str, ...]  # the two bodies that end it; empty: the job is done
    reset: tuple[str, ...]  # grabs slid back after it
    setback_m: float  # load travel lost at the reset
    haul_N: float | None  # haul force at its end; None: not known
    haul_u_N: float | None  # its standard uncertainty
    steepest_deg: float  # largest angle of a strand to the haul axis at its end


def job_table(rig_model: Model, mode: str) -> tuple[tuple[StrokeRow, ...], Job]:
    """The rows of a job, and the job; mode: "each" or "together" (interface section 5)."""
    rig = rig_model.rig
    done = job(rig, mode, reset_setbacks(rig_model))
    slanted = bool(np.any(rig.side_m != 0.0))
    rows: list[StrokeRow] = []
    load = haul = 0.0
    for item in done.steps:
        if isinstance(item, PlannedStroke):
            load, haul = load + item.load_m, haul + item.haul_m
            force, u, angle = rig_model.haul_force_N, rig_model.haul_force_u_N, 0.0
            if slanted:
                force, u, angle = _there(rig, item.end)
            rows.append(
                StrokeRow(
                    number=len(rows) + 1,
                    load_m=load,
                    haul_m=haul,
                    two_blocked=item.stopped_by,
                    reset=(),
                    setback_m=0.0,
                    haul_N=force,
                    haul_u_N=u,
                    steepest_deg=angle,
                )
            )
        elif rows:
            load -= item.setback_m
            last = rows[-1]
            rows[-1] = StrokeRow(
                number=last.number, load_m=last.load_m, haul_m=last.haul_m, two_blocked=last.two_blocked,
                reset=tuple(name for name, _, _ in item.slid), setback_m=item.setback_m,
                haul_N=last.haul_N, haul_u_N=last.haul_u_N, steepest_deg=last.steepest_deg,
            )  # fmt: skip
    return tuple(rows), done


def steepest_deg(rig: Rig, x_m: Floats) -> float:
    """Largest angle of a strand between two bodies to the haul axis, degrees; x_m: positions, (bodies,)."""
    k, _, _ = rig.ends
    toward = np.abs(directions(rig, x_m)[k])
    angles = np.degrees(np.arctan2(toward[:, 1], toward[:, 0]))
    return float(np.max(angles[np.any(toward > 0, axis=1)], initial=0.0))


def _there(rig: Rig, x_m: Floats) -> tuple[float | None, float | None, float]:
    """Haul force, N, its standard uncertainty, N, and the largest strand angle, degrees, at x_m, (bodies,)."""
    angle = steepest_deg(rig, x_m)
    try:
        there = model(rig, x_m)
    except np.linalg.LinAlgError:
        return None, None, angle
    force = there.haul_force_N
    if force is None or not math.isfinite(force) or force <= 0:
        return None, None, angle
    return force, there.haul_force_u_N, angle
