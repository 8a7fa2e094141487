"""Reads the [load] table of a rig file."""

from __future__ import annotations

import math

from analysis.messages.message import Message, message
from analysis.rig.rig import Load, Rating
from analysis.rig.surfaces import SURFACES, Surface, surface
from analysis.rig_file.ratings import read_rating
from analysis.rig_file.rig_keys import BREAKAWAY_U, COEFFICIENT_U, MASS_U, RESISTANCE_U
from logger.spelling import cure
from logger.toml_tables import Table


def read_load(table: Table) -> tuple[Load, Rating, list[Message]]:
    """Read the load, its rating, and warnings of what is assumed; raises RigFault."""
    notes: list[Message] = []
    kind = table.text("kind")
    mass = table.number("mass_kg")
    mass_u = table.number("mass_kg_u")
    slope = table.number("slope_deg")
    coefficient = table.number("resistance_coefficient")
    coefficient_u = table.number("resistance_coefficient_u")
    resistance = table.number("resistance_N")
    resistance_u = table.number("resistance_u_N")
    distance = table.number("pull_distance_m")
    surface = _surface(table, kind)
    breakaway = table.number("breakaway")
    breakaway_u = table.number("breakaway_u")
    rating = read_rating(table)
    table.done()
    if surface is not None:
        kind = kind or surface.kind
        if coefficient is None:
            coefficient, coefficient_u = surface.coefficient, surface.coefficient_u
            notes.append(
                message(
                    "surface_is_a_guess", coefficient=surface.coefficient_text, surface=surface.name
                )
            )
        if breakaway is None:
            breakaway, breakaway_u = surface.breakaway, surface.breakaway_u
    if breakaway is not None and breakaway_u is None:
        breakaway_u = BREAKAWAY_U * (breakaway - 1.0)
    if resistance is not None:
        for key in ("mass_kg", "slope_deg", "resistance_coefficient", "surface"):
            if table.has(key):
                raise table.fault(
                    key,
                    "cannot stand beside resistance_N",
                    "write either resistance_N, or kind, mass_kg and resistance_coefficient",
                )
    elif kind is None and (mass is not None or coefficient is not None):
        raise table.fault(
            "kind", "is missing", 'write kind = "hanging", "slope", "rolling" or "dragging"'
        )
    if resistance_u is not None and resistance is None:
        raise table.fault(
            "resistance_u_N",
            "needs resistance_N beside it",
            "write resistance_N = the force in N",
        )
    if mass_u is None and mass is not None:
        mass_u = MASS_U * mass
    if coefficient_u is None and coefficient is not None:
        coefficient_u = COEFFICIENT_U * coefficient
    if resistance_u is None and resistance is not None:
        resistance_u = RESISTANCE_U * resistance
    made = Load(
        kind=kind,
        mass_kg=mass,
        mass_u_kg=mass_u,
        slope_rad=math.radians(slope or 0.0),
        coefficient=coefficient,
        coefficient_u=coefficient_u,
        resistance_N=resistance,
        resistance_u_N=resistance_u,
        pull_distance_m=distance,
        wll_N=rating.wll_N,
        surface=surface.name if surface else "",
        breakaway=breakaway,
        breakaway_u=breakaway_u,
    )
    return made, rating, notes


def _surface(table: Table, kind: str | None) -> Surface | None:
    """The row of the surface tables that the file names, or None; raises RigFault."""
    name = table.text("surface")
    if name is None:
        return None
    row = surface(name)
    if row is None:
        raise table.fault(
            "surface",
            f'"{name}" is not in the table of surfaces',
            cure(name, [each.name for each in SURFACES], "surfaces are", "{}"),
        )
    if kind == "hanging" or (kind in ("rolling", "dragging") and kind != row.kind):
        raise table.fault(
            "surface", f"is for a {row.kind} load, not for a {kind} one",
            "write another surface, or resistance_coefficient",
        )  # fmt: skip
    return row
