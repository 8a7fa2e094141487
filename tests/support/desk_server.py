"""The desk of a folder in a thread of the test, with an operator's cookie, and calls of its callbacks."""

from __future__ import annotations

import itertools
import json
import re
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote, urlsplit

from dashboard.desk_server.server import DeskServer
from dashboard.web.sharing import Sharing
from dashboard.web.touches import TOUCHES
from support.http_server import Answer, Asking
from support.processes import PageProcess
from support.waiting import joined

UPDATE = "_dash-update-component"
NUMBERS = itertools.count(1)  # of touches; each one is another


class DeskCalls(Asking):
    """Calls of a desk as its pages make them; cookies: of each role that has a code."""

    cookies: dict[str, str]

    def enter(self, code: str) -> str:
        """The cookie for a code."""
        answer = self.ask(
            "/enter",
            "POST",
            {"Content-Type": "application/json"},
            json.dumps({"code": code}).encode(),
        )
        return answer[2]["Set-Cookie"].split(";")[0]

    def get(self, path: str, role: str = "operator") -> Answer:
        """A page as a browser with the cookie of a role asks for it; role "": without one."""
        return self.ask(path, "GET", {"Cookie": self.cookies[role]} if role in self.cookies else {})

    def call(self, prefix: str, body: Any, role: str = "operator", **headers: str | None) -> Answer:
        """Call a callback below a prefix as its page does; headers: others in place of its own, None for none."""
        sent = {
            "Content-Type": "application/json",
            "Origin": f"http://127.0.0.1:{self.server.port}",
            "Cookie": self.cookies.get(role),
            **headers,
        }
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.ask(
            prefix + UPDATE, "POST", {k: v for k, v in sent.items() if v is not None}, raw
        )

    def callback(self, prefix: str, changes: bool) -> dict[str, Any]:
        """The callback of a page that changes something, or the one that looks, as the page is told of it."""
        told = json.loads(self.get(f"{prefix}_dash-dependencies")[1])
        (row,) = [
            row for row in told
            if (changes or any(one["id"] == "look" for one in row["inputs"])) and ("@" in row["output"]) == changes
        ]  # fmt: skip
        return row

    def look(self, prefix: str, role: str = "operator", **values: Any) -> dict[str, Any]:
        """What a page shows, by id; values: of its inputs, "__" for the dot before the property."""
        given = {name.replace("__", "."): value for name, value in values.items()}
        answer = self.call(prefix, callback_body(self.callback(prefix, False), given), role)
        return json.loads(answer[1])["response"]

    def touch(
        self, prefix: str, act: list[Any], values: dict[str, Any] | None = None, role: str = "operator",
        **headers: str | None,
    ) -> Answer:  # fmt: skip
        """The answer to a touch on a button with this act; values: of the page's other parts."""
        trigger = ({"type": "do", "act": json.dumps(act)}, "n_clicks", 1)
        body = callback_body(self.callback(prefix, True), values or {}, trigger)
        return self.call(prefix, body, role, **headers)


class OpenDesk(DeskCalls):
    """A desk over a folder in a thread; without `sharing` it is open to this machine alone."""

    def __init__(self, folder: Path, sharing: Sharing | None = None) -> None:
        self.server = DeskServer(folder, 0, sharing)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        self.cookies = {role: self.enter(code) for role, code in self.server.sharing.codes.items()}

    def close(self) -> None:
        """End the server and what it started."""
        self.server.close()
        joined(self.thread)
        self.server.end()


class DeskProcess(DeskCalls):
    """`haul desk FOLDER` in a process of its own, which a test may kill."""

    def __init__(self, folder: Path) -> None:
        self.process = PageProcess("desk", folder)
        address, _, code = self.process.link.partition("#")
        self.server = SimpleNamespace(port=urlsplit(address).port)
        self.cookies = {"operator": self.enter(code)}

    def act(self, verb: str, session: str) -> Answer:
        """Send an action for a session as its live page does."""
        page = self.get(f"/s/{quote(session)}/")[1].decode()
        token = re.search(r'name="haul-token" content="([^"]+)"', page)
        assert token is not None
        sent = {
            "Content-Type": "application/json",
            "X-Haul-Token": token[1],
            "Cookie": self.cookies["operator"],
        }
        return self.ask(f"/act/{verb}", "POST", sent, json.dumps({"s": session}).encode())

    def kill(self) -> None:
        """Kill it as a machine does that runs out of memory."""
        self.process.process.kill()
        self.process.process.communicate()


def acts_in(parts: Any) -> list[list[Any]]:
    """The acts of all buttons in what a callback answered, in the order of the page."""
    if isinstance(parts, list):
        return [act for one in parts for act in acts_in(one)]
    if not isinstance(parts, dict):
        return []
    own = parts.get("id")
    here = [json.loads(own["act"])] if isinstance(own, dict) and own.get("type") == "do" else []
    return here + [act for one in parts.values() for act in acts_in(one)]


def gathered_touches(*touched: tuple[dict[str, Any], str, Any]) -> dict[str, Any]:
    """Touches as a page gathers them; touched: (id, property, value) of each part.

    Each call is a page of its own: calls of one page that overtake each other repeat their touches, these do not.
    """
    numbers = [next(NUMBERS) for _ in touched]
    return {
        "page": f"test {next(NUMBERS)}",
        "touched": [
            [
                number,
                json.dumps(identity, sort_keys=True, separators=(",", ":")) + f".{name}",
                value,
            ]
            for number, (identity, name, value) in zip(numbers, touched, strict=True)
        ],
    }


def callback_body(
    row: dict[str, Any],
    values: dict[str, Any],
    trigger: tuple[dict[str, Any], str, Any] | None = None,
) -> dict[str, Any]:
    """The request that a page sends for a callback.

    row: as the page is told of it; values: "id.property" -> value of an input or state; trigger: (id,
    property, value) of the pattern-matched part that was touched.
    """
    outs = [
        {"id": part.rpartition(".")[0], "property": part.rpartition(".")[2].partition("@")[0]}
        for part in row["output"].strip(".").split("...")
    ]

    gathered = any(part["id"] == TOUCHES for part in row["inputs"])

    def given(part: dict[str, Any]) -> Any:
        if part["id"] == TOUCHES and trigger is not None:
            return {"id": TOUCHES, "property": "data", "value": gathered_touches(trigger)}
        if part["id"].startswith("{"):
            if trigger is not None and all(
                trigger[0][k] == v
                for k, v in json.loads(part["id"]).items()
                if not isinstance(v, list)
            ):
                return [{"id": trigger[0], "property": part["property"], "value": trigger[2]}]
            return []
        return {
            **{k: part[k] for k in ("id", "property")},
            "value": values.get(f"{part['id']}.{part['property']}"),
        }

    changed = []
    if trigger is not None and gathered:
        changed = [f"{TOUCHES}.data"]
    elif trigger is not None:
        changed = [json.dumps(trigger[0], sort_keys=True, separators=(",", ":")) + f".{trigger[1]}"]
    return {
        "output": row["output"],
        "outputs": outs,
        "inputs": [given(part) for part in row["inputs"]],
        "state": [given(part) for part in row["state"]],
        "changedPropIds": changed,
    }
