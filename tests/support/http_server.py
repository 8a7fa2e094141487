"""The live page's server in a thread of the test, and what its refusals look like."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dashboard.live.session_hub import Hub
from dashboard.watch.server import FaultLog, Server
from dashboard.web.sharing import Sharing
from support.waiting import joined

Answer = tuple[int, bytes, dict[str, str]]  # status, body, headers


def sent_to(port: int, path, method="GET", headers=None, body=None, host=None) -> Answer:
    """The answer of a server of this machine to any request, also one that no browser sends."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
    link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    link.putheader("Host", f"127.0.0.1:{port}" if host is None else host)
    for name, value in (headers or {}).items():
        link.putheader(name, value)
    if body is not None:
        link.putheader("Content-Length", str(len(body)))
    link.endheaders(body)
    answer = link.getresponse()
    data = answer.read()
    link.close()
    return answer.status, data, dict(answer.getheaders())


class Asking:
    """What a server of a test is asked; server: has the port."""

    server: Any

    def ask(self, *request: Any, **more: Any) -> Answer:
        """The answer to a request, given as to `sent_to` behind the port."""
        return sent_to(self.server.port, *request, **more)


class OpenServer:
    """A server over a session or a folder of sessions; without `sharing` it is open to this machine alone."""

    def __init__(
        self, path: Path, rigs: Sequence[Path] = (), sharing: Sharing | None = None
    ) -> None:
        self.hub = Hub(path, FaultLog(), rigs)
        self.server = Server(self.hub, 0, sharing)
        self.operator = ""  # the operator's cookie, once an action needed it
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def ask(self, path, method="GET", headers=None, body=None, host=None) -> Answer:
        """Send any request, also one that no browser sends."""
        return sent_to(self.server.port, path, method, headers, body, host)

    def act(self, verb: str, body=None, **headers) -> Answer:
        """Send an action as the operator's page does; headers: others in place of its own, None for none."""
        if not self.operator:
            code = json.dumps({"code": self.server.sharing.codes["operator"]}).encode()
            kind = {"Content-Type": "application/json"}
            answer = OpenServer.ask(self, "/enter", "POST", kind, code)
            self.operator = answer[2]["Set-Cookie"].split(";")[0]
        sent = {
            "Content-Type": "application/json", "X-Haul-Token": self.server.token, "Cookie": self.operator,
            **headers,
        }  # fmt: skip
        sent = {k: v for k, v in sent.items() if v is not None}
        return self.ask(f"/act/{verb}", "POST", sent, json.dumps(body or {}).encode())

    def close(self) -> None:
        self.server.close()
        self.hub.close()
        joined(self.thread)


def assert_refused(answer: Answer, *statuses: int, one_line: bool = False) -> None:
    """The answer has one of these statuses and a short plain text that shows nothing of the program.

    one_line: whether it is a single line, as the program's own refusals are.
    """
    status, body, headers = answer
    assert status in statuses, (status, body)
    assert len(body) < 300 and not (one_line and b"\n" in body)
    assert b"Traceback" not in body and b"File " not in body
    assert headers["Content-Type"].startswith("text/plain")
