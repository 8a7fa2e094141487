"""A job walked step by step from a rig file's values, with kinematics and resets of its own.

For rigs along one line.  A grab, a tie and the haul hold the rope, so the rope between two of them keeps its length; that of
the last piece grows by what is hauled.  Rates follow by least squares, and every stroke is a straight line until two bodies
that a strand joins are `clearance_m` apart.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from support.held_rope import body, kind, places

MOST_STROKES = 400


@dataclass(frozen=True)
class Walked:
    """What a job took."""

    strokes: int
    resets: dict[str, int]  # slides, by grab
    haul_m: float  # rope hauled
    rope_m: float  # rope needed, all ropes: in the rig, on to the team, 3 m in hand, 1 m a tie


def straight(data: dict) -> bool:
    """Whether all bodies of a rig lie on the haul axis."""
    return all(side == 0.0 for _, side in places(data).values())


def moving(data: dict) -> list[str]:
    """Names of the bodies that move, the load first."""
    found = ["load"]
    for rope in data["rope"]:
        found += [s["grab"] for s in rope["path"] if kind(s) == "grab"]
    return found + list(data.get("plate", {}))


def rates(data: dict, x: dict[str, float]) -> tuple[dict[str, float], float]:
    """Travel of every moving body and rope hauled, for one metre of load travel toward the anchor."""
    names = moving(data)
    column = {name: k for k, name in enumerate(names)}
    rows, right = [], []
    first = np.zeros(len(names) + 1)
    first[0] = 1.0
    rows.append(first)
    right.append(-1.0)
    for rope in data["rope"]:
        pieces: list[list[dict]] = [[]]
        for station in rope["path"]:
            pieces[-1].append(station)
            if kind(station) == "grab":
                pieces.append([station])
        for piece in pieces:
            row = np.zeros(len(names) + 1)
            for a, b in itertools.pairwise(piece):
                ends = [body(a), body(b)]
                for one, station in ((0, a), (1, b)):
                    if kind(station) != "haul":
                        continue
                    # the hauled rope leaves the piece; from the ground its end stands, and its strand pays for the last body
                    row[-1] -= 1.0
                    if ends[one] is None:
                        last = ends[1 - one]
                        toward = 1.0 if station.get("toward_deg", 0) > 90 else -1.0
                        if last in column:
                            row[column[last]] -= toward
                if None in ends or ends[0] == ends[1]:
                    continue
                sign = 1.0 if x[ends[0]] > x[ends[1]] else -1.0
                for name, way in ((ends[0], sign), (ends[1], -sign)):
                    if name in column:
                        row[column[name]] += way
            if any(kind(s) == "free" for s in piece):
                continue  # a slack tail takes whatever is left
            rows.append(row)
            right.append(0.0)
    solved = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)[0]
    return {name: float(solved[column[name]]) for name in names}, abs(float(solved[-1]))


def joined(data: dict) -> list[tuple[str, str]]:
    """Pairs of bodies that a strand joins."""
    found = set()
    for rope in data["rope"]:
        for a, b in zip(rope["path"], rope["path"][1:], strict=False):
            ends = body(a), body(b)
            if None not in ends and ends[0] != ends[1]:
                found.add(tuple(sorted(ends)))
    return sorted(found)


def slid(data: dict, x: dict[str, float], home: dict[str, float], name: str) -> float:
    """Where a grab comes to when it is slid toward its place at the start, as far as there is room."""
    way = np.sign(home[name] - x[name]) or 1.0
    to = home[name]
    for pair in joined(data):
        if name in pair:
            other = x[pair[0] if pair[1] == name else pair[1]]
            if (other - x[name]) * way > 0:
                room = other - way * data.get("clearance_m", 0.3)
                to = min(to, room) if way > 0 else max(to, room)
    return to if (to - x[name]) * way > 0 else x[name]


def order_of(
    data: dict, x: dict[str, float], home: dict[str, float], pair: tuple[str, str], mode: str
) -> list[str]:
    """Grabs to slide, in order: all of them, or that of the pair that met, after any grab that leaves it no room."""
    grabs = [s["grab"] for rope in data["rope"] for s in rope["path"] if kind(s) == "grab"]
    if mode == "together":
        return sorted(grabs, key=lambda name: -x[name])
    rate = rates(data, x)[0]
    mine = [name for name in pair if name in grabs and abs(home[name] - x[name]) > 1e-6]
    if not mine:
        return []
    order: list[str] = [max(mine, key=lambda name: abs(rate[name]))]
    while True:
        name = order[0]
        to = slid(data, x, home, name)
        way = np.sign(home[name] - x[name]) or 1.0
        beside = [a if b == name else b for a, b in joined(data) if name in (a, b)]
        blocking = [
            other
            for other in beside
            if other in grabs and other not in order and (x[other] - x[name]) * way > 0
            and abs(x[other] - way * data.get("clearance_m", 0.3) - to) < 1e-9
        ]  # fmt: skip
        if abs(to - x[name]) >= data.get("clearance_m", 0.3) or not blocking:
            return order
        order.insert(0, blocking[0])


def needed(data: dict, x: dict[str, float]) -> list[float]:
    """Rope needed of each rope with the bodies at x."""
    result = []
    stand_m = data.get("team", {}).get("stand_m", 0.0)
    for rope in data["rope"]:
        path = rope["path"]
        length = 3.0 + sum(1.0 for s in path if kind(s) == "tie")
        for a, b in itertools.pairwise(path):
            ends = body(a), body(b)
            if None not in ends:
                length += abs(x[ends[0]] - x[ends[1]])
            elif "haul" in (kind(a), kind(b)):
                length += abs(x[ends[0] or ends[1]] - stand_m)
        result.append(length)
    return result


def walked(
    data: dict,
    distance_m: float,
    mode: str,
    setback_m: float = 0.0,
    covered: set[str] | None = None,
) -> Walked | None:
    """The job with grabs reset in this mode (each, together); None where it can't be done.

    setback_m: load travel lost at each reset that slides one of the grabs in `covered`; None: any.
    """
    clearance = data.get("clearance_m", 0.3)
    home = {name: x for name, (x, _) in places(data).items()}
    x = dict(home)
    grabs = [s["grab"] for rope in data["rope"] for s in rope["path"] if kind(s) == "grab"]
    resets, haul_m, strokes = dict.fromkeys(grabs, 0), 0.0, 0
    seen = [needed(data, x)]
    while strokes < MOST_STROKES:
        rate, rope_rate = rates(data, x)
        left = distance_m - (home["load"] - x["load"])
        go, met = left, ("", "")
        for a, b in joined(data):
            sign = 1.0 if x[a] > x[b] else -1.0
            closing = sign * (rate.get(b, 0.0) - rate.get(a, 0.0))
            room = max(0.0, (abs(x[a] - x[b]) - clearance) / closing) if closing > 1e-9 else go
            if room < go - 1e-9:
                go, met = room, (a, b)
        for name, one in rate.items():
            x[name] += one * go
        haul_m += rope_rate * go
        strokes += 1
        seen.append(needed(data, x))
        if not met[0]:
            return Walked(strokes, resets, haul_m, sum(map(max, zip(*seen, strict=True))))
        order = order_of(data, x, home, met, mode)
        lost_m = setback_m if covered is None or covered & set(order) else 0.0
        for name, one in rates(data, x)[0].items():
            x[name] -= one * lost_m
        gained = 0.0
        for name in order:
            to = slid(data, x, home, name)
            gained = max(gained, abs(to - x[name]))
            x[name] = to
            resets[name] += 1
        seen.append(needed(data, x))
        if gained < 1e-6:
            return None
    return None
