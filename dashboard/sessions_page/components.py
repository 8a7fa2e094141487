"""Dash components that both pages have: a table whose rows become cards on a phone, a button with an act."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from dash import html


def table(heads: Sequence[str], rows: Sequence[Sequence[Any]], bad: bool = False) -> Any:
    """A table; the first cell of a row names it.  bad: whether its rows are marked as grave."""
    top = html.Thead(html.Tr([html.Th(one, scope="col") for one in heads]))
    body = [
        html.Tr(
            [html.Th(row[0], scope="row"),
             *(html.Td(cell, className="none" if cell in ("", "–", "-") else "", **{"data-h": heads[k]})
               for k, cell in enumerate(row[1:], 1))],
            className="bad" if bad else "",
        )
        for row in rows
    ]  # fmt: skip
    return html.Div(html.Table([top, html.Tbody(body)], className="cards"), className="scroll", tabIndex="0",
                    role="region", **{"aria-label": str(heads[0]) or "table"})  # fmt: skip


def act_button(
    text: str, *act: str, look: str = "", pressed: bool | None = None, label: str = ""
) -> Any:
    """A button that does an act; look: its class; label: what a screen reader says."""
    more = {} if pressed is None else {"aria-pressed": str(pressed).lower()}
    if label:
        more["aria-label"] = label
    return html.Button(
        text, type="button", id={"type": "do", "act": json.dumps(act)}, className=look, **more
    )


def act_values(control: Any) -> list[str]:
    """The act of a button as it came back from a browser: texts; empty for what is none."""
    text = control.get("act") if isinstance(control, dict) else None
    try:
        values = json.loads(text) if isinstance(text, str) and len(text) <= MOST_ACT else None
    except (ValueError, RecursionError):
        return []
    good = isinstance(values, list) and all(type(one) is str for one in values)
    return list(values) if good and values is not None else []


MOST_ACT = 300  # characters; memory only
