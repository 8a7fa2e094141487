"""The Dash components of the check page: the empty page, and each part for the check as it is now."""

from __future__ import annotations

import json
from typing import Any

from dash import dcc, html

from dashboard.check_page.check_line import LEFT, MOST_REASON, REASONS, CheckLine, CheckState
from dashboard.check_page.checks import TIMES_S, CheckNow
from dashboard.desk.folder import DeskFiles
from dashboard.desk.strip import session_address
from dashboard.web.touches import touches_store
from logger.machine.machine_watch import time_text

LOOK_MS = (
    1000  # how often a page asks for the list; chosen by us: a number that is a second old is alive
)
MOST_NAME = 60  # characters of a session's name
MOST_TITLES = 4  # titles of what is left that are shown beside Start
NOTE = "note"  # the act of a reason that is typed
SIGNS = {
    CheckState.GOOD: "✓", CheckState.CONFIRMED: "✓", CheckState.OVERRULED: "!", CheckState.WAITING: "…",
    CheckState.CONFIRM: "?", CheckState.MISSING: "!", CheckState.BLOCKED: "✕",
}  # fmt: skip


def page() -> Any:
    """The page, empty."""
    return html.Div(
        [
            dcc.Store(id="seen"),
            touches_store(),
            dcc.Store(id="asked", data=""),
            dcc.Store(id="started", data=""),
            dcc.Interval(id="look", interval=LOOK_MS),
            dcc.Location(id="go", refresh=True),
            html.H1("Check before the pull", id="title"),
            html.Div(id="said", role="alert"),
            html.Main([
                html.Section([html.H2("Next haul"), html.Div(id="files")], className="tile"),
                html.Section([html.H2("The list"), html.Div(id="lines")], className="tile"),
                html.Section([
                    html.H2("The session"),
                    html.Label([
                        html.Span(["Name, if not ", html.B(id="suggested")]),
                        dcc.Input(id={"type": "field", "act": "name"}, value="", debounce=True,
                                  autoComplete="off", maxLength=MOST_NAME, type="text"),
                    ], className="field"),
                    html.H3("How long the haul takes"),
                    html.Div(id="times", className="choices", role="group",
                             **{"aria-label": "How long the haul takes"}),
                ], className="tile", id="session", hidden=True),
            ], className="desk"),
            html.Div(_reasons(), id="why", role="dialog", hidden=True, **{"aria-labelledby": "why-title"}),
            html.Div([html.P(id="left", role="status"),
                      _button("Start recording", "start", look="main", name="start")],
                     id="foot", role="group", hidden=True, **{"aria-label": "Start", "data-ready": "no"}),
        ],
        id="page", className="plan desk-page check-page",
    )  # fmt: skip


def _reasons() -> list[Any]:
    """The panel that asks why something is overruled."""
    return [
        html.P(id="why-title"),
        html.Div([_button(reason, "reason", str(k)) for k, reason in enumerate(REASONS)], className="choices"),
        html.Label([
            html.Span("or in your words"),
            dcc.Input(id="note", value="", autoComplete="off", maxLength=MOST_REASON, type="text"),
        ], className="field"),
        html.Div([_button("Overrule with these words", "reason", NOTE), _button("Leave it", "leave")],
                 className="choices"),
    ]  # fmt: skip


def files(now: CheckNow, may: bool, there: DeskFiles) -> list[Any]:
    """What the haul is with; may: whether whoever looks may choose; there: the folder's files."""
    return [
        html.Div([
            html.H3("Rig"),
            _choices("rig", [(one.name, one.title) for one in there.rigs],
                     now.files.rig.name if now.files.rig else "", may, "/rig/", "Make a rig"),
        ]),
        html.Div([
            html.H3("Sensors"),
            _choices("sensors", [(one.name, one.name) for one in there.sensors],
                     now.files.sensors.name if now.files.sensors else "", may, "/sensors/",
                     "Set the sensors up"),
        ]),
        *(html.P(line, className="cannot") for line in there.at_fault()),
    ]  # fmt: skip


def _choices(
    act: str, there: list[tuple[str, str]], on: str, may: bool, address: str, make: str
) -> Any:
    if not there:
        return html.P(html.A(make, href=address, className="way"))
    if not may:
        return html.P(next((title for name, title in there if name == on), ""))
    titles = [title for _, title in there]
    return html.Div(
        [_button(title if titles.count(title) == 1 else f"{title} ({name})", act, name, pressed=name == on)
         for name, title in there],
        className="choices", role="group", **{"aria-label": "Rig" if act == "rig" else "Sensors file"},
    )  # fmt: skip


def lines(now: CheckNow, may: bool) -> list[Any]:
    """The list, or where a recording goes on."""
    if now.recording:
        return [
            html.P([html.B(now.recording), " is being recorded."]),
            html.P(html.A("Look at the haul", href=session_address(now.recording), className="go main"),
                   className="ways"),
        ]  # fmt: skip
    if now.starting:
        return [html.P(["The recorder of ", html.B(now.starting), " is being started."])]
    return [html.Ul([_line(line, may) for line in now.lines], className="checks")]


def _line(line: CheckLine, may: bool) -> Any:
    """One line: its state in a word with a sign, what was found, what to do."""
    settled = line.state in (CheckState.CONFIRMED, CheckState.OVERRULED)
    word = f"{line.state}: {line.reason}" if line.reason else str(line.state)
    parts: list[Any] = [
        html.Div([html.B(line.title, className="what"),
                  html.Span([html.I(SIGNS[line.state], **{"aria-hidden": "true"}), f" {word}"], className="word")],
                 className="row"),
        html.P(line.text, className="found"),
    ]  # fmt: skip
    if line.cure and line.state in LEFT:
        parts.append(html.P(line.cure, className="cure"))
    if line.details:
        listed = html.Ul([html.Li(one) for one in line.details], className="details")
        parts.append(
            html.Details([html.Summary(f"{len(line.details)} lines"), listed])
            if settled
            else listed
        )
    if may:
        parts += _acts(line)
    return html.Li(parts, className=f"check {line.state.name.lower()}", id=f"line-{line.mark}")


def _acts(line: CheckLine) -> list[Any]:
    """What a person may say to a line."""
    label = line.title
    if line.state == CheckState.CONFIRM:
        yes = "Seen" if line.key == "levels" else "It is so"
        return [
            html.Div(
                _button(yes, "confirm", line.mark, look="main", label=f"{yes}: {label}"),
                className="acts",
            )
        ]
    if line.state == CheckState.MISSING:
        return [html.Div(_button("Go on without it", "over", line.mark, label=f"Go on without it: {label}"),
                         className="acts")]  # fmt: skip
    if line.state in (CheckState.CONFIRMED, CheckState.OVERRULED):
        return [html.Div(_button("Take it back", "back", line.mark, label=f"Take it back: {label}"),
                         className="acts")]  # fmt: skip
    return []


def times(now: CheckNow) -> list[Any]:
    """How long the haul takes, as buttons."""
    return [
        _button(time_text(one), "takes", str(round(one)), pressed=one == now.takes_s)
        for one in TIMES_S
    ]


def left_text(now: CheckNow) -> str:
    """What keeps Start back, in words."""
    if now.recording:
        return f"{now.recording} is being recorded."
    if now.starting:
        return "The recorder starts."
    if now.fault:
        return f"The recorder did not start: {now.fault}"
    if not now.left:
        return "Nothing is left. Look once more at the rope and at the people, then start."
    titles = [line.title for line in now.left]
    more = f" and {len(titles) - MOST_TITLES} more" if len(titles) > MOST_TITLES else ""
    return f"{len(titles)} left: {', '.join(titles[:MOST_TITLES])}{more}"


def _button(
    text: str,
    *act: str,
    look: str = "",
    pressed: bool | None = None,
    label: str = "",
    name: str = "",
) -> Any:
    """A button that does an act.

    look: its class; pressed: whether it holds now, None if it can't; label: what a screen reader says;
    name: an address of the button that styles and scripts use.
    """
    more: dict[str, str] = {} if pressed is None else {"aria-pressed": str(pressed).lower()}
    if label:
        more["aria-label"] = label
    if name:
        more["data-name"] = name
    return html.Button(
        text, type="button", id={"type": "do", "act": json.dumps(act)}, className=look, **more
    )
