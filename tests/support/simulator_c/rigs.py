"""Rigs with gains written by hand: rope in order, force on load and anchor for a haul tension of 1.

Tension method: seen from the hands, each pulley that the rope runs over leaves `e` of the tension; a body
carries the sum of the strands that pull on it.  Lowering, the rope runs the other way, and each pulley
leaves 1/e.  Source: any textbook of statics (belt over a wheel with a loss proportional to the tension).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

FAR_M = 30.0  # from the anchor to the load at the start


@dataclass(frozen=True)
class BuiltRig:
    """A rig as it stands.

    turns: pulleys that the rope runs over, from the hands on.  gain, anchor: force on the load and on the anchor
    for a haul tension of 1, from the pulleys' efficiencies in that order, shape (turns,).
    fed_back: share of the hauled rope that a full reset gives back; 0 where there is no grab.
    """

    name: str
    ideal: int
    turns: int
    path: str
    gain: Callable[[np.ndarray], float]
    anchor: Callable[[np.ndarray], float]
    fed_back: float


def _three(a: float, b: float) -> float:
    return 1 + a + a * b


def _sums(e: np.ndarray) -> float:
    """Load force of a simple tackle: every strand's tension."""
    return float(1 + np.cumprod(e).sum())


def _rest(e: np.ndarray) -> float:
    """Anchor force of a simple tackle: every strand's tension but the haul's."""
    return float(np.cumprod(e).sum())


RIGS = {
    one.name: one
    for one in (
        BuiltRig("2", 2, 1, "tie:anchor pulley:L1@load haul", _sums, _rest, 0.0),
        BuiltRig(
            "3", 3, 2, "tie:load grab:G1@28 pulley:A1@anchor pulley:T1@G1 haul", _sums, _rest, 2 / 3
        ),
        BuiltRig(
            "4", 4, 3, "tie:anchor pulley:L1@load pulley:A1@anchor pulley:L2@load haul",
            _sums, _rest, 0.0,
        ),
        BuiltRig(
            "5", 5, 4,
            "tie:load pulley:A1@anchor pulley:L1@load pulley:A2@anchor pulley:L2@load haul",
            _sums, _rest, 0.0,
        ),
        BuiltRig(
            "6", 6, 3,
            "tie:anchor pulley:L1@load grab:G1@28 pulley:A1@anchor pulley:T1@G1 haul",
            lambda e: _three(e[0], e[1]) * (1 + e[2]),
            lambda e: _three(e[0], e[1]) * e[2] + e[0] + e[0] * e[1],
            2 / 3,
        ),
        BuiltRig(
            "9", 9, 4,
            "tie:load grab:G1@28 pulley:A1@anchor pulley:T1@G1 grab:G2@26 pulley:A2@anchor pulley:T2@G2 haul",
            lambda e: _three(e[0], e[1]) * _three(e[2], e[3]),
            lambda e: _three(e[0], e[1]) * (e[2] + e[2] * e[3]) + e[0] + e[0] * e[1],
            8 / 9,
        ),
    )
}  # fmt: skip


def station(word: str) -> str:
    """A station of the rig file from one word of `BuiltRig.path`."""
    kind, _, rest = word.partition(":")
    name, _, where = rest.partition("@")
    if kind == "haul":
        return '{ haul = "team" }'
    if kind == "tie":
        return f'{{ tie = "{name}", strength = 1.0 }}'
    if kind == "grab":
        return f'{{ grab = "{name}", at_m = {where} }}'
    return f'{{ pulley = "{name}", on = "{where}" }}'


def rig_file(rig: BuiltRig, load: str, e: float, e_u: float) -> str:
    """The rig file: its pulleys' stated efficiency and the lines of [load]."""
    stations = "".join(f"  {station(word)},\n" for word in rig.path.split())
    loaded = f"[load]\n{load}\n" if load else ""
    return (
        f'title = "{rig.ideal}:1 on the slipway"\nanchor_to_load_m = {FAR_M}\n'
        f"[defaults]\npulley_efficiency = {e:.4f}\npulley_efficiency_u = {e_u:.4f}\n{loaded}"
        f'[[rope]]\nname = "main"\nlength_m = 400.0\npath = [\n{stations}]\n'
    )
