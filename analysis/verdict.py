"""Measured against predicted: En and one sentence that a rigger understands."""

from __future__ import annotations

import math
from typing import Any

from analysis.predict import Model
from analysis.uncertainty import Quantity


def agreement(known: Model, measured: Quantity | None, method: str) -> dict[str, Any]:
    """En of ISO/IEC 17043, (measured - predicted) / sqrt(U1^2 + U2^2), and a sentence for a rigger.

    The prediction's U95 is taken as twice its standard uncertainty.
    """
    if measured is None:
        return {"en": None, "verdict": "Nothing to compare: the rig's advantage was not measured."}
    both = math.hypot(measured.U95, 2 * known.model_ma_u)
    en = (measured.value - known.model_ma) / both if both > 0 else None
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
    elif en < 0:
        cause = (
            "a pulley that drags, rope that rubs or crosses, or worse pulleys than the file says"
        )
        if method == "known":
            cause += "; or the load resists more than the file says"
        verdict = f"The rig gave {got}, less than the {want} predicted: look for {cause}."
    else:
        cause = "better pulleys than the file says"
        if method == "known":
            cause += ", or a load that resists less than the file says"
        verdict = f"The rig gave {got}, more than the {want} predicted: {cause}."
    return {"en": en, "verdict": verdict}
