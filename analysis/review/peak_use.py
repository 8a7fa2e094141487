"""Finds the largest force, and the largest share of a limit, among rows of `peaks` (interface section 6)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any


def highest_peak_use(peaks: Iterable[Mapping[str, Any]]) -> float | None:
    """The largest peak force / limit of a part; None where no part is rated.

    Also None where no rated part was over its limit and nothing bounds the force on one of them: it may be
    that one.
    """
    rated = [p["use"] for p in peaks if p["limit_N"] is not None]
    shown = [use for use in rated if use is not None]
    highest = max(shown, default=None)
    if len(shown) < len(rated) and (highest is None or highest <= 1):
        return None
    return highest


def highest_peak(peaks: Iterable[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """The row of the part with the largest force; None where no force is known."""
    with_force = [row for row in peaks if row["force_N"] is not None]
    return max(with_force, key=lambda row: float(row["force_N"]), default=None)
