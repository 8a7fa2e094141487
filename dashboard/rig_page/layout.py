"""The Dash components of the rig page: the empty page, and each part for one view of the draft."""

from __future__ import annotations

import secrets
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from dash import dcc, html

from dashboard.rig_page.acts import act
from dashboard.rig_page.menu import WHICH
from dashboard.rig_page.menu_parts import Choice, Entry, Menu, MenuGroup
from dashboard.rig_page.places.places_layout import two_questions
from dashboard.rig_page.view import RigView, RopeRows
from dashboard.text.cautions import CAUTIONS

LOOK_MS = 1500  # how often a page asks whether somebody else changed the draft; chosen by us


def page(shelf_titles: Mapping[str, str]) -> Any:
    """The page, empty; shelf_titles: file name -> title of each rig of the shelf."""
    return html.Div(
        [
            dcc.Store(id="run", data=secrets.token_hex(8)),  # names this load of the page
            dcc.Store(id="touched"),
            dcc.Store(id="closed"),
            dcc.Store(id="version", data=0),
            dcc.Store(id="width", data=0),
            dcc.Store(id="other", data=""),
            dcc.Store(id="captures", data=""),
            dcc.Store(id="around", data=""),
            dcc.Interval(id="pulse", interval=LOOK_MS),
            dcc.Interval(id="look", disabled=True),  # counts on where the draft is new: `news`
            html.Header([
                html.Div([html.H1("Rig", id="title"), html.Span(id="status")], className="who"),
                html.Div([
                    _button("Undo", act("undo"), name="undo"),
                    _button("Redo", act("redo"), name="redo"),
                    _button("Save", act("save"), name="save"),
                ], className="when"),
            ]),
            html.Div(id="said", role="alert"),
            html.Div(id="offers", className="choices"),
            html.Main([
                html.Section([
                    html.H2("The rig"),
                    html.P("Touch a strand to put something on it, or a part to change it.", className="note"),
                    html.Div(id="drawing", **{"data-svg": ""}),
                    two_questions(),
                    html.Div(id="places"),
                ], className="tile full"),
                html.Section([html.H2("What it does"), html.Div(id="answers")], className="tile full"),
                html.Section(id="menu", className="tile full", hidden=True, **{"aria-live": "polite"}),
                html.Section([
                    html.H2("Beside another rig"),
                    html.Div(id="beside"),
                ], className="tile full"),
                html.Section([html.H2("The rope, station by station"), html.Div(id="ropes")],
                             className="tile half"),
                html.Section([html.H2("The job"), html.Div(id="job")], className="tile half"),
                html.Section([html.H2("Begin with"), *_beginnings(shelf_titles)], className="tile full"),
                html.Section([html.H2("Cautions"), html.Ul([html.Li(c) for c in CAUTIONS])],
                             className="tile full mind"),
            ]),
        ],
        id="page", className="plan rig-page",
    )  # fmt: skip


def _beginnings(shelf_titles: Mapping[str, str]) -> list[Any]:
    """What a rig may begin with: an empty rope, or a rig of the shelf."""
    return [
        html.Div([
            html.H3("The job"),
            html.Button(WHICH, type="button", **{"data-touch": '{"ask": "which"}'}),
        ], className="choices"),
        html.Div([
            html.H3("An empty rope"),
            _button("tied to the load, over a pulley at the anchor", act("begin", "load")),
            _button("tied to the anchor, over a pulley at the load", act("begin", "anchor")),
        ], className="choices"),
        html.Div([
            html.H3("A rig of the shelf"),
            *(_button(title, act("shelf", file)) for file, title in shelf_titles.items()),
        ], className="choices"),
        html.Div([
            html.H3("Save under another name"),
            _field(Entry("Name of the new file", act("save as"), "", "launch 12 to 1")),
            _button("Add a rope", act("rope")),
        ], className="choices"),
    ]  # fmt: skip


def answers(shown: RigView) -> list[Any]:
    """The answers, or the fault in their place."""
    if shown.fault:
        return [html.P(f"This rig can't work yet. {shown.fault}", className="fault")]
    rows = [
        html.Div([html.Dt(row.name), html.Dd([html.B(row.value), " ", html.Span(row.note)])],
                 className="answer")
        for row in shown.answers
    ]  # fmt: skip
    warned = [
        html.Li(text, className="stop" if level == "stop" else "mind")
        for level, text in shown.warnings
        if level != "info"
    ]
    count = (
        f"{len(warned)} {'thing' if len(warned) == 1 else 'things'} to know before you rely on this"
    )
    stops = [item for item in warned if item.className == "stop"]
    cautions = [item for item in warned if item.className != "stop"]
    return [
        html.Dl(rows),
        html.Ul(stops, className="warned"),
        html.Details(
            [html.Summary(count), html.Ul(cautions, className="warned")], hidden=not cautions
        ),
    ]


def menu(shown: Menu | None) -> list[Any]:
    """What may be done with what was touched."""
    if shown is None:
        return []
    close = _button("Close", act("close"), name="close")
    return [html.Div([html.H2(shown.title), close], className="row"),
            *(question(one) for one in shown.questions)]  # fmt: skip


def question(one: MenuGroup) -> Any:
    """A group of buttons and fields."""
    parts: list[Any] = [html.H3(one.title)] if one.title and not one.about.folded else []
    if one.choices:
        buttons = html.Div([_choice(choice) for choice in one.choices], className="choices",
                           role="group", **{"aria-label": one.title or "choices"})  # fmt: skip
        parts.append(
            html.Details([html.Summary(one.title), buttons]) if one.about.folded else buttons
        )
    parts += [html.P(note, className="assumed") for note in one.about.notes]
    sources: list[Any] = []
    if one.about.sources:
        listed = html.Ul([html.Li(source) for source in one.about.sources])
        sources = [html.Details([html.Summary(one.about.more), listed], className="sources")]
    fields = [_field(entry) for entry in one.entries]
    words, address = one.about.link
    link = [html.P(html.A(words, href=address))] if address else []
    return html.Div([*parts, *fields, *sources, *link], className="asked")


def offers(shown: RigView) -> list[Any]:
    """Buttons for the file that another program changed, or an earlier draft."""
    return [_choice(choice) for choice in shown.offers]


def ropes(shown: tuple[RopeRows, ...]) -> list[Any]:
    """Each rope as a list: a button a station, and between two stations one that puts something in."""
    out = []
    for rope in shown:
        items = []
        for row in rope.stations:
            if row.strand:
                items.append(
                    html.Li(
                        html.Button(f"+ here ({row.strand})", type="button",
                                    id={"type": "gap", "rope": row.place[0], "station": row.place[1]}),
                        className="gap",
                    )
                )  # fmt: skip
            items.append(
                html.Li(
                    html.Button(row.text, type="button",
                                id={"type": "station", "rope": row.place[0], "station": row.place[1]}),
                    className="station at-fault" if row.fault else "station",
                )
            )  # fmt: skip
            if row.fault:
                items.append(html.Li(row.fault, className="what-is-wrong"))
        out.append(html.Div([html.H3(f"Rope {rope.name}"), html.Ol(items)]))
    return out


def _choice(choice: Choice) -> Any:
    return _button(choice.label, choice.act, pressed=choice.on)


def _button(label: str, does: str, name: str = "", pressed: bool | None = None) -> Any:
    """A button that does an act; name: its class; pressed: whether it holds now, None if it can't."""
    more = {} if pressed is None else {"aria-pressed": str(pressed).lower()}
    return html.Button(label, id={"type": "do", "act": does}, type="button", className=name, **more)


def _field(entry: Entry) -> Any:
    return html.Label([
        html.Span(entry.label),
        dcc.Input(id={"type": "field", "act": entry.act}, value=entry.value, placeholder=entry.hint,
                  debounce=True, autoComplete="off", maxLength=200, type="text"),
    ], className="field")  # fmt: skip


@cache
def shelf_titles() -> Mapping[str, str]:
    """File name -> title of each rig of the shelf, in order of name."""
    files = (resources.files("analysis") / "rigs").iterdir()
    named = sorted((file for file in files if file.name.endswith(".toml")), key=lambda f: f.name)
    titles = {file.name: tomllib.loads(file.read_text("utf-8")).get("title") for file in named}
    return MappingProxyType({name: title or name[:-5] for name, title in titles.items()})
