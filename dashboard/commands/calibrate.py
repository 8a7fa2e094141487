"""Fits a calibration to known forces or lengths: reading = c0 + c1 applied + ...

POINTS.csv has a column applied (N or m, or the unit of --unit) and a column reading (as the device
sends it), in the order in which the points were taken. It may have a column run (the loading that the
point belongs to) and a column applied_u (standard uncertainty of applied). Name the file that is
written in the sensors file: calibration = "FILE".
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from dashboard.text.console import add_json, pairs, positive, print_json
from logger.calibration.calibration import fit, save
from logger.calibration.curve import Calibration
from logger.calibration.iso376_e74 import Term, recorded_terms, terms
from logger.calibration.points_file import Points, read_points
from logger.device_units import FORCE_UNITS, KGF_N, LENGTH_UNITS, to_si
from logger.errors import CallFault, SensorsFault

MASSES = ("kg", "g", "lb")
ONLY_TERMS = (
    "In the terms of ISO 376 and ASTM E74: figures to compare, not a classification, "
    "and this is no calibration certificate."
)
LENGTHS = "ISO 376 and ASTM E74 are about forces, so their figures are not given for lengths"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul calibrate`."""
    parser.add_argument("points", metavar="POINTS.csv", help="the table of calibration points")
    parser.add_argument("--out", metavar="FILE", required=True, help="the file to write (TOML)")
    parser.add_argument(
        "--degree",
        type=int,
        choices=(1, 2, 3),
        default=1,
        help="degree of the curve (default 1, a straight line)",
    )
    parser.add_argument(
        "--through-zero",
        action="store_true",
        help="fit without c0, for a tared cell or a counter set to 0",
    )
    parser.add_argument(
        "--applied-u", metavar="U", type=positive("the applied values' unit"),
        help="standard uncertainty of each applied value except 0, in the unit of applied",
    )  # fmt: skip
    parser.add_argument(
        "--resolution", metavar="R", type=positive("the readings' unit"),
        help="smallest step of a reading (default: the last digit in the table)",
    )  # fmt: skip
    parser.add_argument(
        "--unit", choices=(*FORCE_UNITS, *LENGTH_UNITS),
        help=f"unit of applied (default N or m); a mass counts as its weight with g = {KGF_N} m/s2",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul calibrate` and return the exit status."""
    points = read_points(args.points)
    _check_out(Path(args.points), Path(args.out))
    factor = to_si(args.unit) if args.unit else 1.0
    length = args.unit in LENGTH_UNITS
    applied = [a * factor for a in points.applied]
    applied_u = _applied_u(args, points, factor)
    try:
        curve = fit(
            applied, points.reading, args.degree, through_zero=args.through_zero,
            applied_u=applied_u, resolution=args.resolution or points.resolution,
            quantity=None if args.unit is None else ("length" if length else "force"),
        )  # fmt: skip
    except SensorsFault as fault:
        raise SensorsFault(args.points, fault.fault, fault.cure, fault.place) from None
    iso_terms = () if length else terms(curve, applied, points.reading, points.run)
    save(curve, args.out, recorded_terms(curve, applied, points.reading, points.run))
    if args.json:
        print_json(
            {
                "degree": curve.degree,
                "coefficients": list(curve.coefficients),
                "coefficients_u": list(curve.coefficients_u),
                "residual_sd": curve.residual_sd,
                "n": curve.n,
            }
        )
        return 0
    unit = "N or m" if args.unit is None else ("m" if length else "N")
    if args.unit in MASSES:
        print(
            f"a mass counts as its weight with g = {KGF_N} m/s2; at the equator it weighs 0.3 % less, "
            "at the poles 0.3 % more"
        )
    print("\n".join(_curve_lines(curve, unit)))
    if curve.residual_sd is not None:
        off = [abs(r - curve.reading(a)) for a, r in zip(applied, points.reading, strict=True)]
        at = max(range(len(off)), key=off.__getitem__)
        print(
            f"  greatest departure from the curve: {off[at]:.3g} reading, at {applied[at]:.6g} {unit}"
        )
    print("\n".join(_use_lines(curve, applied, unit, applied_u is not None)))
    print(LENGTHS if length else "\n".join([ONLY_TERMS, *_term_lines(iso_terms, unit)]))
    print(f'written to {args.out}; in the sensors file: calibration = "{args.out}"')
    return 0


def _check_out(points: Path, out: Path) -> None:
    """Raise CallFault for a file that is there and is not an earlier calibration."""
    try:
        if not out.exists() or out.is_dir():
            return  # writing to a folder raises the fault
        if out.samefile(points):
            raise CallFault(out, "is the table of points itself", "give another --out")
        with out.open("rb") as file:
            start = file.read(4096)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(out, f"cannot be written ({reason})", "give another --out") from None
    if start.strip() and b"haul_calibration" not in start:
        raise CallFault(
            out, "exists and is not a calibration, so it is not overwritten", "give another --out"
        )


def _applied_u(args: argparse.Namespace, points: Points, factor: float) -> list[float] | None:
    """Standard uncertainty of each applied value, N or m; None where none is stated.

    factor: the unit of the table in N or m.
    """
    if points.applied_u is not None:
        if args.applied_u is not None:
            raise CallFault(
                args.points, "has a column applied_u, but --applied-u is given too",
                "leave one of them out",
            )  # fmt: skip
        return [u * factor for u in points.applied_u]
    if args.applied_u is None:
        return None
    # an applied value of 0 is exact: nothing hangs on the cell
    return [args.applied_u * factor if a else 0.0 for a in points.applied]


def _curve_lines(curve: Calibration, unit: str) -> list[str]:
    powers = ["c0"] * (not curve.through_zero) + ["c1 applied", "c2 applied^2", "c3 applied^3"]
    formula = " + ".join(powers[: curve.degree + (not curve.through_zero)])
    many = "1 point" if curve.n == 1 else f"{curve.n} points"
    lines = [f"reading = {formula}, from {many} ({curve.dof} degrees of freedom)"]
    for power, (c, u) in enumerate(zip(curve.coefficients, curve.coefficients_u, strict=True)):
        if curve.through_zero and not power:
            continue
        per = f"({unit})" if " " in unit else unit
        per_unit = "reading" if not power else f"reading/{per}{'' if power == 1 else f'^{power}'}"
        lines.append(f"  c{power} = {c:.9g} {per_unit}, standard uncertainty {u:.2g} {per_unit}")
    first = int(curve.through_zero)
    for i in range(first, curve.degree + 1):
        for j in range(i + 1, curve.degree + 1):
            r = curve.correlation(i, j)
            if r is not None:
                lines.append(f"  correlation of c{i} and c{j}: {r:.3f}")
    if curve.residual_sd is None:
        said = (
            "not known, because there are no more points than coefficients; the uncertainty of the "
            "applied values and the resolution take its place"
        )
    else:
        said = f"{curve.residual_sd:.3g} reading (standard deviation about the curve)"
    lines.append(f"  scatter of one reading: {said}")
    lines.append(f"  resolution of a reading: {curve.resolution:.3g} reading")
    return lines


def _use_lines(
    curve: Calibration, applied: Sequence[float], unit: str, applied_stated: bool
) -> list[str]:
    """Lines with the uncertainty of one reading in use, at the least, a middle and the greatest
    value."""
    sizes = sorted({abs(a) for a in applied if a})
    sign = 1.0 if max(applied, key=abs) > 0 else -1.0
    places = sorted({sizes[0], sizes[len(sizes) // 2], sizes[-1]})
    lines = ["Standard uncertainty of one new reading, from scatter and curve together:"]
    lines += pairs(
        [
            (f"at {place:.6g} {unit}", f"{curve.u_applied(sign * place):.3g} {unit}"
             f" ({100.0 * curve.u_applied(sign * place) / place:.2g} %)")
            for place in places
        ]
    )  # fmt: skip
    if not applied_stated:
        lines.append(
            "  The applied values count as exact; state their uncertainty with --applied-u or a column applied_u."
        )
    return lines


def _term_lines(iso_terms: Sequence[Term], unit: str) -> list[str]:
    rows = []
    for term in iso_terms:
        if term.value is None:
            rows.append((term.name, _not_known(term)))
            continue
        shown = unit if term.unit == "applied" else term.unit
        note = f" ({term.note})" if term.note else ""
        rows.append((term.name, f"{term.value:.7g} {shown}{note}" if shown != "%"
                     else f"{term.value:.2g} %{note}"))  # fmt: skip
    return pairs(rows)


def _not_known(term: Term) -> str:
    return f"not known: {term.why_not}"
