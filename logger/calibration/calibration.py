"""Fits a calibration curve to the readings of known forces or lengths; writes and reads its file.

The curve (`logger/calibration/curve.py`) is fitted by least squares
(`logger/calibration/exact_least_squares.py`) and inverted in use.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.calibration.calibration_keys import CURVE, FORMAT, MOST_DEGREE
from logger.calibration.curve import Calibration, check_invertible, resolution_u
from logger.calibration.polynomial import polynomial
from logger.errors import SensorsFault
from logger.filesystem import write_atomic
from logger.toml_tables import Table, parse_toml, read_text

if TYPE_CHECKING:
    from logger.calibration.exact_least_squares import Solution

REMAKE = "make the file with `haul calibrate`"


def fit(
    applied: Sequence[float],
    reading: Sequence[float],
    degree: int = 1,
    *,
    through_zero: bool = False,
    applied_u: Sequence[float] | None = None,
    resolution: float | None = None,
    quantity: str | None = None,
) -> Calibration:
    """Fit reading = sum c_i applied^i by least squares, solved exactly and rounded once.

    applied: applied values, N or m, one per point
    reading: readings in the device's unit, one per point
    through_zero: fit without c0
    applied_u: standard uncertainty of each applied value, N or m; None: the values are exact.
        Points with the same value share one error (the same mass, the same mark on the tape);
        different values have independent errors.
    resolution: smallest step of a reading, in its unit; None: unknown
    quantity: "force" or "length"; None: not stated

    Covariance: variance of one reading times (A'A)^-1, plus the contribution of the applied values'
    errors (JCGM 100:2008, 5.2.2).  With as many points as coefficients there is no scatter to
    estimate that variance, so applied_u and resolution are needed.

    Raises SensorsFault if the points do not determine a curve that can be inverted.
    """
    from logger.calibration.exact_least_squares import root, solve

    where = "calibration points"
    if not 1 <= degree <= MOST_DEGREE:
        raise SensorsFault(where, f"degree {degree} is out of range", "give 1, 2 or 3")
    x, y = [float(v) for v in applied], [float(v) for v in reading]
    u = [0.0] * len(x) if applied_u is None else [float(v) for v in applied_u]
    powers = range(1 if through_zero else 0, degree + 1)
    n, m = len(x), len(powers)
    if not all(map(math.isfinite, (*x, *y, *u))) or any(v < 0 for v in u):
        raise SensorsFault(where, "a value is not finite", "give plain numbers")
    # without scatter the stated uncertainties have to do
    stated = n == m and resolution and any(u)
    if n < m + 1 and not stated:
        cure = f"give at least {m + 1} points"
        if n == m:
            cure += ", or the standard uncertainty of the applied values (--applied-u)"
        count = f"{n} points are" if n != 1 else "1 point is"
        raise SensorsFault(where, f"{count} too few for degree {degree}", cure)
    if len(set(x) - {0.0} if through_zero else set(x)) < degree + (not through_zero):
        what = "different applied values" + (" other than 0" if through_zero else "")
        raise SensorsFault(where, f"fewer than {m} {what}", "apply more different values")
    try:
        solution = solve(x, y, powers)
        if solution is None:
            raise SensorsFault(where, "the points determine no curve", "give a lower degree")
        residual_sd = root(solution.squares / (n - m)) if n > m else None
        curve = Calibration(
            degree=degree,
            coefficients=(*[0.0] * powers[0], *map(float, solution.coefficients)),
            covariance=solution.covariance(x, u, max(residual_sd or 0.0, resolution_u(resolution))),
            residual_sd=residual_sd,
            n=n,
            applied_least=min(x),
            applied_most=max(x),
            through_zero=through_zero,
            resolution=resolution,
            quantity=quantity,
        )
        check_invertible(curve, where)
        _check_digits(curve, solution, where)
    except OverflowError:
        raise SensorsFault(
            where, "the values are too large or too small to be fitted", "give them in another unit"
        ) from None
    return curve


def _check_digits(curve: Calibration, solution: Solution, where: str) -> None:
    """Refuse a curve that is smaller than its scatter, and one that floats cannot represent, as of
    a high degree over a narrow range far from zero; raises SensorsFault."""
    from fractions import Fraction

    ends = [
        curve.reading(f(0.0, x)) for f, x in ((min, curve.applied_least), (max, curve.applied_most))
    ]
    if abs(ends[1] - ends[0]) < max(curve.reading_u, 1e-9 * max(map(abs, ends))):
        raise SensorsFault(
            where, "the readings scatter more than they change with the applied values",
            "check that both columns belong together",
        )  # fmt: skip
    for place in (curve.applied_least, curve.applied_most):
        exact = solution.value(place)
        lost = abs(float(exact - Fraction(curve.reading(place))))
        terms = curve.spread_terms
        if not math.isfinite(curve.u_applied(place)):
            raise OverflowError
        rounding = 4e-16 * polynomial([abs(t) for t in terms], abs(place))
        spread = max(polynomial(terms, place), 0.0) + curve.reading_u**2
        if lost > 0.01 * curve.reading_u + 1e-9 * abs(float(exact)) or rounding > 0.01 * spread:
            raise SensorsFault(
                where,
                "the points lie too close together and too far from 0 for this degree",
                "give a lower degree, or points over a wider range",
            )


def save(
    curve: Calibration, path: str | Path, terms: Mapping[str, float | str] | None = None
) -> None:
    """Write the calibration as TOML; raises SensorsFault if the file cannot be written.

    terms: figures of `iso376_e74` for people, by key; a number, or the reason why there is none.
    """
    rows = ",\n".join("  [" + ", ".join(map(repr, row)) + "]" for row in curve.covariance)
    lines = [
        "# reading = c0 + c1 applied + ..., applied in N or m; made by `haul calibrate`",
        f"haul_calibration = {FORMAT}",
        f"degree = {curve.degree}",
        f"coefficients = [{', '.join(map(repr, curve.coefficients))}]",
        f"covariance = [\n{rows},\n]",
        "# residual_sd: unknown, because there are no more points than coefficients"
        if curve.residual_sd is None else f"residual_sd = {curve.residual_sd!r}",
        f"n = {curve.n}",
        f"applied_least = {curve.applied_least!r}",
        f"applied_most = {curve.applied_most!r}",
    ]  # fmt: skip
    if curve.through_zero:
        lines.append("through_zero = true")
    if curve.quantity is not None:
        lines.append(f'quantity = "{curve.quantity}"')
    if curve.resolution is not None:
        lines.append(f"resolution = {curve.resolution!r}")
    if terms:
        lines += [
            "",
            "# For people. The program uses only least_loaded and class_a_from, to warn of a reading",
            "# outside the verified range. This is no calibration certificate.",
        ]
        lines += ["[terms]", *(f"{key} = {_toml(value)}" for key, value in terms.items())]
    try:
        write_atomic(Path(path), ("\n".join(lines) + "\n").encode())
    except OSError as error:
        raise SensorsFault(
            path, f"cannot be written ({error.strerror or error})", "give another --out"
        ) from None


def load(path: str | Path) -> Calibration:
    """Read a calibration file; raises SensorsFault."""
    return parse(read_text(path, SensorsFault), str(path))


def parse(text: str, file: str) -> Calibration:
    """The calibration in `text`; raises SensorsFault, one line, on anything unexpected."""
    table = Table(parse_toml(text, file, SensorsFault), file, "", SensorsFault, CURVE)
    version = table.whole("haul_calibration")
    if version is None:
        raise table.fault("haul_calibration", "is missing", REMAKE)
    if version != FORMAT:
        raise table.fault(
            "haul_calibration",
            f"format {version} is newer than this program reads ({FORMAT})",
            "use a newer haul",
        )
    degree = table.whole("degree")
    if degree is None:
        raise table.fault("degree", "is missing", "write degree = 1, 2 or 3")
    coefficients = _numbers(table, "coefficients", table.raw("coefficients"), degree + 1)
    rows = table.raw("covariance")
    if rows is None:
        raise table.fault("covariance", "is missing", REMAKE)
    if not isinstance(rows, list) or len(rows) != degree + 1:
        raise table.fault("covariance", f"must be {degree + 1} rows", REMAKE)
    covariance = tuple(_numbers(table, "covariance", row, degree + 1) for row in rows)
    if any(row[i] < 0 for i, row in enumerate(covariance)):
        raise table.fault("covariance", "has a negative variance", REMAKE)
    through_zero = bool(table.flag("through_zero"))
    fitted = degree + (not through_zero)
    residual_sd = table.number("residual_sd")
    n = table.whole("n", least=fitted)
    if n is None:
        raise table.fault("n", "is missing", "write how many points were fitted")
    if (residual_sd is None) != (n == fitted):
        raise table.fault(
            "residual_sd",
            "is missing" if residual_sd is None else f"cannot follow from {n} points",
            REMAKE,
        )
    terms = table.raw("terms", {})
    if not isinstance(terms, Mapping):
        raise table.fault("terms", "must be a table", "leave it out")
    curve = Calibration(
        degree=degree,
        coefficients=coefficients,
        covariance=covariance,
        residual_sd=residual_sd,
        n=n,
        applied_least=_needed(table, "applied_least", table.number("applied_least")),
        applied_most=_needed(table, "applied_most", table.number("applied_most")),
        through_zero=through_zero,
        resolution=table.number("resolution"),
        quantity=table.text("quantity"),
        least_loaded=_positive_term(terms, "least_loaded"),
        class_a_from=_positive_term(terms, "class_a_from"),
    )
    table.done(also=("terms",))
    if curve.reading_u == 0.0 and not any(map(any, covariance)) and residual_sd is None:
        raise table.fault("covariance", "is all 0, and no other key states an uncertainty", REMAKE)
    check_invertible(curve, file)
    return curve


def _positive_term(terms: Mapping[str, Any], key: str) -> float | None:
    """The term under `key`, a number above 0 (N or m); None if it is missing or a text."""
    value = terms.get(key)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return float(value) if math.isfinite(value) and value > 0 else None


def _toml(value: float | str) -> str:
    if isinstance(value, float):
        return repr(value)
    clean = "".join(c if c.isprintable() else " " for c in value)
    return '"' + clean.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _needed(table: Table, key: str, value: float | None) -> float:
    if value is None:
        raise table.fault(key, "is missing", REMAKE)
    return value


def _numbers(table: Table, key: str, value: Any, count: int) -> tuple[float, ...]:
    if value is None:
        raise table.fault(key, "is missing", REMAKE)
    good = isinstance(value, list) and len(value) == count
    good = good and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value)
    if not good or not all(math.isfinite(v) for v in value):
        raise table.fault(key, f"must be {count} finite numbers", REMAKE)
    return tuple(float(v) for v in value)
