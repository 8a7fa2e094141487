"""Checks every request before its route handles it, and refuses an unexpected one with a short answer.

The checks, in this order: Host (against DNS rebinding), Origin and Sec-Fetch-Site, length and
characters of the URL, the access code where the page is shared, route and method, the role, the size of
the body, the token of this run for an action.  An exception in a route becomes one short answer and a
trace in a log.
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
MOST_FIELDS = 20  # of a query
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
class WebRequest:
    """A request that has passed the gate, as a route sees it.

    method: GET, HEAD or POST.
    path: of the URL, decoded.
    query: the URL's parameters, decoded.
    body: bytes of the body, b"" without one.
    match: the match of the route's pattern with the path.
    environ: the WSGI environment.
    role: VIEWER or OPERATOR; None for a client without a code.
    """

    method: str
    path: str
    query: Mapping[str, str]
    body: bytes
    match: re.Match[str]
    environ: dict[str, Any]
    role: str | None = VIEWER


@dataclass(frozen=True)
class Answer:
    """The answer of a route.

    status: HTTP status.
    body: what is sent.
    kind: the Content-Type.
    keep: whether a browser may cache it.
    cookie: value of Set-Cookie; "" for none.
    """

    status: int
    body: bytes
    kind: str = TEXT
    keep: bool = False
    cookie: str = ""


@dataclass(frozen=True)
class Route:
    """One method and path pattern, and what answers it.

    method: GET (HEAD too) or POST.
    pattern: must match the whole path.
    handle: makes the answer; None where `app` does.
    app: a WSGI application that answers instead of `handle`.
    keep: whether a browser may cache the answer of `app`.
    who: the role that may use it: ANYONE, VIEWER (an operator too) or OPERATOR; "" for the default.
    token: whether a POST must carry the token of this run.
    most: bytes that a body may have.
    """

    method: str
    pattern: re.Pattern[str]
    handle: Callable[[WebRequest], Answer] | None = None
    app: Wsgi | None = None
    keep: bool = False
    who: str = ""
    token: bool = True
    most: int = MOST_BODY

    @property
    def for_whom(self) -> str:
        """The role that may use it: `who`, by default VIEWER for a GET and OPERATOR for a POST."""
        return self.who or (VIEWER if self.method == "GET" else OPERATOR)


@dataclass(frozen=True)
class Refused(Exception):
    """A request is refused: raised by the gate and by routes, answered with a status and a sentence.

    status: HTTP status.
    why: a sentence for the page.
    """

    status: int
    why: str


@dataclass
class Gate:
    """A WSGI application that checks each request and passes it to its route.

    hosts: values of the Host header that name this server.
    token: of this run; an action must carry it.
    routes: all that is served.
    script_hashes: sources of inline scripts, for the content security policy.
    log: takes an exception that a route raised.
    role_of: role of a request by its environ; None for a client without a code.
    headers: security headers of every answer.
    """

    hosts: frozenset[str]
    token: str
    routes: Sequence[Route]
    script_hashes: Sequence[str]
    log: Callable[[Exception], None]
    role_of: Callable[[dict[str, Any]], str | None] = lambda environ: VIEWER
    headers: list[tuple[str, str]] = field(init=False)

    def __post_init__(self) -> None:
        # 'unsafe-inline' for styles: plotly.js and React set styles on elements, which hashes cannot allow
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
                return self._pass_on(route, environ, start)
            assert route.handle is not None
            answer = route.handle(request)
        except Refused as refused:
            answer = Answer(refused.status, refused.why.encode("utf-8"))
        except UserFault as fault:
            answer = Answer(409, one_line(f"{fault.fault}; {fault.cure}", 300).encode("utf-8"))
        except Exception as error:
            self.log(error)
            answer = Answer(500, b"our own fault: the program failed; its log has the trace")
        return self._send(answer, environ, start, began)

    # -- checks -----------------------------------------------------------------------
    def _admit(self, environ: dict[str, Any]) -> tuple[Route, WebRequest]:
        """The route of a request and the request as the route sees it; raises Refused."""
        if environ.get("HTTP_HOST", "") not in self.hosts:
            raise Refused(421, "this server does not answer under this name")
        origin = environ.get("HTTP_ORIGIN")
        if origin is not None and origin not in {f"http://{host}" for host in self.hosts}:
            raise Refused(403, "a page of another origin sent this request")
        if environ.get("HTTP_SEC_FETCH_SITE", "none") not in ("none", "same-origin"):
            raise Refused(403, "a page of another site sent this request")
        # WSGI gives the bytes of a path as latin-1
        path = environ.get("PATH_INFO", "").encode("latin-1", "replace").decode("utf-8", "replace")
        text = environ.get("QUERY_STRING", "")
        if len(path) + len(text) > MOST_URL:
            raise Refused(414, "the address is too long")
        if not path.isprintable() or "\\" in path or ".." in path or "//" in path:
            raise Refused(400, "no such address")
        method = environ.get("REQUEST_METHOD", "")
        candidates = [(r, m) for r in self.routes if (m := r.pattern.fullmatch(path))]
        role = self.role_of(environ)
        if role is None and not any(r.for_whom == ANYONE for r, _ in candidates):
            # before a 404, which would show which routes exist
            raise Refused(403, "this page needs the code of its run: open the link you were given")
        if not candidates:
            raise Refused(404, "nothing is here")
        wanted = "GET" if method == "HEAD" else method
        route, match = next(((r, m) for r, m in candidates if r.method == wanted), (None, None))
        if route is None or match is None:
            name = method[:10] if method.isalpha() else "this method"
            raise Refused(405, f"{name} is not allowed here")
        if route.for_whom not in MAY.get(role, ()):
            raise Refused(
                403,
                "only an operator may do this: open the operator's link"
                if role
                else "this page needs an access code",
            )
        body = self._body(environ, route.most)
        if route.method == "POST" and route.token:
            given = environ.get(TOKEN_HEADER, "")
            if not hmac.compare_digest(given.encode("latin-1", "replace"), self.token.encode()):
                raise Refused(403, "the token of this run is missing or wrong: load the page again")
        kind = environ.get("CONTENT_TYPE", "").split(";")[0].strip().lower()
        if route.method == "POST" and kind != JSON:  # a form of another page cannot send JSON
            raise Refused(415, "send application/json")
        return route, WebRequest(
            method=method,
            path=path,
            query=_query(text),
            body=body,
            match=match,
            environ=environ,
            role=role,
        )

    def _body(self, environ: dict[str, Any], most: int) -> bytes:
        """The body of at most this many bytes; raises Refused."""
        if environ.get("HTTP_TRANSFER_ENCODING"):
            raise Refused(411, "send the body's length in Content-Length")
        try:
            length = int(environ.get("CONTENT_LENGTH") or 0)
        except ValueError:
            raise Refused(400, "Content-Length is not a whole number") from None
        if length > most:
            raise Refused(413, f"the body has more than {most} bytes")
        return environ["wsgi.input"].read(length) if length > 0 else b""

    # -- answers -----------------------------------------------------------------------------
    def _send(
        self, answer: Answer, environ: dict[str, Any], start: StartResponse, began: float
    ) -> list[bytes]:
        """Send an answer with its headers; began: when the request came, s of the performance
        counter."""
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

    def _pass_on(
        self, route: Route, environ: dict[str, Any], start: StartResponse
    ) -> Iterable[bytes]:
        """Answer through the route's application, with the gate's headers; its errors become 404."""
        started: list[Any] = []

        def catch(status: str, headers: list[tuple[str, str]], info: Any = None) -> Any:
            """Keep what the application passes to start_response."""
            started[:] = [status, headers]
            return lambda data: None

        assert route.app is not None
        # the application gets no body, because none of its routes needs one
        pieces = route.app({**environ, "CONTENT_LENGTH": "0"}, catch)
        try:
            body = b"".join(pieces)
        finally:
            close = getattr(pieces, "close", None)
            if close is not None:
                close()
        status, headers = started
        if int(status[:3]) >= 400:
            raise Refused(404, "nothing is here")
        own = {name.lower() for name, _ in self.headers} | {"set-cookie", "server"}
        if not route.keep:
            own |= {"cache-control"}
            headers = [*headers, ("Cache-Control", "no-store")]
        kept = [h for h in headers if h[0].lower() not in own or h == ("Cache-Control", "no-store")]
        start(status, [*kept, *self.headers])
        return [] if environ.get("REQUEST_METHOD") == "HEAD" else [body]


def _query(text: str) -> dict[str, str]:
    """The fields of a query, decoded; raises Refused for more than MOST_FIELDS."""
    try:
        pairs = parse_qsl(
            text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="replace"
        )
    except ValueError:
        raise Refused(400, f"the query has more than {MOST_FIELDS} fields") from None
    return dict(pairs)


def asked_int(query: Mapping[str, str], name: str) -> int:
    """The whole number in a query parameter, 0 where it is missing; raises Refused."""
    text = query.get(name, "0")
    if not re.fullmatch(r"[0-9]{1,15}", text):
        raise Refused(400, f"{name} must be a whole number")
    return int(text)


def asked_texts(body: bytes, keys: Sequence[str]) -> dict[str, str]:
    """The JSON object in a body, whose keys are among these and whose values are texts; raises
    Refused."""
    try:
        values = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        values = None
    if not isinstance(values, dict) or not all(
        key in keys and isinstance(value, str) for key, value in values.items()
    ):
        raise Refused(400, "send one JSON object with the texts " + ", ".join(keys))
    return values
