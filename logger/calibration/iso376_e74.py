"""What a table of points tells of a load cell, in the terms of ISO 376 and ASTM E74.

Figures to compare, under the standards' names; no certificate, and no classification: neither the
machine that applied the forces nor the procedure is known here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from logger.calibration.curve import Calibration

LLF_PER_S = 2.4  # ASTM E74-18, 7.1.2 and 8.5: about 99 % of the differences lie within
CLASS_A, CLASS_AA = 400.0, 2000.0  # ASTM E74: error of 0.25 % and 0.05 %, LLF / error
# a reading with nothing on that is more of the greatest one is no deflection; chosen by us: below,
# c0 counts as what a tared cell still reads
OFFSET = 0.02


@dataclass(frozen=True)
class Term:
    """One figure.  key: its name in files; name: for people; value in `unit` ("applied": the unit of
    the applied values), or None and then why_not; note: what else to know."""

    key: str
    name: str
    value: float | None
    unit: str
    why_not: str = ""
    note: str = ""


@dataclass(frozen=True)
class _Run:
    """One run, readings as deflections from its own first zero where it has one."""

    name: str
    up: tuple[tuple[float, float], ...]
    down: tuple[tuple[float, float], ...]
    turns: int
    has_zero: bool
    zero_after: float | None


def terms(
    curve: Calibration,
    applied: Sequence[float],
    reading: Sequence[float],
    run: Sequence[str] | None,
) -> tuple[Term, ...]:
    """All figures; the order of the rows tells loading from unloading.  applied in SI."""
    runs = _runs(applied, reading, run)
    return (
        _repeatability(runs, run is not None),
        _reversibility(runs),
        _zero_return(runs),
        *_lower_limit(curve, applied, reading),
    )


def _runs(
    applied: Sequence[float], reading: Sequence[float], run: Sequence[str] | None
) -> list[_Run]:
    names = run if run is not None else [""] * len(applied)
    found = []
    for name in dict.fromkeys(names):
        rows = [(a, r) for n, a, r in zip(names, applied, reading, strict=True) if n == name]
        peak = max(range(len(rows)), key=lambda k: abs(rows[k][0]))
        zeros = [r for a, r in rows[:peak] if a == 0.0]
        after = [r for a, r in rows[peak + 1 :] if a == 0.0]
        zero = zeros[0] if zeros else 0.0
        net = [(a, r - zero) for a, r in rows]
        steps = [abs(b[0]) - abs(a[0]) for a, b in pairwise(rows)]
        signs = [step > 0.0 for step in steps if step != 0.0]
        found.append(_Run(
            name=name,
            up=tuple(net[: peak + 1]),
            down=tuple(net[peak + 1 :]),
            turns=sum(a != b for a, b in pairwise(signs)),
            has_zero=bool(zeros),
            zero_after=after[-1] - zero if after and zeros else None,
        ))  # fmt: skip
    return found


def _by_force(rows: Sequence[tuple[float, float]]) -> dict[float, float]:
    """Mean reading at each force but 0."""
    found: dict[float, list[float]] = {}
    for applied, reading in rows:
        if applied != 0.0:
            found.setdefault(applied, []).append(reading)
    return {applied: fmean(readings) for applied, readings in found.items()}


def _repeatability(runs: Sequence[_Run], named: bool) -> Term:
    """b' = 100 |X2 - X1| / mean, of two runs; of more, greatest less least (ISO 376, 2011; the
    formulas of this file from memory).  The greatest over the forces."""
    key, name = "repeatability_percent", "repeatability b' (ISO 376)"
    if not named:
        return Term(key, name, None, "%", "the table has no column run")
    if len(runs) < 2:
        return Term(key, name, None, "%", "there is one run")
    at: dict[float, list[float]] = {}
    for one in runs:
        for applied, reading in _by_force(one.up).items():
            at.setdefault(applied, []).append(reading)
    worst: tuple[float, float] | None = None
    for applied, readings in at.items():
        mean = fmean(readings)
        if len(readings) > 1 and mean != 0.0:
            spread = 100.0 * (max(readings) - min(readings)) / abs(mean)
            worst = max(worst or (spread, applied), (spread, applied))
    if worst is None:
        return Term(key, name, None, "%", "no force was applied, rising, in two runs")
    return Term(key, name, worst[0], "%", note=f"greatest, at {worst[1]:.6g}; {len(runs)} runs")


def _reversibility(runs: Sequence[_Run]) -> Term:
    """v = 100 |X' - X| / X with X rising and X' falling, the mean of the runs; the greatest over
    the forces (ISO 376)."""
    key, name = "reversibility_percent", "reversibility v (ISO 376)"
    falling = [one for one in runs if _by_force(one.down)]
    if not falling:
        return Term(key, name, None, "%", "no run goes on with falling forces after its greatest")
    for one in runs:
        if one.turns > 1:
            which = f"run {one.name}" if one.name else "the table"
            why = f"{which} goes up and down more than once: name each loading in the column run"
            return Term(key, name, None, "%", why)
    at: dict[float, list[float]] = {}
    for one in falling:
        up, peak = _by_force(one.up), one.up[-1][0]
        for applied, reading in _by_force(one.down).items():
            if applied in up and applied != peak and up[applied] != 0.0:
                v = 100.0 * abs(reading - up[applied]) / abs(up[applied])
                at.setdefault(applied, []).append(v)
    if not at:
        return Term(key, name, None, "%", "no force was applied both rising and falling")
    v, applied = max((fmean(values), applied) for applied, values in at.items())
    return Term(key, name, v, "%", note=f"greatest, at {applied:.6g}")


def _zero_return(runs: Sequence[_Run]) -> Term:
    """f0 = 100 (i_f - i_0) / X_N: reading with nothing on after less before, over the deflection
    at the greatest force (ISO 376).  The greatest of the runs, with its sign."""
    key, name = "zero_return_percent", "zero return f0 (ISO 376)"
    values = [
        100.0 * one.zero_after / abs(one.up[-1][1])
        for one in runs
        if one.zero_after is not None and one.up[-1][1] != 0.0
    ]
    if not values:
        why = "no run has a reading with 0 applied both before and after its greatest force"
        return Term(key, name, None, "%", why)
    return Term(key, name, max(values, key=abs), "%")


def _lower_limit(
    curve: Calibration, applied: Sequence[float], reading: Sequence[float]
) -> tuple[Term, Term, Term]:
    """LLF = 2.4 s, in force units by the average of force / deflection, and not less than the
    resolution (ASTM E74-18, 7.1.2 and 8.5); s with n - m - 1 degrees of freedom, m the degree.  The
    verified range begins at 400 LLF (class A) or 2000 LLF (class AA), nowhere below the least force.
    """
    keys = (
        ("llf", "lower limit factor LLF (ASTM E74)"),
        ("class_a_from", "class A from (ASTM E74)"),
        ("class_aa_from", "class AA from (ASTM E74)"),
    )

    def unavailable(why: str) -> tuple[Term, Term, Term]:
        first, second, third = (Term(key, name, None, "applied", why) for key, name in keys)
        return first, second, third

    if curve.residual_sd is None:
        return unavailable("there are no more points than coefficients, so no scatter to see")
    zeros = [r for a, r in zip(applied, reading, strict=True) if a == 0.0]
    offset, how = 0.0, ""
    if zeros:
        offset = fmean(zeros)
    elif abs(curve.coefficients[0]) > OFFSET * max(map(abs, reading)):
        offset, how = (
            curve.coefficients[0],
            "deflection from the curve's c0, no point has 0 applied",
        )
    loaded = [(a, r - offset) for a, r in zip(applied, reading, strict=True) if a != 0.0]
    if any(deflection == 0.0 for _, deflection in loaded):
        return unavailable("a force gave no deflection")
    ratio = abs(fmean(a / deflection for a, deflection in loaded))
    llf = max(LLF_PER_S * curve.residual_sd, curve.resolution or 0.0) * ratio
    least, most = min(abs(a) for a, _ in loaded), max(abs(a) for a, _ in loaded)
    found = [Term(*keys[0], llf, "applied", note=how)]
    for (key, name), times in zip(keys[1:], (CLASS_A, CLASS_AA), strict=True):
        start = max(times * llf, least)
        if start > most:
            why = f"{times:.0f} LLF = {start:.6g} is above the greatest force applied"
            found.append(Term(key, name, None, "applied", why))
        else:
            note = "the least force applied" if start > times * llf else f"{times:.0f} LLF"
            found.append(Term(key, name, start, "applied", note=note))
    return found[0], found[1], found[2]
