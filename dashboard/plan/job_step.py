"""One step of the job for the plan page: the drawing, what happens, where each body is."""

from __future__ import annotations

from analysis.mechanics.model import Model
from analysis.prediction.job_frames import Frame
from dashboard.plan.planned_rig import PlannedRig
from dashboard.plan.tables import tension
from dashboard.plan.wire import FrameAnswer
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.units import Units, number

JAMMED = "the rig jams at this step: the model gives no force"
NO_FORCE = "the strands show multiples of T, because the haul force is not known"


def frame_answer(
    planned: PlannedRig,
    mode: str,
    index: int,
    e: float | None,
    units: Units,
    labels: str,
    width: int,
) -> FrameAnswer:
    """The SVG, whose texts are escaped, and plain texts.

    mode: how grabs are reset, one of MODES; index: of the frame, from 0; e: efficiency of every
    pulley, None for the file's own; labels: on the strands, "t" or "force"; width: of the drawing,
    px.
    """
    frames = planned.job_frames(mode)
    frame = frames.frames[index]
    rig_model = planned.model_at(e, frame.x_m)
    svg = drawing(
        planned.rig,
        frame.x_m,
        None if rig_model is None else rig_model.tension,
        strand_labels(planned, rig_model, units, labels),
        width=width,
        notes={} if rig_model is None else _element_notes(rig_model, units),
    )
    more = [_travel(planned, frame, units), *_reset(frame, units)]
    more.append(JAMMED if rig_model is None else _forces(rig_model, units))
    more.append(_positions(planned, frame, units))
    if labels == "force" and rig_model is not None and rig_model.haul_force_N is None:
        more.append(NO_FORCE)
    if frames.left_out:
        more.append(frames.left_out.text(units))
    return FrameAnswer(
        svg=svg,
        text=frame.caption.text(units),
        kind=frame.kind,
        more=more,
        steps=len(frames.frames),
    )


def strand_labels(
    planned: PlannedRig, rig_model: Model | None, units: Units, labels: str
) -> list[str]:
    """The tension of each strand: a multiple of T, or a force where labels is "force" and the haul
    force is known."""
    if rig_model is None:
        return ["—"] * len(planned.rig.strands)
    if labels == "force" and rig_model.haul_force_N is not None:
        return [units.force(float(t) * rig_model.haul_force_N) for t in rig_model.tension]
    return [tension(float(t)) for t in rig_model.tension]


def _element_notes(rig_model: Model, units: Units) -> dict[str, str]:
    """By element: the text that the drawing shows under the pointer."""
    notes = {}
    for element in rig_model.parts:
        if element.kind == "strand":
            continue
        text = tension(abs(element.model))
        if rig_model.haul_force_N is not None:
            text += f", {units.force(abs(element.model) * rig_model.haul_force_N)}"
        limit_N = element.limit_N
        allowed = "unrated" if limit_N is None else f"allowed {units.force(limit_N)}"
        notes[element.name] = f"{text}; {allowed}"
    return notes


def position(units: Units, length_m: float) -> str:
    """A length, to a centimetre or a tenth of a foot: the model is no more exact."""
    unit, size = units.length_shown.chosen(length_m)
    value = length_m / size
    return f"{value:.{2 if size == 1.0 else 1}f} {unit}"


def _travel(planned: PlannedRig, frame: Frame, units: Units) -> str:
    whole_m = planned.rig.load.pull_distance_m
    goal = "" if whole_m is None else f" of {position(units, whole_m)}"
    return (
        f"load {position(units, frame.load_travel_m)}{goal}, "
        f"{position(units, frame.haul_travel_m)} of rope through the hands"
    )


def _reset(frame: Frame, units: Units) -> list[str]:
    """Setback of the load, and grabs that were slid."""
    lines = []
    if frame.setback_m:
        lines.append(f"the load settles back {position(units, frame.setback_m)} onto the capture")
    lines += [
        f"{name} was slid from {position(units, before_m)} to {position(units, after_m)} off the anchor"
        for name, before_m, after_m in frame.slid
    ]
    return lines


def _forces(rig_model: Model, units: Units) -> str:
    haul = ""
    if rig_model.haul_force_N is not None:
        force = units.force_pm(rig_model.haul_force_N, rig_model.haul_force_u_N)
        haul = f"haul force here {force}, "
    return f"{haul}MA here {number(rig_model.model_ma)}"


def _positions(planned: PlannedRig, frame: Frame, units: Units) -> str:
    """Distance of each body from the anchor, the nearest first."""
    rig = planned.rig
    order = sorted(range(len(rig.bodies)), key=lambda b: float(frame.x_m[b]))
    places = []
    for b in order:
        body = rig.bodies[b]
        beside = f" ({position(units, body.y_m)} beside the axis)" if body.y_m else ""
        places.append(f"{body.name} at {position(units, float(frame.x_m[b]))}{beside}")
    return "from the anchor: " + ", ".join(places)
