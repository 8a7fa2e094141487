"""Computes the figures of a force cell that ISO 376 and ASTM E74 define, from its points.

They serve for comparison under the standards' names.  They are no certificate and no
classification, because the program knows neither the machine that applied the forces nor the
procedure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from logger.calibration.curve import Calibration

LLF_PER_S = 2.4  # ASTM E74-18, 7.1.2 and 8.5: about 99 % of the differences lie within
CLASS_A, CLASS_AA = 400.0, 2000.0  # ASTM E74: error of 0.25 % and 0.05 %, LLF / error
# share of the greatest reading; a larger c0 is an offset and is subtracted, a smaller one counts as
# the rest that a tared cell still reads; chosen by us
OFFSET = 0.02


@dataclass(frozen=True)
class Term:
    """One figure of a standard."""

    key: str  # its name in files
    name: str  # its name for people
    value: float | None  # in `unit`; None: see why_not
    unit: str  # "%", or "applied" for the unit of the applied values
    why_not: str = ""  # why there is no value; "" if there is one
    note: str = ""  # where the value holds, for people; "" for nothing


@dataclass(frozen=True)
class _Run:
    """One run of loading and unloading; (applied, deflection) pairs.

    A deflection is a reading minus the run's first reading at 0 applied, if it has one.
    """

    name: str  # as in the column run; "" without that column
    up: tuple[tuple[float, float], ...]  # up to the greatest force; N, unit of the reading
    down: tuple[tuple[float, float], ...]  # after the greatest force; N, unit of the reading
    turns: int  # changes between rising and falling forces
    has_zero: bool  # whether a reading at 0 applied comes before the greatest force
    zero_after: float | None  # deflection at 0 applied after it; None if there is none


def terms(
    curve: Calibration,
    applied: Sequence[float],
    reading: Sequence[float],
    run: Sequence[str] | None,
) -> tuple[Term, ...]:
    """All figures of a table of points; its row order distinguishes loading from unloading.

    applied: forces in N; reading: in the device's unit; run: name of each row's run, None without
    runs; all of the same length.
    """
    runs = _runs(applied, reading, run)
    return (
        _repeatability(runs, run is not None),
        _reversibility(runs),
        _zero_return(runs),
        *_lower_limit(curve, applied, reading),
    )


def recorded_terms(
    curve: Calibration,
    applied: Sequence[float],
    reading: Sequence[float],
    run: Sequence[str] | None,
) -> dict[str, float | str]:
    """What a calibration file keeps of `terms`, and the least force; nothing for a length.

    applied, reading, run: as `terms` takes them.
    """
    if curve.quantity == "length":
        return {}
    kept: dict[str, float | str] = {
        term.key: term.value if term.value is not None else f"not known: {term.why_not}"
        for term in terms(curve, applied, reading, run)
    }
    loaded = [abs(a) for a in applied if a]
    if loaded:
        kept["least_loaded"] = min(loaded)
    return kept


def _runs(
    applied: Sequence[float], reading: Sequence[float], run: Sequence[str] | None
) -> list[_Run]:
    names = run if run is not None else [""] * len(applied)
    runs = []
    for name in dict.fromkeys(names):
        rows = [(a, r) for n, a, r in zip(names, applied, reading, strict=True) if n == name]
        peak = max(range(len(rows)), key=lambda k: abs(rows[k][0]))
        zeros = [r for a, r in rows[:peak] if a == 0.0]
        after = [r for a, r in rows[peak + 1 :] if a == 0.0]
        zero = zeros[0] if zeros else 0.0
        net = [(a, r - zero) for a, r in rows]
        steps = [abs(b[0]) - abs(a[0]) for a, b in pairwise(rows)]
        signs = [step > 0.0 for step in steps if step != 0.0]
        runs.append(_Run(
            name=name,
            up=tuple(net[: peak + 1]),
            down=tuple(net[peak + 1 :]),
            turns=sum(a != b for a, b in pairwise(signs)),
            has_zero=bool(zeros),
            zero_after=after[-1] - zero if after and zeros else None,
        ))  # fmt: skip
    return runs


def _by_force(rows: Sequence[tuple[float, float]]) -> dict[float, float]:
    """Mean reading at each force other than 0."""
    readings_at: dict[float, list[float]] = {}
    for applied, reading in rows:
        if applied != 0.0:
            readings_at.setdefault(applied, []).append(reading)
    return {applied: fmean(readings) for applied, readings in readings_at.items()}


def _repeatability(runs: Sequence[_Run], named: bool) -> Term:
    """Repeatability: 100 (greatest - least deflection of the runs) / mean at one force; the
    greatest over the forces.

    For two runs this is b' = 100 |X2 - X1| / mean (ISO 376, 2011; the formulas of this file are
    from memory).
    """
    key, name = "repeatability_percent", "repeatability b' (ISO 376)"
    if not named:
        return Term(key, name, None, "%", "the table has no column run")
    if len(runs) < 2:
        return Term(key, name, None, "%", "the table has only one run")
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
        return Term(key, name, None, "%", "no two runs have a rising force in common")
    return Term(key, name, worst[0], "%", note=f"greatest, at {worst[1]:.6g}; {len(runs)} runs")


def _reversibility(runs: Sequence[_Run]) -> Term:
    """Reversibility: v = 100 |X' - X| / X with X at the rising and X' at the falling force, the
    mean of the runs; the greatest over the forces (ISO 376)."""
    key, name = "reversibility_percent", "reversibility v (ISO 376)"
    falling = [one for one in runs if _by_force(one.down)]
    if not falling:
        return Term(key, name, None, "%", "no run has falling forces after its greatest force")
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
    """Zero return: f0 = 100 (i_f - i_0) / X_N, the unloaded reading after minus before, over the
    deflection at the greatest force (ISO 376).  The greatest of the runs, with its sign."""
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
    """Lower limit factor, and where class A and class AA begin, in the unit of the applied values.

    LLF = 2.4 s, but at least the resolution, times the mean of force / deflection (ASTM E74-18,
    7.1.2 and 8.5); s has n - m - 1 degrees of freedom, m the degree.  The verified range begins at
    400 LLF (class A) or 2000 LLF (class AA), but not below the least force.
    """
    keys = (
        ("llf", "lower limit factor LLF (ASTM E74)"),
        ("class_a_from", "class A from (ASTM E74)"),
        ("class_aa_from", "class AA from (ASTM E74)"),
    )

    def unavailable(why: str) -> tuple[Term, Term, Term]:
        """The three figures without a value, for the reason `why`."""
        first, second, third = (Term(key, name, None, "applied", why) for key, name in keys)
        return first, second, third

    if curve.residual_sd is None:
        return unavailable("there are no more points than coefficients, so the scatter is unknown")
    zeros = [r for a, r in zip(applied, reading, strict=True) if a == 0.0]
    offset, how = 0.0, ""
    if zeros:
        offset = fmean(zeros)
    elif abs(curve.coefficients[0]) > OFFSET * max(map(abs, reading)):
        offset, how = (
            curve.coefficients[0],
            "deflection from the curve's c0, because no point has 0 applied",
        )
    loaded = [(a, r - offset) for a, r in zip(applied, reading, strict=True) if a != 0.0]
    if any(deflection == 0.0 for _, deflection in loaded):
        return unavailable("a force gave no deflection")
    ratio = abs(fmean(a / deflection for a, deflection in loaded))
    llf = max(LLF_PER_S * curve.residual_sd, curve.resolution or 0.0) * ratio
    least, most = min(abs(a) for a, _ in loaded), max(abs(a) for a, _ in loaded)
    figures = [Term(*keys[0], llf, "applied", note=how)]
    for (key, name), times in zip(keys[1:], (CLASS_A, CLASS_AA), strict=True):
        start = max(times * llf, least)
        if start > most:
            why = f"{times:.0f} LLF = {start:.6g} is above the greatest force applied"
            figures.append(Term(key, name, None, "applied", why))
        else:
            note = "the least force applied" if start > times * llf else f"{times:.0f} LLF"
            figures.append(Term(key, name, start, "applied", note=note))
    return figures[0], figures[1], figures[2]
