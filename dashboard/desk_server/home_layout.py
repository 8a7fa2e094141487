"""The Dash components of the home page and of the list of rigs: the empty page, and each part for one view."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from dashboard.desk_server.home_view import ChannelLine, HomeView, SensorsLine, SessionLine
from dashboard.desk_server.next_step import NextStep, WayOn
from dashboard.desk_server.rig_cards import RigCard
from dashboard.text.cautions import CAUTIONS
from dashboard.web.touches import touches_store

LOOK_MS = 2000  # how often a page asks what is new; a device that is plugged in appears within this
MOST_NAME = 60  # characters of a file's name


def page(title: str, shelf_titles: Mapping[str, str]) -> Any:
    """The page, empty.  title: its heading; shelf_titles: file name -> title of each rig of the shelf."""
    return html.Div(
        [
            touches_store(), dcc.Store(id="seen"),
            dcc.Interval(id="look", interval=LOOK_MS),
            dcc.Location(id="go", refresh=True),
            html.H1(title, id="title"),
            html.Div(id="said", role="alert"),
            html.Main([
                html.Div(id="body"),
                html.Section(_fresh(shelf_titles), id="fresh", className="tile", hidden=True),
                html.Section([html.H2("Cautions"), html.Ul([html.Li(one) for one in CAUTIONS])],
                             className="tile mind"),
            ], className="desk"),
        ],
        id="page", className="plan desk-page",
    )  # fmt: skip


def _fresh(shelf_titles: Mapping[str, str]) -> list[Any]:
    """A new rig: a name, and what it begins with."""
    return [
        html.H2("A new rig"),
        html.Label([
            html.Span("Name (left empty: named after what it begins with)"),
            dcc.Input(id="name", value="", placeholder="launch 12 to 1", autoComplete="off",
                      maxLength=MOST_NAME, type="text"),
        ], className="field"),
        html.H3("An empty rope"),
        html.Div([
            _button("tied to the load, over a pulley at the anchor", "begin", "load"),
            _button("tied to the anchor, over a pulley at the load", "begin", "anchor"),
        ], className="choices"),
        html.Details([
            html.Summary(f"A rig of the shelf ({len(shelf_titles)})"),
            html.Div([_button(title, "begin", file) for file, title in shelf_titles.items()],
                     className="choices"),
        ]),
    ]  # fmt: skip


def home_body(view: HomeView, may: bool) -> list[Any]:
    """All parts of the home page.  may: whether whoever looks may change something."""
    return [
        _step(view.step, view.now, may),
        _rigs(view, may),
        _sensors(view, may),
        *_odd(view),
        _sessions(view),
    ]


def rigs_body(view: HomeView, may: bool) -> list[Any]:
    """The rigs of the folder, and the files that can't be read.  may: as `home_body` takes it."""
    return [_rigs(view, may), *_odd(view)]


def _rigs(view: HomeView, may: bool) -> Any:
    cards = [_card(card, may) for card in view.rigs]
    none = html.P("No rig in this folder yet.", className="note")
    return html.Section(
        [html.H2("Rigs"), html.Div(cards, className="rig-cards") if cards else none],
        className="tile",
    )


def _odd(view: HomeView) -> list[Any]:
    """The files that are neither rig nor sensors, each with its cure; nothing where there are none."""
    if not view.odd:
        return []
    lines = [html.P(f"{name}: {fault}", className="cannot") for name, fault in view.odd]
    return [html.Section([html.H2("Files that can't be used"), *lines], className="tile odd")]


def _step(step: NextStep, now: tuple[ChannelLine, ...], may: bool) -> Any:
    ways = [_way(one, "go main" if k == 0 else "go", may) for k, one in enumerate(step.ways)]
    shown = [_numbers(now)] if now else []
    return html.Section(
        [
            html.H2("Next"),
            html.P(step.text, id="next-text"),
            *shown,
            html.Div(ways, className="ways"),
        ],
        className="tile next",
    )


def _numbers(lines: tuple[ChannelLine, ...]) -> Any:
    """Channels with what they show now."""
    rows = [html.Li([html.B(one.name), f" {one.what} ", html.Strong(one.value)]) for one in lines]
    return html.Ul(rows, className="channels")


def _way(one: WayOn, look: str, may: bool) -> Any:
    if one.address:
        return html.A(one.label, href=one.address, className=look)
    if not may:
        return html.P(f"{one.label}: the operator may do this.", className="note")
    return _button(one.label, one.act, look=look)


def _card(card: RigCard, may: bool) -> Any:
    parts: list[Any] = [html.H3(html.A(card.title, href=card.address))]
    if card.svg:
        parts.append(html.Div(className="drawn", **{"data-svg": card.svg}))
    if card.ratio:
        parts.append(html.P([html.B(card.ratio), " with friction"], className="ratio"))
    if card.fault:
        parts.append(html.P(f"{card.name} can't work yet: {card.fault}", className="cannot"))
    else:
        parts.append(html.P(card.note, className="note"))
        parts.append(
            html.P(
                html.A(
                    "Make another rig of it, with the load held", href=card.convert, className="way"
                )
            )
        )
    if card.draft:
        parts.append(html.P("has changes that are not saved", className="note"))
    if not card.fault or card.on:
        parts.append(_chooser("rig", card.name, card.on, may))
    return html.Article(parts, className="rig-card")


def _chooser(kind: str, name: str, on: bool, may: bool) -> Any:
    """What says that the next haul is with a file, and for an operator the button that makes it so."""
    if not may:
        return html.P("for the next haul" if on else "", className="chosen")
    return html.Button(
        "For the next haul" if on else "Take it for the next haul", type="button",
        id={"type": "do", "act": json.dumps([kind, name])}, **{"aria-pressed": str(on).lower()},
    )  # fmt: skip


def _sensors(view: HomeView, may: bool) -> Any:
    lines = [_sensors_line(line, may) for line in view.sensors]
    none = html.P("No sensors file in this folder yet.", className="note")
    return html.Section(
        [html.H2("Sensors"), *(lines or [none]),
         html.P(html.A("Devices, channels, zero and levels", href="/sensors/", className="way"))],
        className="tile",
    )  # fmt: skip


def _sensors_line(line: SensorsLine, may: bool) -> Any:
    fault = [html.P(line.fault, className="fault")] if line.fault else []
    return html.Article(
        [html.H3(line.name), *fault, _numbers(line.channels),
         _chooser("sensors", line.name, line.on, may)],
        className="sensors-line",
    )  # fmt: skip


def _sessions(view: HomeView) -> Any:
    if not view.sessions:
        return html.Section(
            [
                html.H2("Last hauls"),
                html.P("Nothing has been recorded here yet.", className="note"),
            ],
            className="tile",
        )
    more = f"All sessions ({view.more_sessions} more)" if view.more_sessions else "All sessions"
    return html.Section(
        [html.H2("Last hauls"),
         html.Ul([_session(one) for one in view.sessions], className="hauls"),
         html.P(html.A(more, href="/sessions/", className="way"))],
        className="tile",
    )  # fmt: skip


def _session(one: SessionLine) -> Any:
    if one.growing:
        return html.Li([
            html.A(one.name, href=one.live),
            html.Span(" · ".join(filter(None, (one.title, one.started)))),
            html.B("being recorded now; its figures come when it is over"),
        ])  # fmt: skip
    worst = html.Span(["worst share of a limit ", html.B(one.worst)])
    if one.over:
        worst = html.Span(["OVER A LIMIT: ", html.B(one.worst), " of it"], className="over")
    return html.Li([
        html.A(one.name, href=one.live),
        html.Span(" · ".join(filter(None, (one.title, one.started, one.state)))),
        html.Span(["advantage ", html.B(one.advantage)]),
        worst,
        html.A("Result", href=one.review, className="way", **{"aria-label": f"result of {one.name}"}),
    ])  # fmt: skip


def _button(label: str, *act: str, look: str = "") -> Any:
    """A button that does an act."""
    return html.Button(
        label, type="button", id={"type": "do", "act": json.dumps(act)}, className=look
    )
