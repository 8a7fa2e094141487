"""Gathers the touches of a Dash page in its browser, so that none is lost on the way to the server.

Dash drops the answer of a call when the same callback is called again before it arrives, and it calls a
callback whenever one of its buttons is drawn anew.  So the buttons of a page that is drawn anew by itself are
the cause of a callback in the browser alone, which never waits; what was really touched goes on from there.
"""

from __future__ import annotations

import json
from typing import Any

from dash import Dash, Output, dcc

TOUCHES = "touches"  # id of the store that the gathered touches go into
MOST_TOUCHES, MOST_ID = 20, 500  # of one call, and characters of a part's id; memory only
# a button that was just drawn has no clicks
GATHER = """(...given) => {
  const touched = window.dash_clientside.callback_context.triggered.filter((one) =>
    one.prop_id.endsWith(".n_clicks") ? one.value > 0 : typeof one.value === "string");
  if (!touched.length) return window.dash_clientside.no_update;
  return { at: performance.now(), touched: touched.map((one) => [one.prop_id, one.value]) };
}"""


def touches_store() -> Any:
    """The component of a page that the gathered touches go into."""
    return dcc.Store(id=TOUCHES)


def gather(app: Dash, *inputs: Any) -> None:
    """Let the page gather touches on these inputs; a callback then has `Input(TOUCHES, "data")`."""
    app.clientside_callback(GATHER, Output(TOUCHES, "data"), *inputs, prevent_initial_call=True)


def touched_parts(data: Any) -> list[tuple[dict[str, Any], Any]]:
    """The ids of the parts that were touched, with their values, in order.

    data: of the store, as a browser sent it; what is no touch in it is left out.
    """
    rows = data.get("touched") if isinstance(data, dict) else None
    parts = []
    for row in rows[:MOST_TOUCHES] if isinstance(rows, list) else ():
        if not (isinstance(row, list) and len(row) == 2 and isinstance(row[0], str)):
            continue
        text, dot, _ = row[0].rpartition(".")
        try:
            identity = json.loads(text) if dot and len(text) <= MOST_ID else None
        except (ValueError, RecursionError):
            continue
        if isinstance(identity, dict) and isinstance(row[1], (int, str)):
            parts.append((identity, row[1]))
    return parts
