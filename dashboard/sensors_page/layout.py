"""The Dash components of the sensors page: the empty page, and each part for one view."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.sensors_page.acts import act
from dashboard.sensors_page.questions import AskedChoice, AskedField, OpenQuestion
from dashboard.sensors_page.sensors_view import ChannelRow, SensorsView
from dashboard.text.cautions import CAUTIONS
from dashboard.web.touches import touches_store

LOOK_MS = 600  # how often a page asks what came; chosen by us: lines look alive


def page() -> Any:
    """The page, empty."""
    return html.Div(
        [
            dcc.Store(id="version", data=0),
            dcc.Store(id="width", data=0),
            touches_store(),
            dcc.Interval(id="look", interval=LOOK_MS),
            html.Div(id="live", hidden=True, **{"data-live": ""}),
            html.Header([
                html.Div([html.H1("Sensors"), html.Span(id="status")], className="who"),
                html.Div(id="hand", className="when"),
            ]),
            html.Div(id="said", role="alert"),
            html.Main([
                html.Section(id="step", className="tile full", hidden=True),
                html.Section([
                    html.H2("Devices"),
                    html.P("Plug a device in, and it appears here. Listening sends nothing to it.",
                           className="note"),
                    html.Div(address(), id="address", className="typed"),
                    html.Div(id="ports"),
                ], className="tile rest devices"),
                html.Section(id="channels", className="tile rest channels"),
                html.Section(id="file", className="tile full rest"),
                html.Section([html.H2("Cautions"), html.Ul([html.Li(c) for c in CAUTIONS])],
                             className="tile full mind rest"),
            ]),
        ],
        id="page", className="plan sensors-page",
    )  # fmt: skip


def address() -> list[Any]:
    """The field for an address, empty."""
    hint = "socket://192.168.4.1:8080"
    return [
        _field(
            AskedField(
                label="Another address, or a path",
                name="address",
                value="",
                hint=hint,
                act=act("address"),
            )
        ),
        _button(AskedChoice("Listen there", act("address"))),
    ]


def hand(shown: SensorsView) -> list[Any]:
    """The buttons that are always in reach."""
    return [
        _button(AskedChoice("Undo", act("undo")), off=not shown.may_undo),
        _button(AskedChoice("Redo", act("redo")), off=not shown.may_redo),
    ]


def step(asked: OpenQuestion | None) -> list[Any]:
    """The question that is open."""
    if asked is None:
        return []
    parts: list[Any] = [
        html.Div([html.H2(asked.title, id="step-title", tabIndex="-1"),
                  _button(AskedChoice("Close", act("close")))], className="row"),
        html.P(asked.about, className="about"),
        *(html.P(note, className="note") for note in asked.notes),
    ]  # fmt: skip
    if asked.rows:
        parts.append(
            html.Ul([html.Li([html.Span(text), _button(choice)]) for text, choice in asked.rows], className="points")
        )  # fmt: skip
    parts += [_field(one) for one in asked.fields]
    if asked.svg:
        parts.append(html.Div(className="drawn", **{"data-svg": asked.svg}))
    if asked.choices:
        parts.append(_choices(asked.choices, asked.title))
    if asked.further:
        parts.append(html.H3("Or a strand or part of the rig"))
        parts.append(_choices(asked.further, "Strands and parts"))
    if asked.live:
        # below all buttons, so that what a device says never moves one from under a finger
        parts.append(html.Div(id="step-live"))
    return parts


def channels(shown: SensorsView) -> list[Any]:
    """The channels of the file."""
    head: list[Any] = [html.H2("Channels")]
    if shown.fault:
        head.append(html.P(shown.fault, className="fault"))
    if not shown.channels:
        return [
            *head,
            html.P(
                "None yet: listen to a device, and touch the number that counts.", className="note"
            ),
        ]
    return [*head, html.Ul([_channel(row) for row in shown.channels])]


def _channel(row: ChannelRow) -> Any:
    parts: list[Any] = [
        html.Div(
            [html.B(row.name), _button(row.change, name=f"Change {row.name}")], className="row"
        ),
        html.Span("", className="value", **{"data-value": row.name}),
        html.P(row.text),
    ]
    if row.notes:
        parts.append(html.P("; ".join(row.notes), className="note"))
    if row.fault:
        parts.append(html.P(row.fault, className="fault"))
    return html.Li(parts)


def file(shown: SensorsView) -> list[Any]:
    """Saving, the folder's files, and the rig."""
    save = (
        [_button(AskedChoice(f"Save {shown.file}.toml", act("save"), True), off=not shown.may_save)]
        if shown.file
        else []
    )
    name = "Save under another name" if shown.file else "Name of the new file"
    return [
        html.H2("Save"),
        html.Div([_button(one) for one in shown.offers], className="choices"),
        html.Div([
            *save,
            _field(AskedField(label=name, name="file", value="", hint="sensors", act=act("save", "as"))),
            _button(AskedChoice("Save as" if shown.file else "Save", act("save", "as"), not shown.file)),
        ], className="typed"),
        html.H3("Sensors files of the folder"),
        _choices(shown.files, "Sensors files of the folder", pressed=True),
        *(html.P(line, className="cannot") for line in shown.at_fault),
        html.H3("Rig that the channels sit in"),
        _choices(shown.rigs, "Rig", pressed=True) if shown.rigs
        else html.P("There is no rig in the folder yet.", className="note"),
    ]  # fmt: skip


def _choices(choices: tuple[AskedChoice, ...], title: str, pressed: bool = False) -> Any:
    """Buttons; pressed: whether `strong` means that one holds now."""
    return html.Div(
        [_button(one, pressed=one.strong if pressed else None) for one in choices],
        className="choices", role="group", **{"aria-label": title},
    )  # fmt: skip


def _button(
    one: AskedChoice, off: bool = False, pressed: bool | None = None, name: str = ""
) -> Any:
    """A button; off: whether it does nothing now; pressed: whether it holds; name: for a screen reader."""
    more: dict[str, Any] = {} if pressed is None else {"aria-pressed": str(pressed).lower()}
    if name:
        more["aria-label"] = name
    return html.Button(
        one.label, id={"type": "do", "act": one.act}, type="button", disabled=off,
        className="strong" if one.strong and pressed is None else "", **more,
    )  # fmt: skip


def _field(one: AskedField) -> Any:
    return html.Label([
        html.Span(one.label),
        dcc.Input(id={"type": "field", "name": one.name, "act": one.act}, value=one.value, placeholder=one.hint,
                  debounce=True, autoComplete="off", maxLength=300, type="text"),
    ], className="field")  # fmt: skip
