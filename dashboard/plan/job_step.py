"""One step of the job as the plan page shows it: drawing, what happens, where everything stands."""

from __future__ import annotations

from typing import Any

from analysis.mechanics.model import Model
from analysis.prediction.job_frames import Frame
from dashboard.plan.planned_rig import Planned
from dashboard.plan.tables import tension
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.units import Units, number

LOCKED = "the rig locks up here: the model has no force for it"


def frame_answer(
    planned: Planned, mode: str, index: int, e: float | None, shown: Units, labels: str, width: int
) -> dict[str, Any]:
    """{"svg", "text", "more", "of", "thinned"}: all plain text but the SVG, whose names are escaped."""
    told = planned.story(mode)
    frame = told.frames[index]
    known = planned.at(e, frame.x_m)
    texts = strand_labels(planned, known, shown, labels)
    notes = {} if known is None else _notes(known, shown)
    svg = drawing(planned.rig, frame.x_m, None if known is None else known.tension, texts,
                  width=width, notes=notes)  # fmt: skip
    more = [_way(planned, frame, shown), *_slid(frame, shown)]
    more.append(LOCKED if known is None else _forces(known, shown))
    more.append(_places(planned, frame, shown))
    if labels == "force" and known is not None and known.haul_force_N is None:
        more.append("the haul force is not known: strands are labelled by multiples of it")
    if told.left_out:
        more.append(told.left_out.text(shown))
    return {
        "svg": svg,
        "text": frame.caption.text(shown),
        "kind": frame.kind,
        "more": more,
        "of": len(told.frames),
    }


def strand_labels(planned: Planned, known: Model | None, shown: Units, labels: str) -> list[str]:
    """Each strand's tension: times T, or in force where the haul force is known."""
    if known is None:
        return ["—"] * len(planned.rig.strands)
    if labels == "force" and known.haul_force_N is not None:
        return [shown.force(float(t) * known.haul_force_N) for t in known.tension]
    return [tension(float(t)) for t in known.tension]


def _notes(known: Model, shown: Units) -> dict[str, str]:
    """What pointing at a part tells."""
    notes = {}
    for part in known.parts:
        if part.kind == "strand":
            continue
        text = tension(abs(part.model))
        if known.haul_force_N is not None:
            text += f", {shown.force(abs(part.model) * known.haul_force_N)}"
        allowed = "unrated" if part.limit_N is None else f"allowed {shown.force(part.limit_N)}"
        notes[part.name] = f"{text}; {allowed}"
    return notes


def length(shown: Units, metre: float) -> str:
    """A length on the way, to a centimetre or a tenth of a foot: more would promise too much."""
    unit, size = shown.length_shown.chosen(metre)
    value = metre / size
    return f"{value:.{2 if size == 1.0 else 1}f} {unit}"


def _way(planned: Planned, frame: Frame, shown: Units) -> str:
    whole = planned.rig.load.pull_distance_m
    of = "" if whole is None else f" of {length(shown, whole)}"
    return (
        f"load {length(shown, frame.load_travel_m)}{of}, "
        f"{length(shown, frame.haul_travel_m)} of rope through the hands"
    )


def _slid(frame: Frame, shown: Units) -> list[str]:
    said = []
    if frame.setback_m:
        said.append(f"the load comes back {length(shown, frame.setback_m)} onto the capture")
    said += [
        f"{name} slid from {length(shown, before)} to {length(shown, to)} off the anchor"
        for name, before, to in frame.slid
    ]
    return said


def _forces(known: Model, shown: Units) -> str:
    haul = ""
    if known.haul_force_N is not None:
        haul = f"haul force here {shown.force_pm(known.haul_force_N, known.haul_force_u_N)}, "
    return f"{haul}MA here {number(known.model_ma)}"


def _places(planned: Planned, frame: Frame, shown: Units) -> str:
    rig = planned.rig
    order = sorted(range(len(rig.bodies)), key=lambda b: float(frame.x_m[b]))
    said = []
    for b in order:
        body = rig.bodies[b]
        beside = f" ({length(shown, body.y_m)} beside the axis)" if body.y_m else ""
        said.append(f"{body.name} at {length(shown, float(frame.x_m[b]))}{beside}")
    return "from the anchor: " + ", ".join(said)
