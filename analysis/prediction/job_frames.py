"""Makes the frames of a job for drawing: body positions from the first pull to the last, with a caption.

Positions come from `analysis.mechanics.travel.job`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mechanics.kinematics import LOAD, TINY, solve_motion
from analysis.mechanics.travel import Job, PlannedReset, PlannedStroke, stroke
from analysis.messages.message import Message, message
from analysis.rig.rig import Floats, Rig

MOST_FRAMES = 400  # memory only: of a page
STEPS = 6  # most frames within one stroke; speed only: no result depends on it
# positions at which the haul rate of a stroke beside the axis is computed; chosen by us: the rate changes
# smoothly, and rope between two positions is interpolated for the frames only
SAMPLES = 48


@dataclass(frozen=True, eq=False)
class Frame:
    """The rig at one moment of the job."""

    kind: str  # start | hauling | two-blocked | reset | end
    x_m: Floats  # (bodies,) positions
    load_travel_m: float  # since the start, net of setbacks
    haul_travel_m: float  # rope hauled since the start
    stroke: int  # its number from 1; 0 before the first
    caption: Message  # what happens
    slid: tuple[tuple[str, float, float], ...] = ()  # grab, from and to, m from the anchor
    setback_m: float = 0.0  # load travel lost here


@dataclass(frozen=True, eq=False)
class JobFrames:
    """The frames of a job."""

    frames: tuple[Frame, ...]  # in order
    left_out: Message | None = None  # how many strokes are shown, if some are left out
    why_not: Message | None = None  # why the frames end before the job is done


def job_frames(rig: Rig, done: Job, most: int = MOST_FRAMES) -> JobFrames:
    """The frames of a job, not many more than `most`; without a stated distance, those of the first stroke.

    Where strokes have to be left out, whole ones are, so that each shown stroke keeps its order:
    hauling, two-blocked, reset.
    """
    items, why_not = done.steps, done.why_not
    if not items:
        try:
            items = (stroke(rig),)
        except np.linalg.LinAlgError:
            items = ()
        if rig.load.pull_distance_m is None:
            why_not = message("first_stroke_only", why=why_not)
    groups = _strokes(items)
    resets = sum(len(r.slid) for _, rest in groups for r in rest)
    steps = max(1, min(STEPS, (most - 2 - resets) // max(1, len(groups))))
    shown, left_out = set(range(len(groups))), None
    size = steps + max((sum(len(r.slid) for r in rest) for _, rest in groups), default=0)
    room = max(2, (most - 2) // size)
    if len(groups) * steps + resets + 2 > most and len(groups) > room:
        picked = np.unique(np.linspace(0, len(groups) - 1, room).round().astype(int))
        shown = {int(k) for k in picked}
        left_out = message("strokes_left_out", shown=len(shown), strokes=len(groups))
    frames = [
        Frame(
            kind="start",
            x_m=rig.start_m,
            load_travel_m=0.0,
            haul_travel_m=0.0,
            stroke=0,
            caption=message("frame_start"),
        )
    ]
    haul = 0.0
    for k, (travel, after) in enumerate(groups):
        if k in shown:
            frames += _hauling(rig, travel, k + 1, haul, steps, after)
        haul += travel.haul_m
        if k in shown:
            for reset in after:
                frames += _resets(rig, frames[-1].x_m, reset, k + 1, haul)
    frames.append(_end(frames[-1], why_not))
    return JobFrames(tuple(frames), left_out, why_not)


def _strokes(
    items: tuple[PlannedStroke | PlannedReset, ...],
) -> list[tuple[PlannedStroke, list[PlannedReset]]]:
    """Each stroke with the resets that follow it."""
    groups: list[tuple[PlannedStroke, list[PlannedReset]]] = []
    for item in items:
        if isinstance(item, PlannedStroke):
            groups.append((item, []))
        else:
            groups[-1][1].append(item)
    return groups


def _hauling(
    rig: Rig,
    travel: PlannedStroke,
    number: int,
    haul_m: float,
    steps: int,
    after: list[PlannedReset],
) -> list[Frame]:
    """Frames of stroke `number`, the last at its end.

    haul_m: rope hauled before it; after: the resets that follow it.
    """
    places, hauled = _along(rig, travel, steps)
    meets = _meets(travel.stopped_by)
    frames = []
    for k, (x, out) in enumerate(zip(places, hauled, strict=True)):
        load = float(rig.start_m[LOAD] - x[LOAD])
        if k < len(places) - 1 or not travel.stopped_by:
            caption, kind = message("frame_hauling", stroke=number), "hauling"
            if meets:
                caption = message("frame_hauling_until", stroke=number, **meets)
        else:
            caption, kind = message("frame_two_blocked", stroke=number, **meets), "two-blocked"
            names = " and ".join(dict.fromkeys(n for r in after for n, _, _ in r.slid))
            if names:
                caption = message("frame_two_blocked_reset", stroke=number, grabs=names, **meets)
        frames.append(
            Frame(
                kind=kind,
                x_m=x,
                load_travel_m=load,
                haul_travel_m=haul_m + out,
                stroke=number,
                caption=caption,
            )
        )
    return frames


def _meets(pair: tuple[str, ...]) -> dict[str, str]:
    """Message values `first` and `second`: the bodies that meet at a stroke's end; empty: the job is done."""
    return dict(zip(("first", "second"), map(_called, pair), strict=False))


def _called(name: str) -> str:
    """The name of a body within a sentence."""
    return f"the {name}" if name in ("anchor", "load") else name


def _along(rig: Rig, travel: PlannedStroke, steps: int) -> tuple[list[Floats], list[float]]:
    """`steps` positions of a stroke, m, (bodies,), at equal load travel, and rope hauled since its beginning, m.

    On the axis both are straight lines; beside it the haul rate is integrated over up to SAMPLES
    positions (trapezoids) and scaled to the stroke's whole haul travel.
    """
    if len(travel.places) > SAMPLES:
        picked = np.linspace(0, len(travel.places) - 1, SAMPLES).round().astype(int)
        places = [travel.places[k] for k in picked]
    else:
        places = list(travel.places)
    travelled = np.array([float(places[0][LOAD] - x[LOAD]) for x in places])
    out = np.zeros(len(places))
    if len(places) > 2:
        try:
            rates = np.array([solve_motion(rig, x).haul_rate for x in places])
        except np.linalg.LinAlgError:
            rates = np.ones(len(places))
        out[1:] = np.cumsum(np.diff(travelled) * (rates[1:] + rates[:-1]) / 2)
        out *= travel.haul_m / out[-1] if out[-1] > TINY else 0.0
    else:
        out[-1] = travel.haul_m
    wanted = np.linspace(0.0, travelled[-1], steps + 1)[1:]
    stacked = np.array(places)
    bodies = [np.interp(wanted, travelled, stacked[:, b]) for b in range(stacked.shape[1])]
    xs = list(np.array(bodies).T)
    xs[-1] = travel.end
    return xs, [float(v) for v in np.interp(wanted, travelled, out)]


def _resets(rig: Rig, x: Floats, reset: PlannedReset, number: int, haul_m: float) -> list[Frame]:
    """One frame for each grab that is slid, from positions x, m, (bodies,); the setback comes first."""
    frames = []
    back = reset.setback_m
    if back > 0:
        x = x - solve_motion(rig, x).body_rate * back
    for k, (name, before, to) in enumerate(reset.slid):
        x = x.copy()
        x[rig.index[name]] = to
        load = float(rig.start_m[LOAD] - x[LOAD])
        lost = back if k == 0 else 0.0
        frames.append(
            Frame(kind="reset", x_m=x, load_travel_m=load, haul_travel_m=haul_m, stroke=number, caption=message("frame_reset", stroke=number, grab=name),
                  slid=((name, before, to),), setback_m=lost)
        )  # fmt: skip
    return frames


def _end(last: Frame, why_not: Message | None) -> Frame:
    """The closing frame, at the positions of the last one."""
    caption = message("frame_end")
    if why_not is not None:
        caption = message("frame_ends_before", why=why_not)
    return Frame(
        kind="end",
        x_m=last.x_m,
        load_travel_m=last.load_travel_m,
        haul_travel_m=last.haul_travel_m,
        stroke=last.stroke,
        caption=caption,
    )
