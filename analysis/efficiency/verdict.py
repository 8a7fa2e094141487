"""Measured against predicted: En and one sentence that a rigger understands.

A load that comes from the rig file can't tell worse pulleys from ground that resists more.  So the
sentence looks at how the haul force changed: within strokes, the same way each time, or from one
stroke to the next.  Ground that changed is not laid on the pulleys.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.efficiency.uncertainty import Quantity, t_quantile
from analysis.mechanics.model import Model
from analysis.signals.time_cells import Floats
from analysis.strokes.stroke import Stroke

# share of the predicted MA that may be missing before the rig itself is doubted; chosen by us: one pulley
# that drags takes less, as a rule
OTHER_RIG = 0.25
SEEN = 0.04  # share of the force; chosen by us: a smaller change is not told, for nothing follows from it
EXPLAINS = (
    0.5  # of the difference to the prediction, that a change must make to be its likely cause; chosen by us: half
)


@dataclass(frozen=True)
class Change:
    """Changes of a force, or of the advantage, over strokes as shares of its mean: `within` from
    the beginning to the end of a stroke, `between` from the first to the last stroke by a line,
    `spread` largest - least stroke; 0 where they can't be told from scatter."""

    within: float = 0.0
    between: float = 0.0
    spread: float = 0.0

    @property
    def most(self) -> float:
        return max(abs(self.within), abs(self.between), abs(self.spread))


def changes(strokes: list[Stroke], values: Floats | None = None) -> Change:
    """Of the haul force over haul strokes; values (strokes,): of another quantity, between strokes."""
    used = [
        s
        for s in strokes
        if s.direction == "haul" and s.steady is not None and s.steady.force_N[0] > 0
    ]
    if not used or (values is not None and len(values) != len(used)):
        return Change()
    mean = np.array([s.steady.force_N[0] for s in used if s.steady is not None])
    whole = float(np.mean(mean))
    slopes = np.array([_within(s) for s in used])
    slopes = slopes[np.isfinite(slopes)]
    within = 0.0
    if len(slopes) > 1:
        u = float(np.std(slopes, ddof=1)) / math.sqrt(len(slopes))
        if abs(slopes.mean()) > max(SEEN, t_quantile(len(slopes) - 1) * u):
            within = float(slopes.mean())
    elif len(slopes) == 1:
        facts = used[0].facts
        sure = abs(facts.drift_N_m or 0.0) > 3 * (facts.drift_u_N_m or math.inf)
        within = float(slopes[0]) if sure and abs(slopes[0]) > SEEN else 0.0
    y = (mean if values is None else values) / (whole if values is None else float(np.mean(values)))
    return Change(within, _between(y), float(np.ptp(y)) if len(y) > 1 and np.ptp(y) > SEEN else 0.0)


def _within(stroke: Stroke) -> float:
    """Change along the steady part / its mean."""
    part, slope = stroke.steady, stroke.facts.drift_N_m
    if part is None or slope is None or not part.force_N[0] > 0:
        return math.nan
    return slope * part.distance_m / part.force_N[0]


def _between(y: Floats) -> float:
    """From first to last by a straight line, 0 where it can't be told from scatter."""
    n = len(y)
    if n < 3:
        return 0.0
    x = np.arange(n) - (n - 1) / 2
    slope = float(x @ y) / float(x @ x)
    rest = y - y.mean() - slope * x
    u = math.sqrt(float(rest @ rest) / (n - 2) / float(x @ x))
    total = slope * (n - 1)
    return total if abs(total) > SEEN and abs(slope) > t_quantile(n - 2) * u else 0.0


def agreement(
    known: Model, measured: Quantity | None, method: str, change: Change | None = None,
    outside: Sequence[str] = (),
) -> dict[str, Any]:  # fmt: skip
    """En of ISO/IEC 17043, (measured - predicted) / sqrt(U1^2 + U2^2), and a sentence for a rigger.

    The prediction's U95 is taken as twice its standard uncertainty.  outside: channels that were used
    outside the range of their calibration, which the sentence says.
    """
    names = " and ".join(outside)
    mind = f" Mind: {names} read outside what the calibration verifies." if outside else ""
    if measured is None:
        nothing = "Nothing to compare: the rig's advantage was not measured."
        return {"en": None, "verdict": nothing + mind}
    en = en_number(measured.value, measured.U95, known.model_ma, 2 * known.model_ma_u)
    got = f"{measured.value:.2g} to 1 out of {known.ideal_ma:.3g}"
    want = f"{known.model_ma:.2g} to 1"
    if f"{measured.value:.2g}" == f"{known.model_ma:.2g}" and (en is None or abs(en) > 1):
        got, want = (
            f"{measured.value:.4g} to 1 out of {known.ideal_ma:.3g}",
            f"{known.model_ma:.4g} to 1",
        )
    if en is None:
        near = math.isclose(measured.value, known.model_ma, rel_tol=1e-3)
        verdict = f"The rig gave {got}; {want} was predicted" + (
            ", the same." if near else "; no uncertainty is stated, so nothing can be concluded."
        )
    elif abs(en) <= 1:
        verdict = f"The rig gave {got}, as predicted ({want}) within what both are known to."
    else:
        less = en < 0
        verdict = f"The rig gave {got}, {'less' if less else 'more'} than the {want} predicted: "
        apart = abs(measured.value / known.model_ma - 1)
        if method == "known" and change is not None and change.most >= EXPLAINS * apart:
            verdict += f"{ground(change)}, which pulleys do not do, so measure what the load resists before judging them."
        elif less:
            verdict += "look for a pulley that drags, rope that rubs or crosses, or worse pulleys than the file says"
            if method == "known":
                verdict += "; or the load resists more than the file says"
            if apart > OTHER_RIG:
                verdict += "; or another rig was built than the one in the file"
            verdict += "."
        else:
            verdict += "better pulleys than the file says"
            verdict += (
                ", or a load that resists less than the file says." if method == "known" else "."
            )
    return {"en": en, "verdict": verdict + mind}


def en_number(value: float, U: float, reference: float, reference_U: float) -> float | None:
    """En = (x - X) / sqrt(U^2 + U_ref^2), expanded uncertainties at 95 % (ISO/IEC 17043); None
    where neither has one."""
    both = math.hypot(U, reference_U)
    en = (value - reference) / both if both > 0 else math.nan
    return en if math.isfinite(en) else None


def ground(change: Change) -> str:
    """How the haul force changed, in words."""
    if abs(change.within) >= max(abs(change.between), abs(change.spread)):
        return (
            f"the haul force {_moved(change.within)} along each stroke, as over ground that changes"
        )
    if abs(change.between) >= 0.7 * abs(change.spread):
        return f"the haul force {_moved(change.between)} from the first stroke to the last under one rig"
    return f"the haul force differed by {100 * change.spread:.0f} % from stroke to stroke under one rig"


def _moved(share: float) -> str:
    return f"{'rose' if share > 0 else 'fell'} by {100 * abs(share):.0f} %"
