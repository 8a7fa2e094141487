"""What the server sends to the plan page, as records.

`assets/plan/wire.d.ts` says the same to the scripts: write it anew with `python -m dashboard.plan.wire`;
a test fails while it is stale.
"""

from __future__ import annotations

from pathlib import Path
from typing import TypedDict

from dashboard.web import assets
from dashboard.web.typescript import declaration

DECLARATION = assets.FOLDER / "plan" / "wire.d.ts"


class PlannedRigTables(TypedDict):
    """One rig, but for its drawing; where its file is at fault, the texts are "".

    v: version of the file, counted by the server.
    fault: the fault of the file in one line; "" for none.
    e: efficiency at which the what-if slider stands while the file's own are used.
    title: title of the rig.
    said: what the file says of itself, as HTML.
    top: the figures at the top, as HTML.
    tables: all tables, as HTML.
    frames: number of steps of the job.
    """

    v: int
    fault: str
    e: float
    title: str
    said: str
    top: str
    tables: str
    frames: int


class PlanAnswer(TypedDict):
    """The answer of `/plan`.

    rigs: one rig, or the two that are compared.
    compare: the comparison of two rigs as HTML; "" for one.
    """

    rigs: list[PlannedRigTables]
    compare: str


class FrameAnswer(TypedDict):
    """The answer of `/drawing`: one step of the job.

    svg: the rig as it stands then, as SVG.
    text: what happens.
    kind: kind of the step.
    more: where everything stands, sentence by sentence.
    steps: number of steps of the job.
    """

    svg: str
    text: str
    kind: str
    more: list[str]
    steps: int


def text() -> str:
    """The declaration of all records."""
    heading = "Written by `python -m dashboard.plan.wire` from dashboard/plan/wire.py: change that."
    return declaration(heading, (PlannedRigTables, PlanAnswer, FrameAnswer))


def write(path: Path = DECLARATION) -> None:
    """Write the declaration that the scripts are checked by."""
    path.write_text(text(), "utf-8", newline="\n")


if __name__ == "__main__":
    write()
