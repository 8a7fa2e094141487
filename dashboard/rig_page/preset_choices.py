"""Lists usual values as choices: each said as assumed, with its standard uncertainty and its source."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.rig.knots import KNOTS, UNKNOWN, knot
from analysis.rig.presets import (
    FOOTINGS,
    HITCHES,
    PULLEYS,
    ROPES,
    TEAM_SHARE,
    TEAM_SHARE_FROM,
    HitchPreset,
    PulleyPreset,
    RopePreset,
    team_pull_N,
)
from analysis.rig.surfaces import SURFACES, Surface
from analysis.rig_file.rig_keys import ITEM_KEYS
from dashboard.rig_page.acts import act
from dashboard.rig_page.menu_parts import About, Choice, Entry, MenuGroup

ASSUMED = (
    "usual values, assumed, ± one standard uncertainty"  # behind what a group of presets is about
)

ONE_SLIP_LOAD = (
    "One slip load is stated, but hitches scatter from tying to tying: it is no calibrated limiter. Type its "
    "standard uncertainty too; the limit is then lowered by twice that."
)


def states(row: Mapping[str, Any], kind: str, name: str) -> bool:
    """Whether the table of a grab or capture states this key, in any unit."""
    return any(each.name in row for each in ITEM_KEYS[kind].key(name).spellings)


def knot_choices(station: Mapping[str, Any], at: tuple[int, int]) -> MenuGroup:
    """The knots of a tie, each with the share of the rope's strength that it keeps."""
    return MenuGroup(
        f"Its knot keeps, of the rope's strength, {ASSUMED}",
        tuple(
            Choice(f"{row.name} {row.keeps:.2f} ± {row.keeps_u:.2f}", act("knot", *at, row.name), row.name == station.get("knot"))
            for row in KNOTS
        ),
        about=About(
            notes=(_knot_note(station),),
            sources=tuple(f"{row.name}: {row.source}" for row in KNOTS),
        ),
    )  # fmt: skip


def _knot_note(station: Mapping[str, Any]) -> str:
    """What the limit of a tied rope counts with now: what is stated, the chosen knot, or an unknown one."""
    if "strength" in station:
        return f"Stated: the knot keeps {station['strength']} of the rope's strength."
    chosen_knot = knot(str(station.get("knot", "")))
    row = UNKNOWN if chosen_knot is None else chosen_knot
    said = "" if chosen_knot is not None else "No knot is chosen. "
    slips = " It may slip before it breaks: back it up." if row.may_slip else ""
    return f"{said}Assumed: {row.name} {row.keeps:.2f} ± {row.keeps_u:.2f}; {row.source}.{slips}"


def preset_choices(document: Mapping[str, Any], kind: str, name: str) -> MenuGroup:
    """What a pulley, grab or capture usually is, or its own values."""
    row_now = document.get(kind, {}).get(name, {})
    now = row_now.get("preset")
    rows = PULLEYS if kind == "pulley" else HITCHES
    table = f"{kind}.{name}"
    choices = [
        Choice(_preset_label(row), act("choose", table, "preset", row.name), row.name == now)
        for row in rows
    ]
    choices.append(Choice("its own values", act("choose", table, "preset", ""), now is None))
    taken = next((row for row in rows if row.name == now), None)
    notes = () if taken is None else (f"Assumed: {_preset_label(taken)}; {taken.source}.",)
    if (
        kind != "pulley"
        and states(row_now, kind, "slips_at_kN")
        and not states(row_now, kind, "slips_at_u_kN")
    ):
        notes = (ONE_SLIP_LOAD,)
    sources = tuple(f"{_preset_label(row)}: {row.source}" for row in rows)
    return MenuGroup(f"What it is, {ASSUMED}", tuple(choices), about=About(notes, sources))


def _preset_label(row: PulleyPreset | HitchPreset) -> str:
    """A preset with its value and standard uncertainty."""
    words = row.name.replace("-", " ")
    if isinstance(row, PulleyPreset):
        return f"{words} {row.efficiency:.2f} ± {row.efficiency_u:.2f}"
    if row.slips_N is not None and row.slips_u_N is not None:
        return f"{words}, slips at {row.slips_N / 1000:.1f} ± {row.slips_u_N / 1000:.1f} kN"
    return f"{words}, hurts the rope at {(row.damages_N or 0.0) / 1000:.1f} kN"


def ground_choices(load: Mapping[str, Any]) -> MenuGroup:
    """The ground from tables: force to keep the load moving / its weight on the ground."""
    rows = [row for row in SURFACES if load.get("kind") in (None, "slope", row.kind)]
    if load.get("kind") == "hanging":
        rows = []
    now = next((row for row in rows if row.name == load.get("surface")), None)

    def says(row: Surface) -> str:
        """A surface with its coefficient and standard uncertainty."""
        return f"{row.name.replace('-', ' ')} {row.coefficient:.3g} ± {row.coefficient_u:.2g}"

    return MenuGroup(
        f"The ground, {ASSUMED}",
        tuple(Choice(says(row), act("choose", "load", "surface", row.name), row is now) for row in rows),
        about=About(
            notes=() if now is None else (
                f"Assumed: {says(now)} of the weight while it moves, {now.breakaway:g} ± {now.breakaway_u:g} "
                f"times that to start it; {now.source}.",
            ),
            folded=True,
            sources=tuple(f"{says(row)}: {row.source}" for row in rows),
        ),
    )  # fmt: skip


def people_choices(team: Mapping[str, Any], fields: tuple[Entry, ...]) -> MenuGroup:
    """The people: how many, on what ground they stand, or what they pull."""
    now = next((row for row in FOOTINGS if row.name == team.get("footing")), None)
    count = team.get("people")
    notes: tuple[str, ...] = ()
    if now is not None and isinstance(count, int) and count > 0:
        pull, u = team_pull_N(count, now.name)
        notes = (f"Assumed: together {pull:.0f} ± {u:.0f} N, kept up; {now.source}.",)
    return MenuGroup(
        f"The people: what each keeps up, {ASSUMED}",
        tuple(
            Choice(f"{row.name} footing {row.pull_N:.0f} ± {row.pull_u_N:.0f} N",
                   act("choose", "team", "footing", row.name), row is now)
            for row in FOOTINGS
        ),
        fields,
        about=About(
            notes=notes,
            sources=(
                *(f"{row.name} footing: {row.source}" for row in FOOTINGS),
                f"of {TEAM_SHARE_FROM} or more each gives {TEAM_SHARE:g}: Ringelmann; Ingham, "
                "J. Exp. Soc. Psych. 10:371, 1974",
            ),
        ),
    )  # fmt: skip


def rope_kind_choices(rope: Mapping[str, Any], number: int) -> MenuGroup:
    """What kind of rope it is, which gives its stretch."""
    now = next((row for row in ROPES if row.name == rope.get("preset")), None)

    def says(row: RopePreset) -> str:
        """A kind of rope with its stretch and standard uncertainty."""
        return f"{row.name.replace('-', ' ')} {100 * row.stretch:.1f} ± {100 * row.stretch_u:.1f} %"

    table = f"rope.{number}"
    return MenuGroup(
        f"Stretch of rope {rope.get('name', '')} at a tenth of its strength, {ASSUMED}",
        tuple(Choice(says(row), act("choose", table, "preset", row.name), row is now) for row in ROPES),
        about=About(
            notes=() if now is None else (f"Assumed: {says(now)}; {now.source}.",),
            folded=True,
            sources=tuple(f"{says(row)}: {row.source}" for row in ROPES),
        ),
    )  # fmt: skip
