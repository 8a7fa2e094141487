"""Puts a Dash application behind the gate: its page, its files, and its callbacks by role.

An application stands under a prefix of the address, "/" or such as "/sensors/": everything that it asks for is asked
below.  One application may serve many things of a kind, such as the rigs of a folder: each has its name
behind the prefix, "/rig/NAME/", and callbacks learn it from `name_now`, never from what a browser put
into an input.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from dash import Dash

from dashboard.text.templates import render
from dashboard.web import assets
from dashboard.web.gate import JSON, MAY, OPERATOR, VIEWER, Answer, Refused, Route, WebRequest

MOST_CALL = 200_000  # bytes of a callback's request: all fields of a long rope
ROLE = "haul.role"  # in the WSGI environment of a callback: the role that the gate has found
NAME = "haul.name"  # in the WSGI environment: the name behind the prefix, "" without one
UPDATE = "_dash-update-component"
SUITES = r"_dash-component-suites/(dash|plotly)(/[A-Za-z0-9_@-][A-Za-z0-9_.@-]*)+"
# of what Dash would load at once, the parts of components that no page here has
UNUSED = re.compile(
    r'<script[^>]*src="[^"]*/(?:dash_table/|dcc/async-(?!graph))[^"]*"[^>]*></script>\s*'
)
# and what only a page with a plot needs
PLOTS = re.compile(r'<script[^>]*src="[^"]*(?:plotly|dcc/async-graph)[^"]*"[^>]*></script>\s*')


class Shell(Dash):  # type: ignore[misc]
    """Dash without the address of its version check, and without the versions that run here.

    plots: whether the plot's library is loaded before the page begins: were it loaded later, the numbers
    would stand still for as long as that takes, a second or more.
    top: the HTML of what stands above the page, asked for whenever the page is loaded.
    """

    plots = True
    top: Callable[[], str] = staticmethod(lambda: "")

    def interpolate_index(self, **parts: str) -> str:
        """The HTML of the page, from Dash's pieces, without unused scripts and without versions."""
        from flask import request

        parts["scripts"] = UNUSED.sub("", parts["scripts"])
        if not self.plots:
            parts["scripts"] = PLOTS.sub("", parts["scripts"])
        parts["config"] = re.sub(
            r'"(dash_version_url|python_version)":"[^"]*"', r'"\1":""', parts["config"]
        ).replace('"disable_version_check":false', '"disable_version_check":true')
        name = request.environ.get(NAME, "")
        if name:
            address = f"{self.config.requests_pathname_prefix}{quote(name)}/"
            parts["config"], changed = re.subn(
                r'"requests_pathname_prefix":"[^"]*"',
                f'"requests_pathname_prefix":"{address}"',
                parts["config"],
            )
            assert changed == 1, "Dash says elsewhere where its page stands"
        parts["app_entry"] = self.top() + parts["app_entry"]
        return str(super().interpolate_index(**parts))


def index(token: str, entry: str, styles: Sequence[str]) -> str:
    """The document around Dash's components, with its fields.

    token: of this run; entry: the page's script; styles: its style sheets, as `assets.address` names them.
    """
    return render(
        "web/index.html.j2", token=token, asset=assets.address, styles=styles, entry=entry,
        modules=assets.imports(entry),
    )  # fmt: skip


def shell(
    name: str, prefix: str, token: str, entry: str, styles: Sequence[str],
    top: Callable[[], str] | None = None, plots: bool = False,
) -> Shell:  # fmt: skip
    """A Dash application without a layout and callbacks; set `layout` and register those.

    name: title of its page; prefix: of its addresses, with "/" at both ends; token, entry, styles: as `index`
    takes them; top, plots: as `Shell` says.
    """
    app = Shell(
        f"haul-{name}", include_assets_files=False, serve_locally=True, eager_loading=True,
        title="haul" if not name else f"haul: {name}", update_title=None, add_log_handler=False,
        suppress_callback_exceptions=True, requests_pathname_prefix=prefix, routes_pathname_prefix="/",
        index_string=index(token, entry, styles),
    )  # fmt: skip
    app.plots = plots
    if top is not None:
        app.top = top
    # what breaks in Flask must reach the gate, which logs it and answers shortly
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    return app


def role_now() -> str | None:
    """In a callback: the role of whoever called it, as the gate has found it."""
    from flask import request

    role = request.environ.get(ROLE)
    return role if isinstance(role, str) else None


def operator_alone() -> None:
    """In a callback: raise Refused for anybody but an operator.  The gate has checked it too."""
    if role_now() != OPERATOR:
        raise Refused(403, "only an operator may do this: open the operator's link")


def name_now() -> str:
    """In a layout or a callback: the checked name behind the prefix, "" where there is none."""
    from flask import request

    return str(request.environ.get(NAME, ""))


def dash_routes(
    app: Dash,
    roles: Mapping[str, str],
    prefix: str,
    named: Callable[[str], object] | None = None,
    page: str = "",
) -> list[Route]:
    """The routes of a Dash application, all below the prefix; the first is that of its page.

    roles: the role of each callback, by its registered output key; what is not there can't be called.
    named: the application serves one page a name; checks a name and raises Refused or UserFault.
    page: address of the page where it is not the prefix itself.
    """
    # Dash registers the component files of its page with the first request
    with app.server.test_client() as client:
        client.get("/")
    flask = app.server.wsgi_app
    begin = re.escape(prefix)
    below = rf"{begin}([^/]{{1,255}})/" if named is not None else begin

    def called(pattern: re.Pattern[str], path: str) -> str:
        """The name in a path; raises what `named` does."""
        match = pattern.fullmatch(path)
        name = match[1] if named is not None and match is not None else ""
        if named is not None:
            named(name)
        return name

    def passed(pattern: re.Pattern[str]) -> Callable[..., Any]:
        """The application for addresses of this pattern."""

        def call(environ: dict[str, Any], start: Callable[..., Any]) -> Any:
            """The WSGI application.  Raises Refused."""
            from dash.exceptions import DependencyException

            path = environ["PATH_INFO"].encode("latin-1", "replace").decode("utf-8", "replace")
            name = called(pattern, path) if pattern.pattern.startswith(below) else ""
            inner = path.removeprefix(prefix).removeprefix(f"{name}/" if name else "")
            try:
                return flask(
                    {
                        **environ,
                        "PATH_INFO": "/" if path == page else f"/{inner}",
                        "QUERY_STRING": "",
                        NAME: name,
                    },
                    start,
                )
            except (DependencyException, OSError):  # no component file that Dash has registered
                raise Refused(404, "nothing is here") from None

        return call

    def update(request: WebRequest) -> Answer:
        """Run a callback for a role that may; raises Refused."""
        name = called(calls, request.path)
        return _called(flask, roles, request, name)

    calls = re.compile(below + UPDATE)
    whole = re.compile(re.escape(page) if page else below)
    asked = re.compile(f"{below}_dash-(layout|dependencies)")
    files = re.compile(begin + SUITES)
    icon = re.compile(f"{begin}_favicon.ico")
    routes = [
        Route("GET", whole, app=passed(whole)),
        Route("GET", asked, app=passed(asked)),
        Route("GET", files, app=passed(files), keep=True),
        Route("GET", icon, app=passed(icon), keep=True),
    ]
    if roles:
        # an operator's callback needs the operator's cookie; Dash sends no header of ours, and Origin,
        # Sec-Fetch-Site and a cookie of this site alone keep other pages out; the route is a viewer's,
        # and each callback has its own role
        routes.append(Route("POST", calls, update, who=VIEWER, token=False, most=MOST_CALL))
    return routes


def _called(
    flask: Callable[..., Any], roles: Mapping[str, str], request: WebRequest, name: str
) -> Answer:
    """The answer of the callback whose output key the body names; raises Refused.

    The body is written anew from what was checked, so that Dash reads the same.
    """
    try:
        body = json.loads(request.body)
    except (ValueError, RecursionError):
        raise Refused(400, "send one JSON object") from None
    output = body.get("output") if isinstance(body, dict) else None
    role = roles.get(output) if isinstance(output, str) else None
    if role is None:
        raise Refused(404, "nothing is here")
    if role not in MAY.get(request.role, ()):
        raise Refused(403, "only an operator may do this: open the operator's link")
    if "HTTP_ORIGIN" not in request.environ and request.method == "POST":
        raise Refused(403, "this is for the page itself")
    clean = json.dumps(body).encode()
    environ = {
        **request.environ,
        ROLE: request.role,
        NAME: name,
        "PATH_INFO": f"/{UPDATE}",
        "QUERY_STRING": "",
        "CONTENT_LENGTH": str(len(clean)),
        "wsgi.input": io.BytesIO(clean),
    }
    started: list[Any] = []

    def catch(status: str, headers: list[tuple[str, str]], info: Any = None) -> Any:
        """Keep the status that the application gives."""
        started[:] = [status]
        return lambda data: None

    pieces = flask(environ, catch)
    try:
        answer = b"".join(pieces)
    finally:
        close = getattr(pieces, "close", None)
        if close is not None:
            close()
    status = int(started[0][:3])
    if status == 204:
        return Answer(204, b"", JSON)
    if status >= 400:
        raise Refused(400, "this call does not fit the page: load it again")
    return Answer(200, answer, JSON)
