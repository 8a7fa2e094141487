"""Words the cure for a word that is not known: the word that was likely meant, or all valid ones.

A word is taken for a misspelling only if that is likely, because a wrong cure does harm: whoever writes
another anchor, surface or unit as told has a file that is read without a fault and is false.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

# one slip of the pen in so many letters.  Four misspellings in five are one insertion, deletion,
# substitution or transposition (Damerau 1964, doi 10.1145/363958.363994); chosen by us: one more for
# each four letters, so that a word of three letters is compared as it stands
LETTERS_A_SLIP = 4
# endings of keys that name a unit or a kind of value; a different one is another key, not a slip
UNITS = (
    "m",
    "ft",
    "in",
    "mm",
    "cm",
    "s",
    "ms",
    "N",
    "kN",
    "lbf",
    "kgf",
    "kg",
    "lb",
    "yd",
    "foot",
    "feet",
    "inch",
    "lbs",
    "g",
    "t",
    "daN",
    "deg",
    "J",
    "W",
)
ENDINGS = frozenset((*UNITS, "percent", "u"))


def likely(word: str, valid: Iterable[str]) -> str | None:
    """The one valid word that `word` likely misspells; None if there is none, or several.

    Upper and lower case, and blank, hyphen and underscore, count as equal.  The first letter must be the
    same, or change its place with the second: it is wrong in few misspellings (3 % in the largest
    collection that Kukich 1992 quotes, doi 10.1145/146370.146380).  Digits and the unit at the end of a
    key must be the same, because they are chosen, not misspelt; a unit may be left out.
    """
    written = _plain(word)
    nearest: dict[str, int] = {}
    for candidate in dict.fromkeys(valid):
        other = _plain(candidate)
        if written == other:
            return candidate
        most = max(len(written), len(other)) // LETTERS_A_SLIP
        if not _comparable(word, candidate):
            continue
        if written == _plain(_without_ending(candidate)):
            nearest[candidate] = 1  # the unit was left out
        elif most >= abs(len(written) - len(other)) and (slips := _slips(written, other)) <= most:
            nearest[candidate] = slips
    least = [one for one, slips in nearest.items() if slips == min(nearest.values())]
    return least[0] if len(least) == 1 else None


def cure(word: str, valid: Iterable[str], listed: str = "write one of", shown: str = '"{}"') -> str:
    """What to write in place of `word`: the valid word that it likely misspells, or the list of all.

    listed: what stands before the list; shown: how a word is written, with {} in its place.
    """
    words = list(dict.fromkeys(valid))
    meant = likely(word, words)
    if meant is not None:
        return f"write {shown.format(meant)}"
    return f"{listed} {', '.join(shown.format(one) for one in words)}"


def _plain(word: str) -> str:
    return re.sub(r"[\s_-]+", "_", word.strip().casefold())


def _comparable(word: str, other: str) -> bool:
    """Whether first letters, digits and units allow that one word misspells the other."""
    one, two = _plain(word), _plain(other)
    if one[:1] != two[:1] and one[:2] != two[:2][::-1]:
        return False
    if re.findall(r"\d+", one) != re.findall(r"\d+", two):
        return False
    ends = {_ending(word), _ending(other)} - {""}
    return len(ends) < 2


def _ending(key: str) -> str:
    """The unit at the end of a key; "" for a word without one."""
    last = re.split(r"[\s_-]+", key.strip())[-1]
    return last if last in ENDINGS and last != key.strip() else ""


def _without_ending(key: str) -> str:
    end = _ending(key)
    return key.strip()[: -len(end) - 1] if end else key


def _slips(one: str, two: str) -> int:
    """Insertions, deletions, substitutions and transpositions of neighbours that make one word the other.

    Optimal string alignment: the distance of Damerau (1964), no letter changed twice.
    """
    before: list[int] = []
    row = list(range(len(two) + 1))
    for i, letter in enumerate(one, 1):
        last, before = before, row
        row = [i]
        for j, other in enumerate(two, 1):
            fewest = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != other))
            if i > 1 and j > 1 and letter == two[j - 2] and one[i - 2] == other:
                fewest = min(fewest, last[j - 2] + 1)
            row.append(fewest)
    return row[-1]
