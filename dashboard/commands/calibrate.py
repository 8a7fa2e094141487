"""Fit a calibration to known forces or lengths: reading = c0 + c1 applied + ...

POINTS.csv has the columns applied (in N or m) and reading (as the device sends it), and may have
a column run. The file that --out names is what a sensors file refers to: calibration = "FILE".
"""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, print_json
from logger.calibration import fit, read_points, save
from logger.errors import SensorsFault


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("points", metavar="POINTS.csv", help="the table of points")
    parser.add_argument("--out", metavar="FILE", required=True, help="the file to write (TOML)")
    parser.add_argument(
        "--degree", type=int, choices=(1, 2, 3), default=1, help="of the curve (default 1)"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    applied, reading = read_points(args.points)
    try:
        curve = fit(applied, reading, args.degree)
    except SensorsFault as fault:
        raise SensorsFault(args.points, fault.fault, fault.cure, fault.place) from None
    save(curve, args.out)
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
    print(f"reading = c0 + c1 applied{' + ...' if curve.degree > 1 else ''}, from {curve.n} points")
    for power, (c, u) in enumerate(zip(curve.coefficients, curve.coefficients_u, strict=True)):
        print(f"  c{power} = {c:.9g}, standard uncertainty {u:.2g}")
    print(f"  scatter of one reading (standard deviation): {curve.residual_sd:.3g}")
    print(f"written to {args.out}; in the sensors file: calibration = \"{args.out}\"")
    return 0
