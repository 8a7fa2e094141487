"""A calibration: what a cell or counter reads for a known force or length, and its inverse.

The curve is reading = c0 + c1 x + c2 x^2 + c3 x^3 with x the applied force (N) or length (m);
fitted by least squares, inverted in use.  numpy is needed by `fit` alone.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from logger.errors import SensorsFault
from logger.files import write_atomic
from logger.tables import Table, parse_toml, read_text

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Values = TypeVar("Values", float, "npt.NDArray[np.float64]")

FORMAT = 1
MOST_DEGREE = 3


@dataclass(frozen=True)
class Calibration:
    """A fitted curve.  covariance: of the coefficients, rows of (degree + 1)^2 numbers;
    residual_sd: in the unit of the reading; n: points; applied_*: the range of the points, SI.
    """

    degree: int
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd: float
    n: int
    applied_least: float
    applied_most: float

    @property
    def coefficients_u(self) -> tuple[float, ...]:
        """Standard uncertainties of the coefficients."""
        return tuple(math.sqrt(max(0.0, row[i])) for i, row in enumerate(self.covariance))

    def reading(self, applied: Values) -> Values:
        """What is read for an applied value (SI); same shape."""
        total: Any = 0.0
        for c in reversed(self.coefficients):
            total = total * applied + c
        return total  # type: ignore[no-any-return]

    def slope(self, applied: Values) -> Values:
        """d reading / d applied; same shape."""
        total: Any = applied * 0.0
        for power in range(self.degree, 0, -1):
            total = total * applied + power * self.coefficients[power]
        return total  # type: ignore[no-any-return]

    def apply(self, reading: Values) -> Values:
        """The applied value (SI) for a reading, scalar or array; same shape.

        Degree 1 and 2 in closed form, degree 3 by Newton's method from the straight line; a
        reading beyond the turning point of a parabola gives the turning point.
        """
        c0, c1, *rest = self.coefficients
        y: Any = reading - c0
        if self.degree == 1:
            return y / c1  # type: ignore[no-any-return]
        c2 = rest[0]
        if self.degree == 2:
            root = c1 * c1 + 4.0 * c2 * y
            root = root * (root > 0.0)  # plain arithmetic: the same for a float and an array
            sign = 1.0 if c1 > 0 else -1.0
            return 2.0 * y / (c1 + sign * root**0.5)  # type: ignore[no-any-return]
        x: Any = y / c1
        for _ in range(20):
            x = x - (self.reading(x) - reading) / self.slope(x)
        return x  # type: ignore[no-any-return]

    def u_applied(self, applied: Values) -> Values:
        """Standard uncertainty (SI) of one applied value found from one new reading; same shape.

        u^2 = (s^2 + g' C g) / slope^2 with g = (1, x, x^2 ..): the curve's own uncertainty
        (JCGM 100:2008, H.3) and the scatter s of a single new observation.
        """
        spread: Any = self.residual_sd**2
        for i, row in enumerate(self.covariance):
            for j, c in enumerate(row):
                spread = spread + c * applied ** (i + j)
        spread = spread * (spread > 0.0)
        slope = self.slope(applied)
        return spread**0.5 / (slope * slope) ** 0.5  # type: ignore[no-any-return]


def fit(applied: Sequence[float], reading: Sequence[float], degree: int = 1) -> Calibration:
    """Least squares of reading = sum c_i applied^i, by orthogonal factors of scaled powers.

    Raises SensorsFault where the points do not determine a curve that can be inverted.
    """
    import numpy as np

    where = "calibration points"
    if not 1 <= degree <= MOST_DEGREE:
        raise SensorsFault(where, f"degree {degree} is out of range", "take 1, 2 or 3")
    x = np.asarray(applied, dtype=float)
    y = np.asarray(reading, dtype=float)
    n, m = x.size, degree + 1
    if n < m + 1:
        raise SensorsFault(
            where, f"{n} points are too few for degree {degree}", f"give at least {m + 1}"
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise SensorsFault(where, "a value is not finite", "give plain numbers")
    if np.unique(x).size < m:
        raise SensorsFault(
            where, f"fewer than {m} different applied values", "apply more different values"
        )
    scale = float(np.abs(x).max())
    powers = (x / scale)[:, None] ** np.arange(m)
    q, r = np.linalg.qr(powers)
    c = np.linalg.solve(r, q.T @ y)
    # one step of refinement: the certified values are met to more digits than one solve gives
    c = c + np.linalg.solve(r, q.T @ (y - powers @ c))
    residual = y - powers @ c
    s2 = float(residual @ residual) / (n - m)
    inverse = np.linalg.inv(r)
    covariance = inverse @ inverse.T * s2
    back = scale ** -np.arange(m, dtype=float)
    c, covariance = c * back, covariance * np.outer(back, back)
    found = Calibration(
        degree=degree,
        coefficients=tuple(float(v) for v in c),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        residual_sd=math.sqrt(s2),
        n=int(n),
        applied_least=float(x.min()),
        applied_most=float(x.max()),
    )
    _check_invertible(found, where)
    return found


def _check_invertible(curve: Calibration, where: str) -> None:
    steps = 200
    low, high = min(0.0, curve.applied_least), max(0.0, curve.applied_most)
    slopes = [curve.slope(low + (high - low) * i / steps) for i in range(steps + 1)]
    if curve.coefficients[1] == 0.0 or not (
        all(s > 0 for s in slopes) or all(s < 0 for s in slopes)
    ):
        raise SensorsFault(
            where,
            "the fitted curve does not rise or fall all the way, so it cannot be inverted",
            "take a lower degree or check the points",
        )


def read_points(path: str | Path) -> tuple[list[float], list[float]]:
    """The columns `applied` (SI) and `reading` of a CSV; an optional column `run` is ignored.

    Raises SensorsFault naming the line.
    """
    text = read_text(path, SensorsFault)
    rows = csv.reader(text.splitlines())
    cure = "the first line must be applied,reading"
    try:
        header = [cell.strip() for cell in next(rows, [])]
        for cell in header:
            if cell not in ("applied", "reading", "run"):
                raise SensorsFault(path, f'unknown column "{cell}"', cure, "line 1")
        for name in ("applied", "reading"):
            if header.count(name) != 1:
                raise SensorsFault(path, f"there must be one column {name}", cure, "line 1")
        a, r = header.index("applied"), header.index("reading")
        applied: list[float] = []
        reading: list[float] = []
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            where = f"line {rows.line_num}"
            if len(row) != len(header):
                raise SensorsFault(
                    path, f"{len(row)} cells where the header has {len(header)}",
                    "give one cell a column", where,
                )
            for cell, column in ((row[a], applied), (row[r], reading)):
                try:
                    value = float(cell)
                except ValueError:
                    value = math.nan
                if not math.isfinite(value):
                    raise SensorsFault(
                        path, f'"{cell}" is not a finite number', "write a plain number", where
                    )
                column.append(value)
    except csv.Error as error:
        raise SensorsFault(path, f"is not a CSV table ({error})", cure) from None
    return applied, reading


def save(curve: Calibration, path: str | Path) -> None:
    """Write the calibration as TOML; raises SensorsFault if the file cannot be written."""
    rows = ",\n".join("  [" + ", ".join(map(repr, row)) + "]" for row in curve.covariance)
    text = (
        "# reading = c0 + c1 applied + ..., applied in N or m; made by `haul calibrate`\n"
        f"haul_calibration = {FORMAT}\n"
        f"degree = {curve.degree}\n"
        f"coefficients = [{', '.join(map(repr, curve.coefficients))}]\n"
        f"covariance = [\n{rows},\n]\n"
        f"residual_sd = {curve.residual_sd!r}\n"
        f"n = {curve.n}\n"
        f"applied_least = {curve.applied_least!r}\n"
        f"applied_most = {curve.applied_most!r}\n"
    )
    try:
        write_atomic(Path(path), text.encode())
    except OSError as error:
        raise SensorsFault(
            path, f"cannot be written ({error.strerror or error})", "give another --out"
        ) from None


def load(path: str | Path) -> Calibration:
    """Read a calibration file; raises SensorsFault."""
    return parse(read_text(path, SensorsFault), str(path))


def parse(text: str, file: str) -> Calibration:
    """The calibration in `text`; raises SensorsFault, one line, on anything unexpected."""
    table = Table(parse_toml(text, file, SensorsFault), file, "", SensorsFault)
    version = table.whole("haul_calibration")
    if version is None:
        raise table.fault("haul_calibration", "is missing", "make the file with `haul calibrate`")
    if version != FORMAT:
        raise table.fault("haul_calibration", f"format {version} is not known", "take a newer haul")
    degree = table.whole("degree", least=1, most=MOST_DEGREE)
    if degree is None:
        raise table.fault("degree", "is missing", "write degree = 1, 2 or 3")
    coefficients = _numbers(table, "coefficients", table.raw("coefficients"), degree + 1)
    rows = table.raw("covariance")
    if not isinstance(rows, list) or len(rows) != degree + 1:
        raise table.fault("covariance", f"must be {degree + 1} rows", "make the file anew")
    covariance = tuple(_numbers(table, "covariance", row, degree + 1) for row in rows)
    if any(row[i] < 0 for i, row in enumerate(covariance)):
        raise table.fault("covariance", "has a negative variance", "make the file anew")
    found = Calibration(
        degree=degree,
        coefficients=coefficients,
        covariance=covariance,
        residual_sd=_needed(table, "residual_sd", table.number("residual_sd", least=0.0)),
        n=table.whole("n", least=degree + 2) or 0,
        applied_least=_needed(table, "applied_least", table.number("applied_least")),
        applied_most=_needed(table, "applied_most", table.number("applied_most")),
    )
    if not found.n:
        raise table.fault("n", "is missing", "write how many points were fitted")
    table.done()
    _check_invertible(found, file)
    return found


def _needed(table: Table, key: str, value: float | None) -> float:
    if value is None:
        raise table.fault(key, "is missing", "make the file with `haul calibrate`")
    return value


def _numbers(table: Table, key: str, value: Any, count: int) -> tuple[float, ...]:
    good = isinstance(value, list) and len(value) == count
    good = good and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value)
    if not good or not all(math.isfinite(v) for v in value):
        raise table.fault(key, f"must be {count} finite numbers", "make the file with `haul calibrate`")
    return tuple(float(v) for v in value)
