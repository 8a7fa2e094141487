"""Fits a straight line to values with uncertainties, to detect a change over months."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from analysis.efficiency.uncertainty import t_quantile
from analysis.messages.message import Message, message

LEAST = 3  # sessions; derived: a line takes two, which leaves one degree of freedom
DAYS_A_YEAR = 365.25  # definition of the Julian year


@dataclass(frozen=True)
class TrendLine:
    """The line y = intercept + slope x."""

    slope: float  # unit of y / unit of x
    slope_u: float  # its standard uncertainty
    intercept: float  # unit of y
    intercept_u: float  # its standard uncertainty
    scale: float  # Birge ratio by which the uncertainties are widened; 1: none
    degrees: int  # degrees of freedom, n - 2


@dataclass(frozen=True)
class Trend:
    """The change of a quantity per year; None where it cannot be computed, for the reason in verdict."""

    n: int  # number of sessions
    first: str  # start of the first session, UTC
    last: str  # start of the last session, UTC
    per_year: float | None  # change per year, in the unit of the quantity
    u: float | None  # its standard uncertainty
    U95: float | None  # its expanded uncertainty
    at_start: float | None  # value of the line at the first session
    at_end: float | None  # value of the line at the last session
    verdict: Message  # the trend in words

    def json(self) -> dict[str, Any]:
        """The trend as a mapping of plain values, the verdict in SI."""
        return {**vars(self), "verdict": self.verdict.text()}


def weighted_line(x: Sequence[float], y: Sequence[float], u: Sequence[float]) -> TrendLine:
    """Fit a line to y (n,) over x (n,) by least squares with weights 1 / u^2, u (n,) of y, any units.

    Variances are those of the weighted normal equations.  Where chi^2 / (n - 2) exceeds 1 they are
    multiplied by it (the Birge ratio squared): scatter beyond u widens the result, and small scatter never
    narrows it.  Source: R. T. Birge, Phys. Rev. 40, 207 (1932); any textbook of linear regression.  Raises
    ValueError for fewer than three points, or x all the same.
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
    """The trend of a quantity over sessions.

    rows: (start of the session in UTC, value, standard uncertainty), in any order; what: name of the
    quantity.  Rows whose time cannot be read or whose uncertainty is not above 0 are left out.
    """
    usable = sorted((t, s, v, u) for s, v, u in rows if (t := day(s)) is not None and u > 0)
    first, last = (usable[0][1], usable[-1][1]) if usable else ("", "")
    times = [row[0] for row in usable]
    why = None
    if len(usable) < LEAST:
        why = message("trend_too_few", sessions=len(usable), what=what, needed=LEAST)
    elif times[-1] - times[0] < 1.0:
        why = message("trend_one_day")
    if why is not None:
        return Trend(
            n=len(usable),
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
        [t - times[0] for t in times], [row[2] for row in usable], [row[3] for row in usable]
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
    return Trend(len(usable), first, last, year, u, expanded, *ends, verdict)


def rig_trends(rows: Iterable[Mapping[str, Any]]) -> list[tuple[str, str, Trend]]:
    """(key, title, trend of the efficiency) of each rig with three sessions or more, by first use.

    rows: of a library.
    """
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
    """Days since 1970 of a session's start; None where the text is no time."""
    try:
        moment = datetime.fromisoformat(started_at)
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return moment.timestamp() / 86400.0
    except (ValueError, OverflowError):
        return None
