"""A second judge of a conversion: own statics of a held rope, and the rules of a move, from TOML texts alone.

It shares no code with the rooms.  Statics: a free-body diagram of each travelling body and of each turn of the
rope (any textbook of engineering mechanics, "pulley systems"), solved as one over-determined linear system, so that
a rope that only lies slack is no obstacle.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections import Counter
from collections.abc import Iterator

import numpy as np

KINDS = ("tie", "grab", "pulley", "capture", "edge", "haul", "free")
TINY = 1e-9


def kind(station: dict) -> str:
    """Kind of a station as written."""
    return next(one for one in KINDS if one in station)


def body(station: dict) -> str | None:
    """Body that a station acts on; None of a haul from the ground and of a free tail."""
    what = kind(station)
    if what in ("tie", "grab") or (what == "edge" and "on" not in station):
        return station[what]
    return station.get("on")


def places(data: dict) -> dict[str, tuple[float, float]]:
    """Where each body stands: metres from the anchor, metres sideways."""
    result = {"anchor": (0.0, 0.0), "load": (data["anchor_to_load_m"], 0.0)}
    for table in ("further_anchor", "plate"):
        for name, row in data.get(table, {}).items():
            result[name] = (row["at_m"], row.get("offset_m", 0.0))
    for rope in data["rope"]:
        for station in rope["path"]:
            if "at_m" in station:  # a grab, or rope over an edge
                result[station[kind(station)]] = (station["at_m"], 0.0)
    return result


def tensions(data: dict, capture: str) -> list[list[float]] | None:
    """Tension of each strand of each rope for a load force of 1 while this capture holds alone, or None.

    None where the forces do not balance, a strand would have to push, or they are not determined.
    """
    at = places(data)
    strands = [(r, k) for r, rope in enumerate(data["rope"]) for k in range(len(rope["path"]) - 1)]
    column = {strand: n for n, strand in enumerate(strands)}
    rows, right = [], []
    pulls: dict[str, np.ndarray] = {}
    for r, rope in enumerate(data["rope"]):
        path = rope["path"]
        for k, station in enumerate(path):
            what = kind(station)
            if what in ("haul", "free"):
                row = np.zeros(len(strands))
                row[column[(r, k - 1 if k else 0)]] = 1.0
                rows.append(row)
                right.append(0.0)
            elif what in ("pulley", "edge") or (what == "capture" and station[what] != capture):
                row = np.zeros(len(strands))
                row[column[(r, k - 1)]], row[column[(r, k)]] = 1.0, -1.0
                rows.append(row)
                right.append(0.0)
            here = body(station)
            fixed = here in (None, "anchor") or here in data.get("further_anchor", {})
            if fixed or what == "edge":
                continue
            for n, other in ((k - 1, k - 1), (k, k + 1)):
                if not 0 <= other < len(path):
                    continue
                there = body(path[other])
                if there is None or there == here:
                    continue
                dx, dy = (b - a for a, b in zip(at[here], at[there], strict=True))
                length = math.hypot(dx, dy)
                row = pulls.setdefault(here, np.zeros(len(strands)))
                if length:
                    row[column[(r, n)]] += dx / length
    for name, row in pulls.items():
        rows.append(-row if name == "load" else row)
        right.append(1.0 if name == "load" else 0.0)
    matrix, wanted = np.array(rows), np.array(right)
    solution, _, rank, _ = np.linalg.lstsq(matrix, wanted, rcond=None)
    if rank < len(strands) or np.max(np.abs(matrix @ solution - wanted)) > TINY:
        return None
    if np.min(solution) < -TINY:
        return None
    return [
        [float(solution[column[(r, k)]]) for k in range(len(rope["path"]) - 1)]
        for r, rope in enumerate(data["rope"])
    ]


def beyond_their_strand(data: dict) -> list[str]:
    """Names of the grabs that do not stand between the bodies before and after them on the rope.

    A haul from the ground leads toward the anchor's side, or with toward_deg = 180 toward the load's.
    """
    at = places(data)
    far = 1e6  # m: beyond every body
    found = []
    for rope in data["rope"]:
        path = rope["path"]
        for k, station in enumerate(path):
            if kind(station) != "grab":
                continue
            ends = []
            for beside in (path[k - 1], path[k + 1]):
                where = body(beside)
                if where is not None:
                    ends.append(at[where][0])
                elif kind(beside) == "haul":
                    ends.append(far if beside.get("toward_deg", 0) > 90 else -far)
            # slack rope from a body back to it leads anywhere
            if (
                len(ends) == 2
                and ends[0] != ends[1]
                and not min(ends) < station["at_m"] < max(ends)
            ):
                found.append(station["grab"])
    return found


def loaded_side(data: dict, capture: str) -> int:
    """-1 where the strand before the capture in rope order pulls harder while it holds, +1 where the one after."""
    force = tensions(data, capture)
    assert force is not None
    for r, rope in enumerate(data["rope"]):
        for k, station in enumerate(rope["path"]):
            if station.get("capture") == capture:
                return -1 if force[r][k - 1] > force[r][k] + TINY else 1
    raise AssertionError(f"no capture {capture}")


def label(station: dict, names: dict[str, str]) -> tuple[str, str]:
    """A station without its name: its kind and its body; names: body -> name to use."""
    where = body(station) or ""
    return kind(station), names.get(where, where)


def body_maps(a: dict, b: dict) -> Iterator[dict[str, str]]:
    """All ways to take grabs and plates of one rig for those of another; what has no partner gets a name of its
    own."""
    maps: list[dict[str, str]] = [{}]
    for what in ("grab", "plate"):
        mine, others = bodies(a, what), bodies(b, what)
        more = [f"old {name}" for name in mine]
        maps = [
            {**one, **dict(zip(mine, taken, strict=True))}
            for one in maps
            for taken in set(itertools.permutations([*others, *more], len(mine)))
            if all(t in others or t == f"old {m}" for m, t in zip(mine, taken, strict=True))
        ]
    return iter(maps)


def bodies(data: dict, what: str) -> list[str]:
    """Names of the grabs or plates that are in use."""
    if what == "plate":
        return list(data.get("plate", {}))
    return [s["grab"] for rope in data["rope"] for s in rope["path"] if kind(s) == "grab"]


def difference(a: list, b: list) -> tuple[list[int], list[int]]:
    """Indices of a that go and of b that come, fewest (longest common subsequence)."""
    best = np.zeros((len(a) + 1, len(b) + 1), dtype=int)
    for i in range(len(a) - 1, -1, -1):
        for j in range(len(b) - 1, -1, -1):
            same = best[i + 1, j + 1] + 1 if a[i] == b[j] else 0
            best[i, j] = max(same, best[i + 1, j], best[i, j + 1])
    off, on, i, j = [], [], 0, 0
    while i < len(a) or j < len(b):
        if i < len(a) and j < len(b) and a[i] == b[j] and best[i, j] == best[i + 1, j + 1] + 1:
            i, j = i + 1, j + 1
        elif i < len(a) and best[i, j] == best[i + 1, j]:
            off.append(i)
            i += 1
        else:
            on.append(j)
            j += 1
    return off, on


def one_part_changes(before: dict, after: dict, capture: str, then: str) -> str:
    """ "" if one part at most changes between two rigs and only as a held rope allows, else what is wrong.

    capture, then: what holds before and after, by its name in each.
    """
    faults = []
    for names in body_maps(before, after):
        for ropes in rope_maps(before, after):
            fault = _judged(before, after, names, ropes, (capture, then))
            if not fault:
                return ""
            faults.append(fault)
    return min(faults, key=len)


def rope_maps(a: dict, b: dict) -> Iterator[dict[int, int]]:
    """All ways to take ropes of one rig for ropes of another, one at most left over."""
    mine, others = range(len(a["rope"])), range(len(b["rope"]))
    size = min(len(mine), len(others))
    for chosen in itertools.combinations(mine, size):
        for taken in itertools.permutations(others, size):
            yield dict(zip(chosen, taken, strict=True))


def _judged(
    before: dict, after: dict, names: dict[str, str], ropes: dict[int, int], holds: tuple[str, str]
) -> str:
    first, second = tensions(before, holds[0]), tensions(after, holds[1])
    if first is None or second is None:
        return "the load is not held"
    whole = [("off", r) for r in range(len(before["rope"])) if r not in ropes]
    whole += [("on", r) for r in range(len(after["rope"])) if r not in ropes.values()]
    off, on = [], []
    for r, s in ropes.items():
        paths = before["rope"][r]["path"], after["rope"][s]["path"]
        gone, come = difference(
            [label(one, names) for one in paths[0]], [label(one, {}) for one in paths[1]]
        )
        off += [(r, k, paths[0][k]) for k in gone]
        on += [(s, k, paths[1][k]) for k in come]
    ends = {"tie", "haul", "free"}
    kinds = Counter(kind(one) for _, _, one in off), Counter(kind(one) for _, _, one in on)
    if len(whole) > 1:
        return "two ropes change"
    changed = [kind(one) for _, _, one in (*off, *on)]
    handed = whole or len(off) == 2
    if handed:
        if not set(changed) <= ends or len(off) > (1 if whole else 2) or len(off) != len(on):
            return f"more than a rope's end changes: {changed}"
        if changed and "haul" not in changed:
            return "two ends change and no haul is handed over"
    elif len(off) > 1 or len(on) > 1:
        return f"more than one part changes: off {dict(kinds[0])}, on {dict(kinds[1])}"
    elif off and on:
        pair = kind(off[0][2]), kind(on[0][2])
        if not set(pair) <= ends and pair[0] != pair[1]:
            return f"two parts change: {pair}"
    for r, k, one in off:
        fault = _may_change(one, first[r], k, "off")
        if fault or (one.get("capture") == holds[0] and kind(one) == "capture"):
            return fault or "the capture that holds comes off"
    for r, k, one in on:
        fault = _may_change(one, second[r], k, "on")
        if fault:
            return fault
    for what, r in whole:
        if max((first if what == "off" else second)[r]) > TINY:
            return "a loaded rope comes or goes"
    return _slides(before, after, names, first, second, {id(one) for _, _, one in off})


def _may_change(station: dict, tension: list[float], k: int, how: str) -> str:
    beside = [tension[n] for n in (k - 1, k) if 0 <= n < len(tension)]
    what = kind(station)
    if what == "capture" or (what == "grab" and how == "on"):
        return ""
    if what == "grab":
        return "" if abs(beside[0] - beside[1]) < TINY else "a grab under load comes off"
    return "" if max(beside) < TINY else f"a loaded {what} goes {how}"


def _slides(before, after, names, first, second, gone) -> str:
    """ "" if no kept grab slides, or one does and nothing pulls on it and nothing else changes."""
    slid = 0
    now = places(after)
    for r, rope in enumerate(before["rope"]):
        for k, station in enumerate(rope["path"]):
            if kind(station) != "grab" or id(station) in gone:
                continue
            partner = names[station["grab"]]
            if partner in now and abs(now[partner][0] - station["at_m"]) > 1e-6:
                slid += 1
                if abs(first[r][k - 1] - first[r][k]) > TINY:
                    return "a loaded grab slides"
    others = sum(len(rope["path"]) for rope in before["rope"]) != sum(
        len(rope["path"]) for rope in after["rope"]
    )
    if slid > 1 or (slid and (gone or others)):
        return "a grab slides beside another change"
    return ""


def parsed(text: str) -> dict:
    """A rig file as values."""
    return tomllib.loads(text)
