"""What the server sends to the live page of a planned conversion, as records.

`assets/live/conversion_wire.d.ts` says the same to the scripts: write it anew with
`python -m dashboard.live.conversion_wire`; a test fails while it is stale.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal, TypedDict

from dashboard.web import assets
from dashboard.web.typescript import declaration

DECLARATION = assets.FOLDER / "live" / "conversion_wire.d.ts"
ConversionState = Literal["none", "working", "refused", "ready", "done"]


class ConversionChoice(TypedDict):
    """A rig that the rig in use may be made into.

    name: by which it is chosen.
    title: of the rig.
    """

    name: str
    title: str


class ShownMove(TypedDict):
    """A move of a conversion.

    number: from 1.
    text: what to do.
    held_by: what holds the load after it, in words.
    svg: drawing of the rig after it.
    """

    number: int
    text: str
    held_by: str
    svg: str


class ConversionAnswer(TypedDict):
    """The answer of `/conversion`.

    choices: rigs that may be chosen; none where they were not asked for.
    state: none is planned, or it is worked out, refused, planned, or made.
    name: the rig that was chosen; "" for none.
    title: its title.
    why: why it is refused; "" where it is not.
    ratio: advantage before and after.
    facts: label and text of what changes.
    warnings: what to know before the first move.
    moves: in order.
    marked: how many of them are marked in the session.
    undo: id of the request that marked the last one; "" for none.
    """

    choices: list[ConversionChoice]
    state: ConversionState
    name: str
    title: str
    why: str
    ratio: str
    facts: list[list[str]]
    warnings: list[str]
    moves: list[ShownMove]
    marked: int
    undo: str


def text() -> str:
    """The declaration of all records."""
    heading = (
        "Written by `python -m dashboard.live.conversion_wire` from dashboard/live/conversion_wire.py: "
        "change that."
    )
    return declaration(heading, (ConversionChoice, ShownMove, ConversionAnswer))


def write(path: Path = DECLARATION) -> None:
    """Write the declaration that the scripts are checked by."""
    path.write_text(text(), "utf-8", newline="\n")


if __name__ == "__main__":
    write()
