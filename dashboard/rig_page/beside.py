"""Puts the draft beside another rig: the file on disk, or another rig file of the same folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash, Input, Output, html

from analysis.rig.rig import Rig
from analysis.rig_edit.toml_text import document_of, document_text
from analysis.rig_file.load import load_rig, parse_rig
from dashboard.rig_page.answers import AnswerRow, answers
from dashboard.rig_page.draft_store import DraftStore
from dashboard.text.units import Units
from logger.errors import RigFault, UserFault
from logger.toml_tables import parse_toml, read_text

LENT = ("load", "team")  # tables of the job
ON_DISK = "the file as it is on disk"
NOTHING = ""
# memory only: rigs that are offered; a folder with more is no place to look for one by touch
MOST_OTHERS = 40


@dataclass(frozen=True)
class BesideRow:
    """One answer of two rigs."""

    draft: AnswerRow  # the draft's answer
    other: AnswerRow  # the other's

    @property
    def differs(self) -> bool:
        """Whether the two answers are not the same."""
        return (self.draft.value, self.draft.note) != (self.other.value, self.other.note)


def others(store: DraftStore) -> tuple[str, ...]:
    """What the draft may stand beside: the file on disk, then the other files of its folder by name."""
    files = sorted(
        path.name
        for path in store.path.parent.glob("*.toml")
        if path.name != store.path.name and path.is_file()
    )
    return (ON_DISK, *files[:MOST_OTHERS])


def other_rig(store: DraftStore, choice: Any) -> Rig:
    """The rig of a choice of `others`, checked; raises a UserFault for a file that holds none.

    What another file does not state of the load and the team is taken from the draft, so that both are asked
    about one job.
    """
    if choice == ON_DISK:
        return load_rig(store.path)
    path = store.path.parent / str(choice)
    own = parse_toml(read_text(path, RigFault), path.name, RigFault)
    job = document_of(store.state().draft.text)
    lent = {table: job[table] for table in LENT if table in job and table not in own}
    return parse_rig(
        document_text({**own, **lent}) if lent else read_text(path, RigFault), path.name
    )


def compared(draft: Rig, other: Rig, units: Units) -> tuple[BesideRow, ...]:
    """The answers of both, row by row."""
    first, second = answers(draft, units), answers(other, units)
    return tuple(BesideRow(*pair) for pair in zip(first.rows, second.rows, strict=True))


def register_beside(app: Dash, store: Callable[[], DraftStore], units: Units) -> set[str]:
    """Add the callback that shows both; returns its registered output key.

    store: gives the draft that a request is about.
    """
    before = set(app.callback_map)

    @app.callback(  # type: ignore[untyped-decorator]
        Output("beside", "children"), Input("version", "data"), Input("other", "data")
    )
    def beside(_: Any, choice: Any) -> Any:
        """The choices, and the two rigs where one is chosen; a choice that is none shows the choices."""
        draft = store()
        offered = others(draft)
        if choice not in offered:
            choice = NOTHING
        return [_choices(offered, choice), *_both(draft, choice, units)]

    return set(app.callback_map) - before


def _choices(offered: tuple[str, ...], choice: str) -> Any:
    """A button for each; they fill the page's store, so no rig is changed and everyone may look."""
    buttons = [
        html.Button(
            label, type="button",
            **{"data-store": "other", "data-value": value, "aria-pressed": str(value == choice).lower()},
        )
        for label, value in (("nothing", NOTHING), *((one, one) for one in offered))
    ]  # fmt: skip
    return html.Div(buttons, className="choices", role="group", **{"aria-label": "Beside"})


def _both(store: DraftStore, choice: str, units: Units) -> list[Any]:
    """The table of both rigs, or why there is none."""
    if choice == NOTHING:
        return []
    draft = store.state().draft.outcome().rig
    if draft is None:
        return [html.P("The draft can't work yet, so there is nothing to compare.")]
    try:
        other = other_rig(store, choice)
    except UserFault as fault:
        return [html.P(f"{choice}: {fault.fault}; {fault.cure}", className="fault")]
    lent = f"What {choice} does not state of load and team is that of this draft."
    head = html.Tr([html.Th("", scope="col"), html.Th("this draft", scope="col"),
                    html.Th(choice, scope="col")])  # fmt: skip
    rows = [
        html.Tr([html.Th(row.draft.name, scope="row"), _cell(row.draft), _cell(row.other)],
                className="differs" if row.differs else "")
        for row in compared(draft, other, units)
    ]  # fmt: skip
    table = html.Table([html.Thead(head), html.Tbody(rows)], className="both")
    return [table] if choice == ON_DISK else [table, html.P(lent, className="note")]


def _cell(row: AnswerRow) -> Any:
    return html.Td([html.B(row.value), html.Small(row.note)])
