"""Writes the file of a rig as it stands in the middle of a job: its bodies where they are now."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.mechanics.kinematics import LOAD, solve_motion
from analysis.rig.rig import Floats, Rig
from analysis.rig_edit.edits import kind_of
from analysis.rig_edit.toml_text import document_text
from analysis.rig_file.load import parse_rig
from logger.errors import RigFault
from logger.toml_tables import parse_toml

BEFORE_M = 0.05  # load travel before two-blocked; chosen by us: less than a reset shows
PLACES = 3  # decimals of a place in m; chosen by us: a millimetre, closer than anybody sets a grab


def as_it_stands(text: str, file: str, x_m: Floats) -> str:
    """The rig file with its bodies at x_m, (bodies,), m from the anchor.

    A rig that is two-blocked there is written a few centimetres before it.  The distance that the load has still
    to go is what is left of it.  Raises RigFault where the bodies cannot stand there.
    """
    rig = parse_rig(text, file)
    document = parse_toml(text, file, RigFault)
    try:
        return _checked(_written(document, rig, x_m), file)
    except RigFault:
        try:
            before = x_m - solve_motion(rig, x_m).body_rate * BEFORE_M
        except np.linalg.LinAlgError:
            raise RigFault(file, "it locks up where its bodies are now") from None
        return _checked(_written(document, rig, before), file)


def _checked(text: str, file: str) -> str:
    parse_rig(text, file)
    return text


def _written(document: Mapping[str, Any], rig: Rig, x_m: Floats) -> str:
    """The text of the file with the bodies at x_m, (bodies,), m."""
    places = {body.name: round(float(x), PLACES) for body, x in zip(rig.bodies, x_m, strict=True)}
    made = copy.deepcopy(dict(document))
    _set(made, "anchor_to_load", None)
    made = {"anchor_to_load_m": round(float(x_m[LOAD]), PLACES), **made}
    for rope in made["rope"]:
        for station in rope["path"]:
            if kind_of(station) == "grab":
                _set(station, "at", places[station["grab"]])
    for name, plate in made.get("plate", {}).items():
        _set(plate, "at", places[name])
    distance_m = rig.load.pull_distance_m
    if distance_m is not None:
        left_m = distance_m - float(rig.start_m[LOAD] - x_m[LOAD])
        _set(made["load"], "pull_distance", round(left_m, PLACES) if left_m > 0 else None)
    return document_text(made)


def _set(table: dict[str, Any], key: str, metres: float | None) -> None:
    """Set a length in place of the one in whatever unit the file has it; None: take it out."""
    for unit in ("m", "ft", "in", "mm"):
        table.pop(f"{key}_{unit}", None)
    if metres is not None:
        table[f"{key}_m"] = metres
