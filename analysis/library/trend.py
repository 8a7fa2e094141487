"""A straight line through values with uncertainties: does something change over months?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from analysis.efficiency.uncertainty import t_quantile
from analysis.messages.message import Message, message

LEAST = 3  # sessions; derived: a line takes two, and one is left as a degree of freedom
DAYS_A_YEAR = 365.25  # definition of the Julian year


@dataclass(frozen=True)
class TrendLine:
    """y = intercept + slope x.  scale: what the uncertainties were multiplied with because the
    points scatter more than they say (1: they do not); degrees: n - 2."""

    slope: float
    slope_u: float
    intercept: float
    intercept_u: float
    scale: float
    degrees: int


@dataclass(frozen=True)
class Trend:
    """Change of a quantity a year, with standard and expanded (95 %) uncertainty; None where it is
    not known, and the verdict says so."""

    n: int
    first: str
    last: str
    per_year: float | None
    u: float | None
    U95: float | None
    at_start: float | None
    at_end: float | None
    verdict: Message

    def json(self) -> dict[str, Any]:
        """Plain, the verdict in SI."""
        return {**vars(self), "verdict": self.verdict.text()}


def weighted_line(x: Sequence[float], y: Sequence[float], u: Sequence[float]) -> TrendLine:
    """Least squares with weights 1 / u^2 (n,), three points or more, x not all the same.

    Variances are those of the weighted normal equations; where chi^2 / (n - 2) is above 1 they are
    multiplied with it (the Birge ratio squared), so that scatter which the u do not explain widens
    the result, and small scatter never narrows it.  Source: R. T. Birge, Phys. Rev. 40, 207 (1932);
    any textbook of linear regression.  Raises ValueError.
    """
    t, v, s = (np.asarray(a, dtype=np.float64) for a in (x, y, u))
    if len(t) < LEAST or not (np.isfinite(t).all() and np.isfinite(v).all() and (s > 0).all()):
        raise ValueError("three points or more, finite, with uncertainties above 0")
    w = 1.0 / s**2
    middle = float(np.sum(w * t) / np.sum(w))
    d = t - middle
    square = float(np.sum(w * d * d))
    if not square > 0:
        raise ValueError("all points at the same x")
    slope = float(np.sum(w * d * v) / square)
    level = float(np.sum(w * v) / np.sum(w))
    left = v - level - slope * d
    degrees = len(t) - 2
    scale = math.sqrt(max(1.0, float(np.sum(w * left * left)) / degrees))
    slope_u = scale / math.sqrt(square)
    level_u = scale / math.sqrt(float(np.sum(w)))
    return TrendLine(
        slope=slope,
        slope_u=slope_u,
        intercept=level - slope * middle,
        intercept_u=math.hypot(level_u, middle * slope_u),
        scale=scale,
        degrees=degrees,
    )


def trend(rows: Sequence[tuple[str, float, float]], what: str = "efficiency") -> Trend:
    """rows: (start of the session in UTC, value, standard uncertainty); in any order.

    Rows whose time cannot be read or whose uncertainty is not above 0 are left out.
    """
    known = sorted((t, s, v, u) for s, v, u in rows if (t := day(s)) is not None and u > 0)
    first, last = (known[0][1], known[-1][1]) if known else ("", "")
    times = [row[0] for row in known]
    why = None
    if len(known) < LEAST:
        why = message("trend_too_few", sessions=len(known), what=what, needed=LEAST)
    elif times[-1] - times[0] < 1.0:
        why = message("trend_one_day")
    if why is not None:
        return Trend(
            n=len(known),
            first=first,
            last=last,
            per_year=None,
            u=None,
            U95=None,
            at_start=None,
            at_end=None,
            verdict=why,
        )
    line = weighted_line(
        [t - times[0] for t in times], [row[2] for row in known], [row[3] for row in known]
    )
    year, u = line.slope * DAYS_A_YEAR, line.slope_u * DAYS_A_YEAR
    expanded = t_quantile(float(line.degrees)) * u
    ends = (line.intercept, line.intercept + line.slope * (times[-1] - times[0]))
    over = {"what": what, "first": ends[0], "last": ends[1], "days": times[-1] - times[0]}
    if year + expanded < 0:
        verdict = message("trend_falls", **over)
    elif year - expanded > 0:
        verdict = message("trend_rises", **over)
    else:
        verdict = message("trend_none", **over)
    return Trend(len(known), first, last, year, u, expanded, *ends, verdict)


def rig_trends(rows: Iterable[Mapping[str, Any]]) -> list[tuple[str, str, Trend]]:
    """(rig, title, trend of its efficiency) of each rig with three sessions or more, in order of
    first use.  rows: those of a library."""
    by_rig: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        if row["rig"]:
            by_rig.setdefault(row["rig"], []).append(row)
    return [
        (rig, mine[0]["title"], trend([
            (row["started_at"], row["efficiency"], row["efficiency_u"])
            for row in mine if row["efficiency"] is not None
        ]))
        for rig, mine in by_rig.items() if len(mine) >= LEAST
    ]  # fmt: skip


def day(started_at: str) -> float | None:
    """Days since 1970 of a time as sessions have it; None where it is none."""
    try:
        moment = datetime.fromisoformat(started_at)
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return moment.timestamp() / 86400.0
    except (ValueError, OverflowError):
        return None
