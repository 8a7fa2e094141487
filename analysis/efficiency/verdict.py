"""Compares measured and predicted advantage: En and one message that a rigger understands.

With a load force from the rig file, worse pulleys and ground that resists more look the same.  So the
message depends on how the haul force changed: within strokes, alike in each, or from stroke to stroke.  A
change of the ground is not attributed to the pulleys.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.efficiency.uncertainty import Quantity, t_quantile
from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.signals.time_cells import Floats
from analysis.strokes.stroke import Stroke

# share of the predicted MA that is missing when another rig is a likely cause; chosen by us: one dragging
# pulley usually takes less
OTHER_RIG = 0.25
# smallest change that is reported, share of the force; chosen by us: nothing follows from a smaller one
SEEN = 0.04
# share of the difference to the prediction that a change must make to be its likely cause; chosen by us: half
EXPLAINS = 0.5


@dataclass(frozen=True)
class Change:
    """Changes of a force, or of the advantage, as shares of its mean; 0 where scatter explains them."""

    within: float = 0.0  # from the beginning to the end of a stroke, mean over strokes
    between: float = 0.0  # from the first to the last stroke, by a straight line
    spread: float = 0.0  # largest stroke - smallest stroke

    @property
    def most(self) -> float:
        """The largest of the three changes, without sign."""
        return max(abs(self.within), abs(self.between), abs(self.spread))


@dataclass(frozen=True)
class Agreement:
    """Measured against predicted advantage."""

    en: float | None  # En of ISO/IEC 17043; None without a measurement or an uncertainty
    verdict: Message  # the comparison in words
    outside: Message | None  # which cells read outside their calibrated range; None: none
    look_at: tuple[Message, ...] = ()  # what the crew should check where both differ


def changes(strokes: list[Stroke], values: Floats | None = None) -> Change:
    """How the haul force changes within and between haul strokes.

    values: (haul strokes,) of another quantity, any unit, whose changes between strokes are taken instead.
    """
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
        details = used[0].details
        sure = abs(details.drift_N_m or 0.0) > 3 * (details.drift_u_N_m or math.inf)
        within = float(slopes[0]) if sure and abs(slopes[0]) > SEEN else 0.0
    y = (mean if values is None else values) / (whole if values is None else float(np.mean(values)))
    return Change(within, _between(y), float(np.ptp(y)) if len(y) > 1 and np.ptp(y) > SEEN else 0.0)


def _within(stroke: Stroke) -> float:
    """Change of the haul force along the steady part / its mean; NaN where there is no slope."""
    steady, slope = stroke.steady, stroke.details.drift_N_m
    if steady is None or slope is None or not steady.force_N[0] > 0:
        return math.nan
    return slope * steady.distance_m / steady.force_N[0]


def _between(y: Floats) -> float:
    """Change of y (n,) from first to last by a straight line; 0 where scatter explains it."""
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
    rig_model: Model, measured: Quantity | None, method: str, change: Change | None = None,
    outside: Sequence[str] = (), refused: Message | None = None,
) -> Agreement:  # fmt: skip
    """Compare the measured advantage with the model's.

    measured: actual MA; method: of its load force; change: of the haul force; outside: names of channels
    used outside their calibrated range, which the message mentions; refused: the contradiction for which values
    are left out, and then nothing is compared.  The prediction's U95 is taken as twice
    its standard uncertainty.
    """
    en, verdict = None, message("advantage_not_measured")
    look_at: tuple[Message, ...] = ()
    if refused is not None:
        verdict = message("verdict_refused", why=refused)
        if measured is not None:
            verdict = message("verdict_of_another_rig", measured=measured.value, why=refused)
        look_at = (refused,)
    elif measured is not None:
        en = en_number(measured.value, measured.U95, rig_model.model_ma, 2 * rig_model.model_ma_u)
        verdict, look_at = _judged(rig_model, measured, en, method, change or Change())
    beyond = None
    if outside:
        beyond = message("read_outside_calibration", cells=" and ".join(outside))
        verdict = message("verdict_beyond_calibration", verdict=verdict, beyond=beyond)
    return Agreement(en, verdict, beyond, look_at)


def _judged(
    rig_model: Model, measured: Quantity, en: float | None, method: str, change: Change
) -> tuple[Message, tuple[Message, ...]]:
    """The verdict in words, and what the crew should check where measured and predicted differ."""
    alike = f"{measured.value:.2g}" == f"{rig_model.model_ma:.2g}" and (en is None or abs(en) > 1)
    values: dict[str, Any] = {
        "measured": measured.value, "ideal": rig_model.ideal_ma, "predicted": rig_model.model_ma,
        "digits": 4 if alike else 2,
    }  # fmt: skip
    if en is None:
        near = math.isclose(measured.value, rig_model.model_ma, rel_tol=1e-3)
        return (message("advantage_same", **values) if near
                else message("advantage_without_uncertainty", **values)), ()  # fmt: skip
    if abs(en) <= 1:
        return message("advantage_as_predicted", **values), ()
    apart = abs(measured.value / rig_model.model_ma - 1)
    if method == "known" and change.most >= EXPLAINS * apart:
        cause = message("ground_not_pulleys", change=ground(change))
        verdict = (message("advantage_less_by_ground", cause=cause, **values) if en < 0
                   else message("advantage_more", cause=cause, **values))  # fmt: skip
        return verdict, (message("look_at_ground", cause=cause),)
    if en > 0:
        cause = (
            message("better_pulleys_or_load") if method == "known" else message("better_pulleys")
        )
        return message("advantage_more", cause=cause, **values), (cause,)
    causes = [message("worse_pulleys")]
    causes += [message("load_resists_more")] if method == "known" else []
    causes += [message("another_rig_built")] if apart > OTHER_RIG else []
    return message("advantage_less", causes=tuple(causes), **values), tuple(causes)


def en_number(value: float, U: float, reference: float, reference_U: float) -> float | None:
    """En = (value - reference) / sqrt(U^2 + reference_U^2) after ISO/IEC 17043, all in one unit.

    U, reference_U: expanded uncertainties at 95 %.  None where both are 0.
    """
    both = math.hypot(U, reference_U)
    en = (value - reference) / both if both > 0 else math.nan
    return en if math.isfinite(en) else None


def ground(change: Change) -> Message:
    """The largest change of the haul force in words."""
    if abs(change.within) >= max(abs(change.between), abs(change.spread)):
        share = change.within
        return (message("force_rose_along_strokes", share=share) if share > 0
                else message("force_fell_along_strokes", share=-share))  # fmt: skip
    share = change.between
    if abs(share) >= 0.7 * abs(change.spread):
        return (message("force_rose_from_stroke_to_stroke", share=share) if share > 0
                else message("force_fell_from_stroke_to_stroke", share=-share))  # fmt: skip
    return message("force_differed", share=change.spread)
