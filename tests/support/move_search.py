"""Full search for the fewest moves between two rigs with one rope, from both ends; it knows no load.

The moves are those of a conversion: a part off, a part on, or a part off and one of its kind on.  Without the rule that the
load is held, the distance is never more than with it, so a conversion with as many moves has the fewest.
"""

from __future__ import annotations

from collections.abc import Iterator

State = tuple[tuple[str, str], ...]  # stations between the ends: kind and body; grabs by number


def canonical(stations: list[tuple[str, str]]) -> State:
    """The stations with grabs numbered in rope order, so that names make no difference."""
    number: dict[str, str] = {}
    for what, where in stations:
        if what == "grab":
            number[where] = f"#{len(number)}"
    return tuple((what, number.get(where, where)) for what, where in stations)


def valid(stations: list[tuple[str, str]]) -> bool:
    """Whether every pulley's grab is on the rope, and no grab twice."""
    grabs = [where for what, where in stations if what == "grab"]
    return len(grabs) == len(set(grabs)) and all(
        not where.startswith("#") or where in grabs for _, where in stations
    )


def neighbours(state: State, parts: frozenset[tuple[str, str]]) -> Iterator[State]:
    """Every rig that one move makes; parts: (kind, body) of what may go on, grabs aside."""
    grabs = [where for what, where in state if what == "grab"]
    fresh = f"#{len(grabs)}"
    options = [*parts, *(("pulley", one) for one in grabs), ("grab", fresh)]
    path = list(state)
    for k in range(len(path) + 1):
        for one in options:
            made = [*path[:k], one, *path[k:]]
            if valid(made):
                yield canonical(made)
    for k, (what, where) in enumerate(path):
        rest = path[:k] + path[k + 1 :]
        if valid(rest):
            yield canonical(rest)
        # a grab that moves takes what hangs on it along; a new one in its place does not
        again = [one for one in options if one[0] == what]
        if what == "grab":
            again.append((what, where))
        for j in range(len(rest) + 1):
            for one in again:
                made = [*rest[:j], one, *rest[j:]]
                if valid(made):
                    yield canonical(made)


def distance(a: State, b: State, parts: frozenset[tuple[str, str]], most: int) -> int | None:
    """Fewest moves from one rig to the other; None where it is more than `most`."""
    if a == b:
        return 0
    sides = [{a}, {b}]
    seen = [{a}, {b}]
    for steps in range(1, most + 1):
        small = 0 if len(sides[0]) <= len(sides[1]) else 1
        reached = {one for state in sides[small] for one in neighbours(state, parts)}
        sides[small] = reached - seen[small]
        seen[small] |= sides[small]
        if seen[0] & seen[1]:
            return steps
    return None
