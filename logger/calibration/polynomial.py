"""Evaluates polynomials and clamps values; needs no numpy for a single float."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")


def polynomial(coefficients: Sequence[float], x: Values) -> Values:
    """sum c_i x^i by Horner's rule; same shape as x.

    coefficients: c0, c1 .., in units that fit x.  Products, unlike powers, never raise
        OverflowError.
    """
    total: Any = 0.0 * x
    for c in reversed(coefficients):
        total = total * x + c
    return total  # type: ignore[no-any-return]


def clamp(value: Any, low: float, high: float) -> Any:
    """`value` (a float or an array) limited to the range from low to high, all in the same unit."""
    if isinstance(value, (float, int)):
        return min(max(value, low), high)
    return value.clip(low, high)
