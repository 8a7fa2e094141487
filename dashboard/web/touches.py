"""Reads the touches that a page's script sends, so that none is lost on the way to the server and none is done twice.

Dash drops a call when the same callback is called again before the first call was sent, and reads the clicks of a
button as none where the button is drawn anew before that.  So `assets/shared/touches.js` reads a touch where it
happens, numbers it, and sends the last ones with each new one; `TouchLog` takes each number once.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from typing import Any

from dash import dcc

TOUCHES = "touches"  # id of the store that the touches go into
MOST_TOUCHES, MOST_ID = 20, 2000  # of one call, and characters of a component's id; memory only
MOST_PAGES, MOST_PAGE = 200, 40  # pages whose last touch is remembered; characters of a page's name


def touches_store() -> Any:
    """The component of a page that its touches go into."""
    return dcc.Store(id=TOUCHES)


class TouchLog:
    """What the pages of an application have sent: each touch is done once, in whatever call it comes.  Safe for threads."""

    def __init__(self) -> None:
        self._last: OrderedDict[str, int] = OrderedDict()
        self._lock = threading.Lock()

    def fresh(self, data: Any) -> list[tuple[dict[str, Any], Any]]:
        """The components that were touched, each with its value, in order, and each once.

        data: {"page": name of the page's run, "touched": [[number, "id.property", value]]}, as a browser sent it;
        what is no touch in it is left out.
        """
        rows = data.get("touched") if isinstance(data, dict) else None
        if not isinstance(rows, list):
            return []
        page = str(data.get("page"))[:MOST_PAGE]
        touched = []
        with self._lock:
            last = self._last.get(page, 0)
            for row in rows[:MOST_TOUCHES]:
                if not (isinstance(row, list) and len(row) == 3 and type(row[0]) is int):
                    continue
                identity = _identity(row[1])
                if row[0] > last and identity is not None and isinstance(row[2], (int, str)):
                    last = row[0]
                    touched.append((identity, row[2]))
            self._last[page] = last
            self._last.move_to_end(page)
            while len(self._last) > MOST_PAGES:
                self._last.popitem(last=False)
        return touched


def _identity(property_name: Any) -> dict[str, Any] | None:
    """The id in "id.property"; None where it is no mapping."""
    if not isinstance(property_name, str) or len(property_name) > MOST_ID:
        return None
    text, dot, _ = property_name.rpartition(".")
    try:
        identity = json.loads(text) if dot else None
    except (ValueError, RecursionError):
        return None
    return identity if isinstance(identity, dict) else None
