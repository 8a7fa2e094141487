"""Pairs the stations of two rigs: which stay, which come off, which go on.

A move changes one station, so with n and m stations of a kind and k of them paired, max(n, m) - k moves are
needed for that kind: the more are paired, the fewer moves.  Bodies are paired first, in every way, because a
pulley stays only where its body does; the stations of a rope are then paired in order (longest common
subsequence).
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from analysis.conversion.outline import Outline, Spot

MOST_PAIRINGS = 24  # speed only: equally good ways to pair one rope that are tried
FIXED = ("anchor", "load")


@dataclass(frozen=True, eq=False)
class PairedPlace:
    """A place in a rope that either rig has, or both."""

    old: Spot | None  # station of the rig that is converted
    new: Spot | None  # station of the other rig


@dataclass(frozen=True, eq=False)
class PairedRope:
    """A rope that either rig has, or both, with all stations in order."""

    old: int | None  # index in the rig that is converted
    new: int | None  # index in the other rig
    entries: tuple[PairedPlace, ...]  # the ends of a kept rope are always paired, whatever they are


@dataclass(frozen=True, eq=False)
class Pairing:
    """Two rigs laid over each other."""

    bodies: Mapping[str, str]  # body of the rig that is converted -> the same body of the other
    ropes: tuple[PairedRope, ...]  # kept ropes, then those that go, then those that come
    least_moves: int  # moves that it needs at least, without holding


def pairings(old: Outline, new: Outline, kept: frozenset[tuple[int, int]]) -> list[Pairing]:
    """Ways to lay one rig over another, those with the fewest moves first.

    kept: (rope, place) of the stations that must stay, because the load hangs on them.
    """
    result = []
    for bodies in _body_maps(old, new):
        for ropes in _rope_maps(old, new, kept):
            options = [list(_rope_pairings(old, new, bodies, pair, kept)) for pair in ropes]
            for chosen in itertools.islice(itertools.product(*options), MOST_PAIRINGS):
                rest_old = [k for k in range(len(old.ropes)) if k not in {a for a, _ in ropes}]
                rest_new = [k for k in range(len(new.ropes)) if k not in {b for _, b in ropes}]
                laid = (
                    *chosen,
                    *(PairedRope(k, None, tuple(PairedPlace(s, None) for s in old.ropes[k])) for k in rest_old),
                    *(PairedRope(None, k, tuple(PairedPlace(None, s) for s in new.ropes[k])) for k in rest_new),
                )  # fmt: skip
                result.append(Pairing(bodies, laid, _least(bodies, laid)))
    return sorted(result, key=lambda one: one.least_moves)


def same_end(bodies: Mapping[str, str], entry: PairedPlace) -> bool:
    """Whether both rigs have the same station at this end of a rope."""
    return entry.old is not None and entry.new is not None and _same(bodies, entry.old, entry.new)


def relocated(bodies: Mapping[str, str], ropes: tuple[PairedRope, ...]) -> dict[str, str]:
    """Grabs that stay the same grab but stand elsewhere in the rope, by their old name."""
    off = {e.old.name for r in ropes if r.new is not None for e in r.entries
           if e.new is None and e.old is not None and e.old.kind == "grab"}  # fmt: skip
    on = {e.new.name for r in ropes if r.old is not None for e in r.entries
          if e.old is None and e.new is not None and e.new.kind == "grab"}  # fmt: skip
    return {a: b for a, b in bodies.items() if a in off and b in on}


def slid(bodies: Mapping[str, str], entry: PairedPlace) -> bool:
    """Whether a grab stays in its strand at another place."""
    a, b = entry.old, entry.new
    return (
        a is not None
        and b is not None
        and a.kind == b.kind == "grab"
        and abs(float(a.values["at_m"]) - float(b.values["at_m"])) > 1e-6
    )


def _least(bodies: Mapping[str, str], ropes: tuple[PairedRope, ...]) -> int:
    """Moves that a pairing needs at least."""
    off: Counter[str] = Counter()
    on: Counter[str] = Counter()
    slides = ends = whole = 0
    for rope in ropes:
        if rope.old is None or rope.new is None:
            whole += 1
            continue
        for k, entry in enumerate(rope.entries):
            if k in (0, len(rope.entries) - 1):
                ends += not same_end(bodies, entry)
            elif entry.new is None and entry.old is not None:
                off[entry.old.kind] += 1
            elif entry.old is None and entry.new is not None:
                on[entry.new.kind] += 1
            else:
                slides += slid(bodies, entry)
    return slides + max(whole, (ends + 1) // 2) + sum((off | on).values())


def _body_maps(old: Outline, new: Outline) -> list[dict[str, str]]:
    """All ways to take bodies of one rig for bodies of the other, of the same kind."""
    result: list[dict[str, str]] = [{}]
    for kind in ("grab", "plate"):
        mine = [name for name in old.bodies if old.kind(name) == kind]
        others = [name for name in new.bodies if new.kind(name) == kind]
        result = [
            {**one, **pairs} for one in result for pairs in _partial_maps(mine, others)
        ]  # fmt: skip
    fixed: dict[str, str] = {}
    for a, b in itertools.product(old.bodies, new.bodies):
        if old.kind(a) == new.kind(b) in ("further_anchor", "edge") and b not in fixed.values():
            x, y = old.rig.bodies[old.rig.index[a]], new.rig.bodies[new.rig.index[b]]
            if abs(x.x_m - y.x_m) < 1e-6 and abs(x.y_m - y.y_m) < 1e-6:
                fixed.setdefault(a, b)
    return [{**one, **fixed} for one in result]


def _partial_maps(mine: list[str], others: list[str]) -> Iterator[dict[str, str]]:
    for size in range(min(len(mine), len(others)), -1, -1):
        for chosen in itertools.combinations(mine, size):
            for taken in itertools.permutations(others, size):
                yield dict(zip(chosen, taken, strict=True))


def _rope_maps(
    old: Outline, new: Outline, kept: frozenset[tuple[int, int]]
) -> Iterator[tuple[tuple[int, int], ...]]:
    """All ways to take ropes of one rig for ropes of the other; a rope with kept stations stays."""
    needed = {rope for rope, _ in kept}
    mine, others = range(len(old.ropes)), range(len(new.ropes))
    for size in range(min(len(mine), len(others)), 0, -1):
        for chosen in itertools.combinations(mine, size):
            if needed <= set(chosen):
                for taken in itertools.permutations(others, size):
                    yield tuple(zip(chosen, taken, strict=True))


def _same(bodies: Mapping[str, str], a: Spot, b: Spot) -> bool:
    """Whether two stations are the same, given which bodies are."""
    if a.kind != b.kind:
        return False
    if a.kind == "free":
        return True
    if a.kind == "edge":
        wraps = [one.values.get("wrap_deg") for one in (a, b)]
        if wraps[0] != wraps[1]:
            return False
    return a.on == b.on if a.on in FIXED or not a.on else bodies.get(a.on) == b.on


def _rope_pairings(
    old: Outline,
    new: Outline,
    bodies: Mapping[str, str],
    pair: tuple[int, int],
    kept: frozenset[tuple[int, int]],
) -> Iterator[PairedRope]:
    """The best ways to pair the stations of two ropes in order; none where kept stations can't be."""
    first, second = old.ropes[pair[0]], new.ropes[pair[1]]
    a, b = first[1:-1], second[1:-1]

    @cache
    def most(i: int, j: int) -> float:
        """The most pairs from stations i and j on; -inf where a kept station has no partner."""
        if i == len(a) and j == len(b):
            return 0.0
        options = [float("-inf")]
        if j < len(b):
            options.append(most(i, j + 1))
        if i < len(a) and (a[i].rope, a[i].place) not in kept:
            options.append(most(i + 1, j))
        if i < len(a) and j < len(b) and _same(bodies, a[i], b[j]):
            options.append(1.0 + most(i + 1, j + 1))
        return max(options)

    def walk(i: int, j: int) -> Iterator[tuple[PairedPlace, ...]]:
        """Every best pairing from stations i and j on; what comes off stands before what goes on."""
        if i == len(a) and j == len(b):
            yield ()
            return
        best = most(i, j)
        both = i < len(a) and j < len(b) and _same(bodies, a[i], b[j])
        if both and 1.0 + most(i + 1, j + 1) == best:
            for rest in walk(i + 1, j + 1):
                yield (PairedPlace(a[i], b[j]), *rest)
        if i < len(a) and (a[i].rope, a[i].place) not in kept and most(i + 1, j) == best:
            for rest in walk(i + 1, j):
                yield (PairedPlace(a[i], None), *rest)
        if j < len(b) and most(i, j + 1) == best:
            for rest in walk(i, j + 1):
                if not (rest and rest[0].new is None):  # one order of what is not paired
                    yield (PairedPlace(None, b[j]), *rest)

    ends = PairedPlace(first[0], second[0]), PairedPlace(first[-1], second[-1])
    for spot, entry in ((first[0], ends[0]), (first[-1], ends[1])):
        if (spot.rope, spot.place) in kept and not same_end(bodies, entry):
            return
    if most(0, 0) == float("-inf"):
        return
    for inner in itertools.islice(walk(0, 0), MOST_PAIRINGS):
        yield PairedRope(pair[0], pair[1], (ends[0], *inner, ends[1]))
