"""Lists the built-in rigs that can do a job, the quickest first, and says why each of the others cannot.

State the load by its resistance along the haul line (--load-N), or by its mass and the ground that it
stands on. A limit of the gear is checked if you give it. Exit status 1 if no rig can do the job.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable

from analysis.messages.message import Message
from analysis.prediction.choose_rig import (
    GearRatings,
    Need,
    Option,
    as_json,
    between,
    choose,
    fitted,
    shelf,
    warnings,
)
from analysis.rig.knots import KNOTS
from analysis.rig.rig import Load
from analysis.rig.surfaces import SURFACES, surface
from analysis.rig_file.ratings import in_newtons, too_much
from analysis.rig_file.rig_keys import MOST_KN, MOST_SLIP_KN
from dashboard.text.console import (
    add_json,
    add_quantity,
    add_units,
    positive,
    print_json,
    table,
    units,
)
from dashboard.text.units import Units, number, percent
from logger.errors import CallFault
from logger.spelling import cure as cure_for
from logger.spelling import likely

PAIR = ("3-on-4", "3-on-3-on-2")  # 12 to 1 and 18 to 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul choose`."""
    load = parser.add_mutually_exclusive_group(required=True)
    add_quantity(load, "--load-N", "force",
                 "resistance of the load along the haul line while it moves, N")  # fmt: skip
    add_quantity(load, "--mass-kg", "mass",
                 "mass of the load, kg; with --kind, --slope-deg, --surface or --coefficient")  # fmt: skip
    add = parser.add_argument
    _either(parser, "--load-u-N", "force", "standard uncertainty of --load-N, N (default 10 %%)")
    add("--kind", choices=("hanging", "slope", "rolling", "dragging"), help="how the load moves")
    add(
        "--slope-deg",
        metavar="DEG",
        type=_slope,
        default=None,
        help="slope of the ground, uphill positive, degrees (default 0)",
    )
    add(
        "--surface",
        metavar="NAME",
        help="the ground, a row of the surface tables: " + ", ".join(s.name for s in SURFACES),
    )
    add("--coefficient", metavar="C", type=positive("a ratio"),
        help="friction or rolling coefficient of the ground, instead of --surface (taken as 30 %% uncertain)")  # fmt: skip
    add("--breakaway", metavar="B", type=_at_least_one,
        help="how many times its moving resistance the ground resists until the load breaks away, 1 or more")  # fmt: skip
    _either(parser, "--distance-m", "length", "how far the load has to go, m", required=True)
    _either(parser, "--rope-m", "length", "length of all your rope together, m", required=True)
    _either(parser, "--team-N", "force", "pull that the whole team can keep up, N", required=True)
    add(
        "--haulers",
        metavar="N",
        type=_count,
        default=2,
        help="number of people who haul (default 2), to estimate the time",
    )
    add(
        "--pulley-efficiency",
        metavar="E",
        type=_efficiency,
        help="efficiency of each pulley (default 0.90)",
    )
    _either(
        parser,
        "--rope-mbs-kN",
        "force",
        "breaking strength of the rope, kN; without --knot a knot is assumed to keep 0.50 of it",
    )
    add("--knot", metavar="NAME",
        help="the knot at each tie: " + ", ".join(row.name for row in KNOTS))  # fmt: skip
    _either(parser, "--pulley-mbs-kN", "force", "breaking strength of the weakest pulley, kN")
    _either(parser, "--anchor-mbs-kN", "force", "breaking strength of the weakest anchor, kN")
    _either(
        parser,
        "--grab-slips-kN",
        "force",
        "force at which a grab (prusik or other friction hitch) begins to slip, kN",
    )
    _either(
        parser, "--grab-slips-u-kN", "force", "its standard uncertainty, kN; the limit is 2 U lower"
    )
    _either(
        parser,
        "--capture-slips-kN",
        "force",
        "force at which a progress capture begins to slip, kN",
    )
    _either(
        parser,
        "--capture-slips-u-kN",
        "force",
        "its standard uncertainty, kN; the limit is 2 U lower",
    )
    add("--design-factor", metavar="K", type=_at_least_one, default=10.0,
        help="breaking strength / allowed working force (default 10)")  # fmt: skip
    add("--between", metavar=("A", "B"), nargs=2, default=PAIR,
        help="two rigs to compare in force, rope and time (default 3-on-4 and 3-on-3-on-2)")  # fmt: skip
    add("--write", metavar=("NAME", "FILE"), nargs=2,
        help="write the built-in rig NAME, fitted to the job, with all gear given here, as a rig file")  # fmt: skip
    add_json(parser)
    add_units(parser)


def _either(
    parser: argparse.ArgumentParser,
    option: str,
    quantity: str,
    help_text: str,
    required: bool = False,
) -> None:
    """Add an option under both its forms, of which one may be given."""
    add_quantity(
        parser.add_mutually_exclusive_group(required=required), option, quantity, help_text
    )


def run(args: argparse.Namespace) -> int:
    """Run `haul choose` and return the exit status."""
    need = _need(args)
    options = choose(need)
    by_name = {o.name: o for o in options}
    asked = [("--between", name) for name in args.between]
    asked += [("--write", args.write[0])] if args.write else []
    for option, name in asked:
        if name not in by_name:
            raise CallFault(
                "choose",
                f'{option}: there is no built-in rig "{name}"',
                cure_for(name, by_name, "names are", "{}"),
            )
    if args.write:
        _write(need, *args.write)
    pair = between(*(by_name[name] for name in args.between))
    if args.json:
        print_json(as_json(need, options, pair))
    else:
        print("\n".join(_lines(need, options, pair, units(args))))
    return 0 if any(not o.why_not for o in options) else 1


def _write(need: Need, name: str, file: str) -> None:
    from pathlib import Path

    from analysis.rig_file.to_toml import rig_toml

    try:
        with Path(file).open("x", encoding="utf-8") as out:
            out.write(rig_toml(fitted(shelf()[name], need)))
    except FileExistsError:
        raise CallFault(file, "exists; no file is overwritten", "give --write a new name") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(
            file, f"cannot be written ({reason})", "give --write another file"
        ) from None


def _need(args: argparse.Namespace) -> Need:
    for hitch in ("grab", "capture"):
        _check_slip(args, hitch)
    gear = GearRatings(
        efficiency=args.pulley_efficiency,
        rope_mbs_N=_newton(args, "rope_mbs_kN"),
        pulley_mbs_N=_newton(args, "pulley_mbs_kN"),
        anchor_mbs_N=_newton(args, "anchor_mbs_kN"),
        grab_slips_N=_newton(args, "grab_slips_kN", MOST_SLIP_KN),
        grab_slips_u_N=_newton(args, "grab_slips_u_kN", MOST_SLIP_KN),
        capture_slips_N=_newton(args, "capture_slips_kN", MOST_SLIP_KN),
        capture_slips_u_N=_newton(args, "capture_slips_u_kN", MOST_SLIP_KN),
        knot=_knot(args.knot),
        design_factor=args.design_factor,
    )
    return Need(
        load=_load(args), rope_m=args.rope_m, team_N=args.team_N, haulers=args.haulers, gear=gear
    )


def _load(args: argparse.Namespace) -> Load:
    breakaway_u = None if args.breakaway is None else 0.5 * (args.breakaway - 1)
    if args.load_N is not None:
        for option in ("kind", "slope_deg", "surface", "coefficient"):
            if getattr(args, option) is not None:
                name = "--" + option.replace("_", "-")
                raise CallFault(
                    "choose",
                    f"{name} cannot be given together with --load-N",
                    "write --mass-kg instead of --load-N",
                )
        u = 0.1 * args.load_N if args.load_u_N is None else args.load_u_N
        return Load(resistance_N=args.load_N, resistance_u_N=u, pull_distance_m=args.distance_m,
                    breakaway=args.breakaway, breakaway_u=breakaway_u)  # fmt: skip
    if args.load_u_N is not None:
        raise CallFault("choose", "--load-u-N is given without --load-N", "write --load-N too")
    ground = _ground(args)
    kind = args.kind or (ground[0] if ground else None)
    if kind is None:
        raise CallFault("choose", "--mass-kg alone does not give the resistance of the load",
                        "write --kind hanging, or --surface NAME or --coefficient C")  # fmt: skip
    coefficient, u, breakaway, breakaway_own_u = ground[1:] if ground else (None, None, None, None)
    if kind != "hanging" and coefficient is None:
        raise CallFault("choose", f"the resistance of the ground to a {kind} load is not given",
                        "write --surface NAME or --coefficient C")  # fmt: skip
    return Load(
        kind=kind, mass_kg=args.mass_kg, mass_u_kg=0.02 * args.mass_kg,
        slope_rad=math.radians(args.slope_deg or 0.0), coefficient=coefficient, coefficient_u=u,
        pull_distance_m=args.distance_m,
        breakaway=breakaway if args.breakaway is None else args.breakaway,
        breakaway_u=breakaway_own_u if args.breakaway is None else breakaway_u,
    )  # fmt: skip


def _ground(
    args: argparse.Namespace,
) -> tuple[str, float, float, float | None, float | None] | None:
    """(kind, coefficient, u, breakaway, u of breakaway) of the surface or coefficient given; None
    without."""
    if args.coefficient is not None:
        if args.surface is not None:
            raise CallFault(
                "choose", "--coefficient and --surface are both given", "write one of the two"
            )
        return (
            "slope" if args.slope_deg else "rolling",
            args.coefficient,
            0.3 * args.coefficient,
            None,
            None,
        )
    if args.surface is None:
        return None
    row = surface(args.surface)
    if row is None:
        names = [s.name for s in SURFACES]
        raise CallFault(
            "choose",
            f'--surface: there is no surface "{args.surface}"',
            cure_for(args.surface, names, "surfaces are", "{}"),
        )
    if args.kind == "hanging" or (args.kind in ("rolling", "dragging") and args.kind != row.kind):
        raise CallFault("choose", f"--surface {row.name} is for a {row.kind} load",
                        f"write --kind {row.kind}")  # fmt: skip
    return row.kind, row.coefficient, row.coefficient_u, row.breakaway, row.breakaway_u


def _lines(need: Need, options: list[Option], pair: Message, shown: Units) -> list[str]:
    needs = need.resistance
    lines = [
        f"A load of {shown.force_pm(needs.force_N, needs.force_u_N)} to move {shown.length(need.distance_m)}, with "
        f"{shown.length(need.rope_m)} of rope and a team that pulls {shown.force(need.team_N)}",
        "",
    ]
    winners = [o for o in options if not o.why_not]
    if winners:
        lines.append("Rigs that can do it, the quickest first")
        lines += table([_head(), *(_row(o, shown) for o in winners)], indent="  ")
    else:
        lines.append("No built-in rig can do it.")
    lines += ["", "Rigs that cannot, and why"]
    lines += table(
        [
            [o.name, f"{number(o.ideal_ma)} : 1", "; ".join(why.text(shown) for why in o.why_not)]
            for o in options if o.why_not
        ],
        left=3,
    )  # fmt: skip
    lines += ["", pair.text(shown), ""]
    return lines + [f"! {one.text(shown)}" for one in warnings(need)] + [
        "! Stay out of the line of pull; ratings and a qualified person stand above this list.",
    ]  # fmt: skip


def _head() -> list[str]:
    return ["", "ideal", "with friction", "haul force", "to start", "most used", "rope", "through hands",
            "resets", "time, about", "gear"]  # fmt: skip


def _row(o: Option, shown: Units) -> list[str]:
    minutes = "-" if o.time_s is None else f"{o.time_s / 60:.0f} min"
    gear = ", ".join(
        f"{n} {what}{'' if n == 1 else 's'}"
        for n, what in ((o.pulleys, "pulley"), (o.grabs, "grab"), (o.captures, "capture"),
                        (o.anchors, "anchor"), (o.ropes, "rope"))
        if n
    )  # fmt: skip
    start = "-" if o.start_force_N is None else shown.force(o.start_force_N)
    return [
        o.name, f"{number(o.ideal_ma)} : 1", f"{number(o.model_ma)} : 1",
        shown.force_pm(o.haul_force_N, o.haul_force_u_N), start, percent(o.most_used),
        shown.length(o.rope_needed_m), shown.length(o.rope_through_hands_m),
        f"{o.resets} {o.reset}" if o.resets else "0", minutes, gear,
    ]  # fmt: skip


def _newton(args: argparse.Namespace, name: str, most_kN: float = MOST_KN) -> float | None:
    """The value of an option in kN, N; one that is plainly in N is asked back.

    most_kN: highest plausible value.
    """
    kilo: float | None = getattr(args, name)
    if kilo is not None and kilo > most_kN:
        option = "--" + name.replace("_", "-")
        raise CallFault("choose", f"{option}: {too_much(kilo, most_kN)}", in_newtons(kilo, option))
    return None if kilo is None else 1000.0 * kilo


def _check_slip(args: argparse.Namespace, hitch: str) -> None:
    """Refuse an uncertainty of a slip load that stands alone or leaves nothing of the load."""
    slips, u = getattr(args, f"{hitch}_slips_kN"), getattr(args, f"{hitch}_slips_u_kN")
    if u is not None and (slips is None or 2 * u >= slips):
        what = "has no slip load beside it" if slips is None else f"leaves nothing of {slips:g} kN"
        raise CallFault(
            "choose", f"--{hitch}-slips-u-kN {what}", f"write --{hitch}-slips-kN above 2 U"
        )


def _knot(name: str | None) -> str:
    """The name of a knot of the table; "" for None."""
    names = [row.name for row in KNOTS]
    if name is not None and name not in names:
        near = likely(name, names)
        cure = (f"write {near}; " if near else "") + "knots are " + ", ".join(names)
        raise CallFault("choose", f'--knot: "{name}" is not in the table of knots', cure)
    return name or ""


def _between(text: str, holds: Callable[[float], bool], what: str) -> float:
    """The number in an argument if it `holds`; raises ArgumentTypeError with what it must be."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not holds(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not {what}")
    return value


def _slope(text: str) -> float:
    return _between(text, lambda x: -90 <= x <= 90, "an angle from -90 to 90 degrees")


def _at_least_one(text: str) -> float:
    return _between(text, lambda x: 1 <= x <= 1000, "a number from 1 to 1000")


def _efficiency(text: str) -> float:
    return _between(text, lambda x: 0 < x <= 1, "an efficiency: above 0, at most 1")


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of people from 1 to 1000")
    return int(text)
