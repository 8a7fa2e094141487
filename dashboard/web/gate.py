"""The one gate before every route: what is not expected is refused, shortly and without a trace.

Refused are, in this order: another Host (a page elsewhere that lets its name lead here), a foreign
Origin or Sec-Fetch-Site, a long URL, who has no code where one is asked for, a method or route that is
not on the list or not for this role, a large body, and an action without the token of this run.
Whatever a route raises becomes one short answer and a trace in a log.
"""

from __future__ import annotations

import hmac
import json
import re
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl

from logger.errors import UserFault, one_line

MOST_BODY = 4096
MOST_URL = 2048
TOKEN_HEADER = "HTTP_X_HAUL_TOKEN"
TEXT = "text/plain; charset=utf-8"
JSON = "application/json"
HTML = "text/html; charset=utf-8"
ANYONE, VIEWER, OPERATOR = "anyone", "viewer", "operator"
MAY = {None: {ANYONE}, VIEWER: {ANYONE, VIEWER}, OPERATOR: {ANYONE, VIEWER, OPERATOR}}
REASONS = {
    200: "OK", 202: "Accepted", 304: "Not Modified", 400: "Bad Request", 403: "Forbidden",
    404: "Not Found", 405: "Method Not Allowed", 409: "Conflict", 411: "Length Required",
    413: "Content Too Large", 414: "URI Too Long", 415: "Unsupported Media Type",
    421: "Misdirected Request", 429: "Too Many Requests", 500: "Internal Server Error",
}  # fmt: skip

StartResponse = Callable[..., Any]
Wsgi = Callable[[dict[str, Any], StartResponse], Iterable[bytes]]


@dataclass(frozen=True)
class Request:
    """What a route may look at.  match: the route's pattern on the path; role: of who asks."""

    method: str
    path: str
    query: Mapping[str, str]
    body: bytes
    match: re.Match[str]
    environ: dict[str, Any]
    role: str | None = OPERATOR


@dataclass(frozen=True)
class Answer:
    """keep: whether a browser may keep it; cookie: of Set-Cookie."""

    status: int
    body: bytes
    kind: str = TEXT
    keep: bool = False
    cookie: str = ""


@dataclass(frozen=True)
class Route:
    """method: GET (HEAD too) or POST; handle makes the answer, or `app` is asked instead; who may
    ask: ANYONE, VIEWER (an operator too) or OPERATOR; if not said, VIEWER for a GET and OPERATOR for a
    POST; token: whether a POST has to carry it."""

    method: str
    pattern: re.Pattern[str]
    handle: Callable[[Request], Answer] | None = None
    app: Wsgi | None = None
    keep: bool = False
    who: str = ""
    token: bool = True
    most: int = MOST_BODY  # bytes of a body

    @property
    def for_whom(self) -> str:
        return self.who or (VIEWER if self.method == "GET" else OPERATOR)


@dataclass(frozen=True)
class Refused(Exception):
    """A request that is not answered."""

    status: int
    why: str


@dataclass
class Gate:
    """A WSGI application.  hosts: the values of Host that are this server; token: of this run;
    script_hashes: CSP sources of inline scripts; log: takes what a route raised; role_of: who asks,
    by the request's environ (None: nobody who was let in)."""

    hosts: frozenset[str]
    token: str
    routes: Sequence[Route]
    script_hashes: Sequence[str]
    log: Callable[[Exception], None]
    role_of: Callable[[dict[str, Any]], str | None] = lambda environ: OPERATOR
    headers: list[tuple[str, str]] = field(init=False)

    def __post_init__(self) -> None:
        # style: plotly.js and React set styles on elements, which hashes cannot allow
        policy = (
            "default-src 'none'; script-src 'self' " + " ".join(self.script_hashes) + "; "
            "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; connect-src 'self'; "
            "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        self.headers = [
            ("Content-Security-Policy", policy),
            ("X-Content-Type-Options", "nosniff"),
            ("X-Frame-Options", "DENY"),
            ("Referrer-Policy", "no-referrer"),
            ("Cross-Origin-Opener-Policy", "same-origin"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
            ("Permissions-Policy", "camera=(), microphone=(), geolocation=()"),
        ]

    def __call__(self, environ: dict[str, Any], start: StartResponse) -> Iterable[bytes]:
        began = time.perf_counter()
        try:
            route, request = self._admit(environ)
            if route.app is not None:
                return self._passed(route, environ, start)
            assert route.handle is not None
            answer = route.handle(request)
        except Refused as refused:
            answer = Answer(refused.status, refused.why.encode("utf-8"))
        except UserFault as fault:
            answer = Answer(409, one_line(f"{fault.fault}; {fault.cure}", 300).encode("utf-8"))
        except Exception as error:
            self.log(error)
            answer = Answer(500, b"our own fault; the trace is in the log")
        return self._send(answer, environ, start, began)

    # -- who may come in -----------------------------------------------------------------------
    def _admit(self, environ: dict[str, Any]) -> tuple[Route, Request]:
        if environ.get("HTTP_HOST", "") not in self.hosts:
            raise Refused(421, "this server does not answer under that name")
        origin = environ.get("HTTP_ORIGIN")
        if origin is not None and origin not in {f"http://{host}" for host in self.hosts}:
            raise Refused(403, "asked from a page of another origin")
        if environ.get("HTTP_SEC_FETCH_SITE", "none") not in ("none", "same-origin"):
            raise Refused(403, "asked from a page of another site")
        # WSGI hands on bytes as latin-1
        path = environ.get("PATH_INFO", "").encode("latin-1", "replace").decode("utf-8", "replace")
        text = environ.get("QUERY_STRING", "")
        if len(path) + len(text) > MOST_URL:
            raise Refused(414, "the address is too long")
        if not path.isprintable() or "\\" in path or ".." in path or "//" in path:
            raise Refused(400, "no such address")
        method = environ.get("REQUEST_METHOD", "")
        found = [(r, m) for r in self.routes if (m := r.pattern.fullmatch(path))]
        role = self.role_of(environ)
        if role is None and not any(r.for_whom == ANYONE for r, _ in found):
            # before anything is said about what is here and what is not
            raise Refused(403, "this page needs the code of its run: open the link you were given")
        if not found:
            raise Refused(404, "nothing is here")
        wanted = "GET" if method == "HEAD" else method
        route, match = next(((r, m) for r, m in found if r.method == wanted), (None, None))
        if route is None or match is None:
            raise Refused(405, f"not with {method[:10]}" if method.isalpha() else "not so")
        if route.for_whom not in MAY.get(role, ()):
            raise Refused(403, "only an operator may do this" if role else "this needs a code")
        body = self._body(environ, route.most)
        if route.method == "POST" and route.token:
            given = environ.get(TOKEN_HEADER, "")
            if not hmac.compare_digest(given.encode("latin-1", "replace"), self.token.encode()):
                raise Refused(403, "the token of this run is missing or wrong: load the page again")
        kind = environ.get("CONTENT_TYPE", "").split(";")[0].strip().lower()
        if route.method == "POST" and kind != JSON:  # which a form of another page cannot say
            raise Refused(415, "send application/json")
        query = dict(parse_qsl(text, keep_blank_values=True, max_num_fields=20, errors="replace"))
        return route, Request(
            method=method,
            path=path,
            query=query,
            body=body,
            match=match,
            environ=environ,
            role=role,
        )

    def _body(self, environ: dict[str, Any], most: int) -> bytes:
        if environ.get("HTTP_TRANSFER_ENCODING"):
            raise Refused(411, "say the body's length")
        try:
            length = int(environ.get("CONTENT_LENGTH") or 0)
        except ValueError:
            raise Refused(400, "the body's length is no number") from None
        if length > most:
            raise Refused(413, f"at most {most} bytes")
        return environ["wsgi.input"].read(length) if length > 0 else b""

    # -- answering -----------------------------------------------------------------------------
    def _send(
        self, answer: Answer, environ: dict[str, Any], start: StartResponse, began: float
    ) -> list[bytes]:
        took_ms = 1000 * (time.perf_counter() - began)
        headers = [
            ("Content-Type", answer.kind),
            ("Content-Length", str(len(answer.body))),
            ("Cache-Control", "max-age=3600" if answer.keep else "no-store"),
            ("Server-Timing", f"app;dur={took_ms:.2f}"),
            *self.headers,
        ]
        if answer.cookie:
            headers.append(("Set-Cookie", answer.cookie))
        start(f"{answer.status} {REASONS.get(answer.status, 'Other')}", headers)
        return [] if environ.get("REQUEST_METHOD") == "HEAD" else [answer.body]

    def _passed(
        self, route: Route, environ: dict[str, Any], start: StartResponse
    ) -> Iterable[bytes]:
        """The answer of the application behind; what it refuses or breaks on stays short."""
        said: list[Any] = []

        def catch(status: str, headers: list[tuple[str, str]], info: Any = None) -> Any:
            said[:] = [status, headers]
            return lambda data: None

        assert route.app is not None
        # what is behind sees no header or body that a route of it does not need
        pieces = route.app({**environ, "CONTENT_LENGTH": "0"}, catch)
        try:
            body = b"".join(pieces)
        finally:
            close = getattr(pieces, "close", None)
            if close is not None:
                close()
        status, headers = said
        if int(status[:3]) >= 400:
            raise Refused(404, "nothing is here")
        own = {name.lower() for name, _ in self.headers} | {"set-cookie", "server"}
        if not route.keep:
            own |= {"cache-control"}
            headers = [*headers, ("Cache-Control", "no-store")]
        kept = [h for h in headers if h[0].lower() not in own or h == ("Cache-Control", "no-store")]
        start(status, [*kept, *self.headers])
        return [] if environ.get("REQUEST_METHOD") == "HEAD" else [body]


def asked_int(query: Mapping[str, str], name: str) -> int:
    """A whole number from the query, 0 where it is missing; raises Refused."""
    text = query.get(name, "0")
    if not re.fullmatch(r"[0-9]{1,15}", text):
        raise Refused(400, f"{name} is a whole number")
    return int(text)


def asked_texts(body: bytes, known: Sequence[str]) -> dict[str, str]:
    """A JSON object whose keys are known and whose values are texts; raises Refused."""
    try:
        found = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(
        key in known and isinstance(value, str) for key, value in found.items()
    ):
        raise Refused(400, "send one JSON object with the texts " + ", ".join(known))
    return found
