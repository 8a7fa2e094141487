"""Says what a conversion changes: rows for terminal and pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.text.units import UNKNOWN, Units, number

if TYPE_CHECKING:
    from analysis.conversion.convert import Conversion


def ratios(made: Conversion) -> tuple[str, str]:
    """Ideal advantage before and after, "12.0 : 1"."""
    before, after = (f"{number(ma)} : 1" for ma in made.ideal_ma)
    return before, after


def change_rows(made: Conversion, shown: Units) -> list[tuple[str, str]]:
    """(label, text): parts to fetch and to put away, rope, and where to stop hauling."""
    stops = [UNKNOWN if one is None else shown.force(one) for one in made.stop_hauling_at_N]
    more = "" if made.rope_more_m is None else shown.length(abs(made.rope_more_m))
    less = made.rope_more_m is not None and made.rope_more_m < 0
    return [
        ("Fetch", counted(made.add)),
        ("Put away", counted(made.remove)),
        ("Rope", f"{more} {'less' if less else 'more'}" if more else UNKNOWN),
        ("Stop hauling at", f"{stops[0]} before, {stops[1]} after"),
    ]


def loaded_rows(made: Conversion) -> list[list[str]]:
    """What carries more, in multiples of the load's force: a head and a row each; empty where nothing does."""
    if not made.loaded_more:
        return []
    rows = [[one.name, number(one.before), number(one.after)] for one in made.loaded_more]
    return [["", "before", "after"], *rows]


def counted(kinds: dict[str, int]) -> str:
    """Kinds with their numbers, "1 grab, 2 pulleys"."""
    words = [f"{n} {kind.replace('_', ' ')}{'s' if n != 1 else ''}" for kind, n in kinds.items()]
    return ", ".join(words) or "nothing"
