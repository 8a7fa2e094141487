"""A shared page: nobody sees anything without a code, a viewer changes nothing, nobody holds it up."""

import base64
import http.client
import json
import re
import socket
import time
from contextlib import ExitStack, suppress
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import force
from support.growing_session import four_seconds
from support.http_server import OpenServer, assert_refused
from support.processes import ended, start_haul
from support.waiting import patience, until

from dashboard.watch.live_routes import LivePages
from dashboard.watch.server import Server
from dashboard.web import assets, qr, sharing
from dashboard.web import connection_limits as connections
from dashboard.web.gate import Refused, WebRequest
from dashboard.web.sharing import Attempts, Sharing, address_to_share
from logger.errors import CallFault
from logger.recorder.request_inbox import Inbox

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>&lt;'
# one address for each route, so that a new route fails the walk until it is named here
WALK = {
    "GET": ["/", "/s/one/", "/since", "/since?seq=0&v=0&span=all", "/who", "/share", "/share.svg", "/rig?w=800", "/rigs",
            "/_dash-layout", "/_dash-dependencies", assets.address("live/poll_loop.js"), assets.address("live/sharing.js"),
            assets.address("shared/page.css"), "/_favicon.ico", "/_dash-component-suites/dash/dash-renderer/x.js",
            "/_dash-component-suites/plotly/package_data/plotly.min.js", "/enter", "/enter.js",
            "/review", "/s/one/review", "/review-data", "/window?from=0&to=1", "/loop", "/conversion?w=400"],
    "POST": ["/act/mark", "/act/undo", "/act/zero", "/act/end", "/act/ack", "/act/rig", "/act/hand", "/act/convert", "/act/move",
             "/enter"],
}  # fmt: skip
OPEN = {("GET", "/enter"), ("GET", "/enter.js")}


class Shared(OpenServer):
    """A shared server in a thread, its clock in the test's hands."""

    def __init__(self, path) -> None:
        self.now = 1000.0
        super().__init__(path, sharing=Sharing("127.0.0.1", lambda: self.now))
        self.sharing = self.server.sharing

    def ask(self, path, method="GET", body=None, cookie=None, source=None, **headers):
        link = http.client.HTTPConnection(
            "127.0.0.1", self.server.port, timeout=600,
            source_address=None if source is None else (source, 0),
        )  # fmt: skip
        sent = {"Content-Type": "application/json", "X-Haul-Token": self.server.token, **headers}
        if cookie is not None:
            sent["Cookie"] = cookie
        link.request(method, path, None if body is None else json.dumps(body).encode(), sent)
        answer = link.getresponse()
        data = answer.read()
        link.close()
        return answer.status, data, dict(answer.getheaders())

    def enter(self, code, **more):
        return self.ask("/enter", "POST", {"code": code}, **more)

    def cookie(self, role):
        status, body, headers = self.enter(self.sharing.codes[role])
        assert (status, json.loads(body)) == (200, {"role": role})
        return headers["Set-Cookie"].split(";")[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return four_seconds(tmp_path_factory.mktemp("shared") / "one").path


@pytest.fixture(scope="module")
def server(folder):
    opened = Shared(folder)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def many(folder):
    opened = Shared(folder.parent)
    yield opened
    opened.close()


@pytest.fixture
def page(server):
    server.now += 10_000  # what earlier tests guessed wrong is forgotten by now
    return server


# -- who sees what -----------------------------------------------------------------------------
@pytest.mark.parametrize("which", ["server", "many"])
def test_the_walk_names_every_route(which, request):
    for route in request.getfixturevalue(which).server.gate.routes:
        paths = [p.split("?")[0] for p in WALK[route.method]]
        assert any(route.pattern.fullmatch(p) for p in paths), route.pattern.pattern


@pytest.mark.parametrize("which", ["server", "many"])
def test_without_a_code_nobody_sees_anything(which, request, folder):
    page = request.getfixturevalue(which)
    page.now += 10_000
    name = f"haul-{page.server.port}"
    for cookie in (None, "", f"{name}=", f"{name}=wrong", f"{name}={page.sharing.codes['viewer']}"):
        for method, paths in WALK.items():
            for path in [*paths, "/no-such-thing"]:
                answer = page.ask(path, method, {} if method == "POST" else None, cookie)
                if (method, path) in OPEN:
                    assert answer[0] == 200 and len(answer[1]) < 4000
                    assert b"haul_force" not in answer[1] and b"launch" not in answer[1].lower()
                else:
                    assert_refused(answer, 403, 429, one_line=True)
                    assert "Set-Cookie" not in answer[2]
    for method in ("PUT", "DELETE", "OPTIONS", "PATCH"):
        assert_refused(page.ask("/since", method), 403, one_line=True)
    assert not list((folder / "inbox").iterdir())


def test_what_is_open_holds_no_secret_of_the_run(page):
    for path in ("/enter", "/enter.js"):
        body = page.ask(path)[1].decode()
        for secret in (page.server.token, *page.sharing.codes.values()):
            assert secret not in body
        assert not re.search(r"https?:|innerHTML|eval\(", body)


def test_a_viewer_sees_all_but_acts_in_nothing(page, folder):
    cookie = page.cookie("viewer")
    for path in ("/", "/since", assets.address("live/poll_loop.js"), "/_dash-layout"):
        assert page.ask(path, cookie=cookie)[0] == 200
    assert json.loads(page.ask("/who", cookie=cookie)[1]) == {"role": "viewer", "shared": True}
    for path in WALK["POST"][:-1]:
        assert_refused(page.ask(path, "POST", {}, cookie), 403, one_line=True)
    for path in ("/share", "/share.svg"):
        assert_refused(page.ask(path, cookie=cookie), 403, one_line=True)
    assert not list((folder / "inbox").iterdir())


def test_an_operators_role_goes_into_the_request(page, folder):
    cookie = page.cookie("operator")
    status, body, _ = page.ask("/act/mark", "POST", {"text": "at the fender"}, cookie)
    asked = folder / "inbox" / (json.loads(body)["id"] + ".json")
    assert status == 202 and json.loads(asked.read_text("utf-8"))["role"] == "operator"
    asked.unlink()
    assert_refused(
        page.ask("/act/mark", "POST", {}, cookie, **{"X-Haul-Token": "x"}), 403, one_line=True
    )


def test_the_recorder_refuses_a_viewer_too(page, folder):
    """Behind the gate: were it passed, the request still says who asked, and is not obeyed."""
    match = re.fullmatch("/act/(.*)", "/act/mark")
    answer = LivePages(page.hub).act(
        WebRequest("POST", "/act/mark", {}, b"{}", match, {}, "viewer")
    )
    (found,) = Inbox(folder).poll()
    assert (answer.status, found.role) == (202, "viewer")
    assert found.refusal == "only an operator may do this"


# -- codes and cookies -------------------------------------------------------------------------
def test_codes_are_of_128_bits_and_of_one_run():
    first, second = Sharing("127.0.0.1"), Sharing("127.0.0.1")
    codes = [s.codes[role] for s in (first, second) for role in ("viewer", "operator")]
    assert len(set(codes)) == 4
    for code in codes:
        assert len(base64.urlsafe_b64decode(code + "==")) == 16
    refused_by = pytest.raises(Refused, match="opens nothing")
    with refused_by:
        second.enter(first.codes["viewer"], {"REMOTE_ADDR": "192.168.1.7"})


def test_the_cookie_cannot_be_read_by_script_nor_sent_from_elsewhere(page):
    headers = page.enter(page.sharing.codes["viewer"])[2]
    name, *rest = headers["Set-Cookie"].split("; ")
    assert re.fullmatch(rf"haul-{page.server.port}=[A-Za-z0-9_-]{{32}}", name)
    assert set(rest) == {"HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=43200"}
    assert headers["Cache-Control"] == "no-store"
    assert page.sharing.codes["viewer"] not in str(headers)


def test_a_cookie_ends_after_twelve_hours_and_with_the_run(page):
    cookie = page.cookie("viewer")
    page.now += 12 * 3600 - 1
    assert page.ask("/since", cookie=cookie)[0] == 200
    page.now += 2
    assert_refused(page.ask("/since", cookie=cookie), 403, one_line=True)
    later = Sharing("127.0.0.1")
    later.port = page.server.port
    assert later.role({"HTTP_COOKIE": page.cookie("viewer")}) is None


def test_who_comes_in_again_keeps_one_place_and_places_are_bounded(monkeypatch):
    monkeypatch.setattr(sharing, "MOST_PER_ROLE", 3)
    run = Sharing("127.0.0.1")
    cookies = []
    for _ in range(5):
        given = run.enter(run.codes["viewer"], {})[1].split(";")[0]
        cookies.append({"HTTP_COOKIE": given})
    operator = {"HTTP_COOKIE": run.enter(run.codes["operator"], {})[1].split(";")[0]}
    assert [run.role(c) for c in cookies] == [None, None, "viewer", "viewer", "viewer"]
    assert run.role(operator) == "operator"  # viewers push no operator out
    again = {"HTTP_COOKIE": run.enter(run.codes["viewer"], cookies[-1])[1].split(";")[0]}
    assert [run.role(c) for c in (*cookies[2:4], cookies[4], again)] == [
        "viewer", "viewer", None, "viewer",
    ]  # fmt: skip


def test_who_enters_again_and_again_pushes_out_only_the_idle_and_is_slowed():
    """505 entries at once, and 700 over two hours: those who look on stay."""
    now = [0.0]
    run = Sharing("192.168.1.20", lambda: now[0])
    entered = 0

    def enter(address):
        environ = {"REMOTE_ADDR": address}
        return {"HTTP_COOKIE": run.enter(run.codes["viewer"], environ)[1].split(";")[0]}

    watching, idle = [enter(f"192.168.1.{k}") for k in range(1, 9)], enter("192.168.1.10")
    for _ in range(505):
        try:
            enter("192.168.1.66")
            entered += 1
        except Refused as refused:
            assert refused.status == 429 and "too many entries" in refused.why
    assert entered == 30
    while entered < 700:
        now[0] += 10.1
        enter("192.168.1.66")
        entered += 1
        assert all(run.role(cookie) == "viewer" for cookie in watching)
    assert run.role(idle) is None
    # a viewer's entries slow no operator, not even at the same address
    assert run.enter(run.codes["operator"], {"REMOTE_ADDR": "192.168.1.66"})[0] == "operator"


def test_a_crew_behind_one_address_enters_at_once():
    run = Sharing("192.168.1.20", lambda: 0.0)
    for _ in range(30):
        run.enter(run.codes["viewer"], {"REMOTE_ADDR": "192.168.1.7"})


# -- not shared --------------------------------------------------------------------------------
@pytest.fixture
def local(folder):
    opened = OpenServer(folder)
    yield opened
    opened.close()


def test_on_this_machine_anybody_looks_and_nobody_acts_without_the_operators_cookie(local, folder):
    for path in ("/", "/since", "/rig?w=800", "/review", "/review-data", "/_dash-layout"):
        assert local.ask(path)[0] == 200
    assert json.loads(local.ask("/who")[1]) == {"role": "viewer", "shared": False}
    name = f"haul-{local.server.port}"
    code = local.server.sharing.codes["operator"]
    for cookie in (
        None,
        f"{name}=",
        f"{name}=wrong",
        f"{name}={code}",
        f"{name}={local.server.token}",
    ):
        for path in WALK["POST"][:-1]:
            answer = local.act(path.removeprefix("/act/"), Cookie=cookie)
            assert_refused(answer, 403, one_line=True)
    assert not list((folder / "inbox").iterdir())
    for path in ("/enter", "/enter.js", "/share", "/share.svg"):
        assert_refused(local.ask(path), 404, 405)


def test_the_link_answers_without_a_cookie_and_its_code_gives_the_operators(local, folder):
    link = local.server.sharing.url("operator")
    host, code = re.fullmatch(r"http://(127\.0\.0\.1:[0-9]+)/#([A-Za-z0-9_-]{22})", link).groups()
    assert host == f"127.0.0.1:{local.server.port}"
    status, shell, headers = local.ask("/")  # the fragment is not sent
    assert status == 200 and "Set-Cookie" not in headers and code.encode() not in shell
    sent = {"Content-Type": "application/json"}
    status, body, headers = local.ask("/enter", "POST", sent, json.dumps({"code": code}).encode())
    assert (status, json.loads(body)) == (200, {"role": "operator"})
    assert set(headers["Set-Cookie"].split("; ")[1:]) == {
        "HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=43200",
    }  # fmt: skip
    cookie = {"Cookie": headers["Set-Cookie"].split(";")[0]}
    assert json.loads(local.ask("/who", headers=cookie)[1]) == {"role": "operator", "shared": False}
    status, body, _ = local.act("mark", {"text": "at the fender"}, **cookie)
    asked = folder / "inbox" / (json.loads(body)["id"] + ".json")
    assert status == 202 and json.loads(asked.read_text("utf-8"))["role"] == "operator"
    asked.unlink()
    assert_refused(local.act("mark", **cookie, **{"X-Haul-Token": "x"}), 403)


def test_another_account_that_guesses_does_not_keep_the_operator_out(local):
    sent = {"Content-Type": "application/json"}
    for _ in range(20):
        assert_refused(local.ask("/enter", "POST", sent, b'{"code": "wrong"}'), 403)
    code = json.dumps({"code": local.server.sharing.codes["operator"]}).encode()
    assert local.ask("/enter", "POST", sent, code)[0] == 200


def test_a_list_that_is_not_shared_takes_the_code_from_its_address(folder):
    script = assets.address("shared/operator_link.js").encode()
    for shared in (None, Sharing("127.0.0.1")):
        opened = OpenServer(folder.parent, sharing=shared)
        try:
            cookie = {} if shared is None else {"Cookie": opened.act("x") and opened.operator}
            assert opened.ask("/", headers=cookie)[1].count(script) == (shared is None)
        finally:
            opened.close()


RUN = Sharing("127.0.0.1", iter(range(0, 10**9, 100)).__next__)  # time passes between guesses


@given(st.text(max_size=80))
def test_no_other_text_is_a_code(text):
    with pytest.raises(Refused) as said:
        RUN.enter(text, {"REMOTE_ADDR": "192.168.1.7"})
    assert said.value.status == 403


@given(st.text(max_size=200))
def test_no_cookie_header_breaks_the_gate(text):
    assert Sharing("127.0.0.1").role({"HTTP_COOKIE": text}) is None


# -- guessing ----------------------------------------------------------------------------------
def test_guessing_is_slowed_for_one_address_and_for_nobody_else(page):
    for _ in range(5):
        assert_refused(page.enter("wrong"), 403, one_line=True)
    right = page.sharing.codes["viewer"]
    assert_refused(page.enter("wrong"), 429, one_line=True)
    assert_refused(
        page.enter(right), 429
    )  # also with the right one, or guessing would go on unslowed
    assert page.enter(right, source="127.0.0.2")[0] == 200
    page.now += 11
    assert page.enter(right)[0] == 200


def test_guesses_of_one_address_come_to_six_a_minute():
    guesses, tried = Attempts(*sharing.WRONG), 0
    for tenth in range(36_000):  # an hour, ten tries a second
        if guesses.wait_s("192.168.1.7", tenth / 10) == 0:
            guesses.count("192.168.1.7", tenth / 10)
            tried += 1
    assert tried <= 5 + 360


def test_many_addresses_together_are_slowed_and_a_newcomer_still_gets_in():
    guesses, tried = Attempts(*sharing.WRONG), 0
    for second in range(600):
        for host in range(250):
            address = f"192.168.1.{host}"
            if guesses.wait_s(address, second) == 0:
                guesses.count(address, second)
                tried += 1
    # each its first try, and then what all get together
    assert tried <= 250 + 60 + 600
    assert guesses.wait_s("192.168.1.251", 600) == 0


def test_one_host_of_ipv6_is_one_address_and_the_memory_is_bounded():
    guesses = Attempts(*sharing.WRONG)
    for k in range(5):
        guesses.count(f"fd00:1:2:3::{k:x}", 0.0)
    assert guesses.wait_s("fd00:1:2:3:ffff::9", 0.0) > 0
    assert guesses.wait_s("fd00:1:2:4::9", 0.0) == 0
    for k in range(5000):
        guesses.count(f"10.0.{k // 250}.{k % 250}", 0.0)
    assert len(guesses._spent) <= 1000


def test_every_code_is_compared_in_full(monkeypatch):
    compared = []
    real = sharing.hmac.compare_digest
    monkeypatch.setattr(
        sharing,
        "hmac",
        SimpleNamespace(compare_digest=lambda a, b: compared.append(b) or real(a, b)),
    )
    run = Sharing("127.0.0.1")
    for code in (run.codes["viewer"], run.codes["operator"]):
        compared.clear()
        run.enter(code, {})
        assert compared == [c.encode() for c in run.codes.values()]


# -- the address -------------------------------------------------------------------------------
@pytest.mark.parametrize("text", ["0.0.0.0", "::", "224.0.0.1", "ff02::1", "8.8.8.8", "fe80::1",
                                  "2600::1", "", "yard.local", "127.0.0.1:80", "192.168.1", "1",
                                  "192.168.1.20/24", "[::1]", "<script>", "192.168.001.020"])  # fmt: skip
def test_what_is_no_one_address_of_a_local_network_is_refused(text):
    with pytest.raises(CallFault) as said:
        address_to_share(text)
    assert "\n" not in str(said.value) and "such as " in said.value.cure


@pytest.mark.parametrize(
    # RFC 1918, RFC 3927, RFC 4193, and loopback of RFC 1122 and RFC 4291
    "text", ["192.168.1.20", "10.0.0.1", "172.16.0.1", "169.254.7.7", "fd12:3456::1", "127.0.0.1",
             "::1"],
)  # fmt: skip
def test_addresses_of_local_networks_are_taken(text):
    assert address_to_share(text) == text


def test_only_the_shared_address_is_listened_to_and_answered_under(page):
    assert page.server._waitress.socket.getsockname()[0] == "127.0.0.1"
    for host in ("localhost", "0.0.0.0", "yard.local", "127.0.0.1"):
        port = "" if host == "127.0.0.1" else f":{page.server.port}"
        assert_refused(page.ask("/enter", Host=host + port), 421, one_line=True)
    cookie = page.cookie("operator")
    for origin in ("http://evil.example", "null", f"http://localhost:{page.server.port}"):
        assert_refused(page.ask("/enter", "POST", {"code": "x"}, Origin=origin), 403, one_line=True)
        assert_refused(page.ask("/act/mark", "POST", {}, cookie, Origin=origin), 403, one_line=True)
    assert_refused(
        page.ask("/enter", "POST", {"code": "x"}, **{"Content-Type": "text/plain"}),
        415,
        one_line=True,
    )
    assert_refused(page.ask("/enter", "POST", {"code": 7}), 400, one_line=True)
    assert_refused(
        page.ask("/enter", "POST", {"code": "x", "role": "operator"}), 400, one_line=True
    )
    assert_refused(page.ask("/enter", "POST", {"code": "x" * 5000}), 413, one_line=True)


def test_an_address_that_is_not_ours_is_one_line(page):
    with pytest.raises(CallFault, match="not an address of this machine"):
        Server(page.hub, 0, Sharing("192.0.2.9"))  # for documentation (RFC 5737), so nobody's


# -- the picture -------------------------------------------------------------------------------
def _decoded(dark):
    """What an independent reader of ISO/IEC 18004 (zxing-cpp) sees in a matrix of modules."""
    zxing = pytest.importorskip("zxingcpp")
    image = np.kron(np.where(dark, 0, 255).astype(np.uint8), np.ones((6, 6), np.uint8))
    return [found.text for found in zxing.read_barcodes(image)]


def test_the_terminals_picture_reads_as_the_link():
    run = Sharing("192.168.178.123")
    run.port = 54321
    upper, lower = {"▀": 1, "█": 1}, {"▄": 1, "█": 1}
    rows = []
    for line in qr.lines(run.url("viewer")):
        rows += [[upper.get(c, 0) for c in line], [lower.get(c, 0) for c in line]]
    assert _decoded(np.array(rows) == 1) == [run.url("viewer")]


def test_the_pages_picture_reads_as_the_link(page):
    status, body, headers = page.ask("/share.svg", cookie=page.cookie("operator"))
    assert (status, headers["Content-Type"]) == (200, "image/svg+xml")
    text = body.decode()
    assert "<script" not in text and "href" not in text
    size = int(re.search(r'width="([0-9]+)"', text)[1]) // 6
    dark = np.zeros((size, size), bool)
    (path,) = re.findall(r'<path[^>]*stroke="#000"[^>]*d="([^"]+)"', text) or re.findall(
        r'd="(M[^"]*h[0-9][^"]*)"', text
    )
    x = y = 0.0
    for letter, numbers in re.findall(r"([Mmh])([^Mmhz]*)", path):
        values = [float(n) for n in re.findall(r"-?[0-9]*\.?[0-9]+", numbers)]
        if letter == "M":
            x, y = values
        elif letter == "m":
            x, y = x + values[0], y + values[1]
        else:
            dark[int(y), int(x) : int(x + values[0])] = True
            x += values[0]
    assert _decoded(dark) == [page.sharing.url("viewer")]


# -- hostile names -----------------------------------------------------------------------------
def test_no_name_note_or_title_becomes_script_or_markup(tmp_path):
    from analysis.simulation.demo_haul import demo_text

    rig = re.sub(r"(?m)^title = .*$", "title = '" + HOSTILE + "'", demo_text("rig.toml"), count=1)
    session = four_seconds(tmp_path / HOSTILE.replace("/", "-"), rig=rig)
    session.event(3.5, "mark", text=HOSTILE)
    session.clock(4.0)
    opened = Shared(tmp_path)
    try:
        cookie = opened.cookie("operator")
        status, listed, _ = opened.ask("/", cookie=cookie)
        assert status == 200 and b"<script" not in listed and b"<img" not in listed
        (link,) = re.findall(r'href="(/s/[^"]+/)"', listed.decode())
        shell = opened.ask(link, cookie=cookie)[1]
        assert b"alert(" not in shell and b"onerror" not in shell
        name = link[3:-1]

        def noted():
            told = json.loads(opened.ask(f"/since?s={name}", cookie=cookie)[1])["parts"]
            return any(HOSTILE in str(row) for key, row in told.items() if key.startswith("event:"))

        until(noted, 10, "the note is told")
        status, body, headers = opened.ask(f"/since?s={name}", cookie=cookie)
        told = json.loads(body)["parts"]
        assert told["head"]["title"] == HOSTILE  # as it is: the page sets it as text alone
        assert headers["Content-Type"] == "application/json"
        assert headers["X-Content-Type-Options"] == "nosniff"
        policy = headers["Content-Security-Policy"].split("script-src")[1].split(";")[0]
        assert "unsafe" not in policy
        answer = opened.ask(
            f"/act/{HOSTILE.replace('/', '')}".replace(" ", "%20"), "POST", {}, cookie
        )
        assert_refused(answer, 400, 404, one_line=True)
        assert b"<" not in answer[1]
    finally:
        opened.close()


# -- slow and greedy ---------------------------------------------------------------------------
def _raw(page, source="127.0.0.1"):
    return socket.create_connection(("127.0.0.1", page.server.port), 600, (source, 0))


def _head(page, path="/enter"):
    return f"GET {path} HTTP/1.1\r\nHost: {page.sharing.host}\r\n".encode()


def _closed(link):
    """Whether the other side has ended it; what it still said is read away."""
    try:
        while link.recv(65536):
            pass
    except TimeoutError:
        return False
    except OSError:
        pass
    return True


def test_slow_senders_hold_nobody_up_and_are_ended(page, monkeypatch):
    monkeypatch.setattr(connections, "REQUEST_WITHIN_S", 1.0)
    cookie = page.cookie("viewer")
    with ExitStack() as stack:
        slow = [stack.enter_context(_raw(page)) for _ in range(40)]
        for k, link in enumerate(slow):
            link.sendall(_head(page)[: 5 + k] if k % 2 else
                         _head(page) + b"Content-Length: 4000\r\n\r\n{")  # fmt: skip
        began = time.monotonic()
        while time.monotonic() - began < 1.2:
            asked = time.monotonic()
            assert page.ask("/since", cookie=cookie)[0] == 200
            assert time.monotonic() - asked < 1.0 * patience(asked)
            for link in slow:  # a byte now and then: each is alive, and yet too slow
                try:
                    link.sendall(b"x")
                except OSError:
                    continue
        for link in slow:
            link.settimeout(600)
            assert _closed(link)


def test_who_reads_no_answer_keeps_no_worker(page, monkeypatch):
    """Hundreds of requests at once and nothing read: a worker would wait for room for each."""
    cookie = page.cookie("viewer")
    largest = "/_dash-component-suites/plotly/package_data/plotly.min.js"
    size = len(page.ask(largest, cookie=cookie)[1])
    monkeypatch.setattr(connections, "ANSWER_WITHIN_S", 1.0)
    assert 30 * size > 16 * 2**20  # above which waitress lets a worker wait
    large = _head(page, largest) + f"Cookie: {cookie}\r\n\r\n".encode()
    with ExitStack() as stack:
        links = [stack.enter_context(_raw(page)) for _ in range(12)]
        for k, link in enumerate(links):
            with suppress(ConnectionError):  # the greedy are ended while they still send
                link.sendall(large * (1 if k % 2 else 30))
        for _ in range(5):
            asked = time.monotonic()
            assert page.ask("/since", cookie=cookie)[0] == 200
            assert time.monotonic() - asked < 2.0 * patience(asked)
        until(lambda: len(page.server._waitress.active_channels) < 4, 8, "they are ended")


def test_one_address_cannot_take_every_place(page, monkeypatch):
    monkeypatch.setattr(connections, "MOST_OF_ONE_ADDRESS", 10)
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 16)
    cookie = page.cookie("viewer")
    with ExitStack() as stack:
        for _ in range(40):
            stack.enter_context(_raw(page))
        for k in range(3, 9):  # five more addresses, so that all places are asked for
            for _ in range(6):
                stack.enter_context(_raw(page, f"127.0.0.{k}"))
        assert len(page.server._waitress.active_channels) <= 16
        # those that never ask anything give way to who does
        assert page.ask("/since", cookie=cookie, source="127.0.0.2")[0] == 200
        assert page.ask("/since", cookie=cookie)[0] == 200


@pytest.mark.parametrize("lines", [b"X: " + b"a" * 20_000 + b"\r\n\r\n", b"X-a: b\r\n" * 3000,
                                   b"Content-Length: 100000000\r\n\r\n", b"Content-Length: -1\r\n\r\n",
                                   b"Content-Length: 1\r\nContent-Length: 2\r\n\r\n",
                                   b"Transfer-Encoding: gzip\r\n\r\n", b"\x00: \xff\r\n\r\n"])  # fmt: skip
def test_oversized_and_broken_requests_are_short_answers(page, lines):
    with _raw(page) as link:
        link.sendall(_head(page, "/since") + lines)
        answer = b""
        try:
            while len(answer) < 5000 and (piece := link.recv(65536)):
                answer += piece
                if b"\r\n\r\n" in answer:
                    break
        except ConnectionResetError:
            pass
    assert re.match(rb"HTTP/1\.[01] (4\d\d|501) ", answer), answer[:100]
    assert len(answer) < 2500 and b"Traceback" not in answer


# -- the command -------------------------------------------------------------------------------
def test_the_command_prints_a_link_for_viewers_and_one_for_the_operator(folder):
    process = start_haul("watch", folder, "--share", "127.0.0.1")
    try:
        lines = [process.stdout.readline().rstrip("\n")]
        while not lines[-1].startswith("  Phones need"):
            lines.append(process.stdout.readline().rstrip("\n"))
            assert len(lines) < 60
        links = [line for line in lines if line.startswith("http")]
        assert len(links) == 2 and links[0] == lines[0]
        assert len(set(links)) == 2
        text = "\n".join(lines)
        assert "plain HTTP" in text and "stay on" in text and "█" in text
        for link, role in zip(links, ("viewer", "operator"), strict=True):
            host, code = re.fullmatch(
                r"http://(127\.0\.0\.1:[0-9]+)/enter#([A-Za-z0-9_-]{22})", link
            ).groups()
            plain = http.client.HTTPConnection(host, timeout=600)
            plain.request(
                "POST", "/enter", json.dumps({"code": code}), {"Content-Type": "application/json"}
            )
            assert json.loads(plain.getresponse().read()) == {"role": role}
            plain.close()
    finally:
        process.terminate()
        assert ended(process)[1] == ""
    assert process.returncode == 0


@pytest.mark.parametrize("address", ["0.0.0.0", "yard.local", "192.0.2.9"])
def test_a_wrong_address_is_one_line(folder, address):
    process = start_haul("watch", folder, "--share", address)
    out, err = ended(process)
    assert (process.returncode, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("haul: --share: ")


def test_a_recording_shared_takes_an_operators_mark_and_refuses_a_viewers(tmp_path):
    """Three real processes: device, recorder, page; and a viewer's request put past the gate."""
    from analysis.simulation.demo_haul import demo_text
    from logger.recorder.request_inbox import ask
    from logger.session.reader import read_all

    with socket.create_server(("127.0.0.1", 0)) as device:
        (tmp_path / "rig.toml").write_text(demo_text("rig.toml"), "utf-8")
        (tmp_path / "sensors.toml").write_text(
            force(f'port = "socket://127.0.0.1:{device.getsockname()[1]}"'), "utf-8"
        )
        files = (tmp_path / "rig.toml", tmp_path / "sensors.toml", "--out", tmp_path / "s")
        process = start_haul("record", *files, "--watch", "--share", "127.0.0.1", "--for", 3600)
        links = []
        while len(links) < 2:
            line = process.stdout.readline()
            assert line, process.stderr.read()
            links += re.findall(r"^http://(\S+)/enter#(\S+)$", line)
        host, code = links[1]
        link = http.client.HTTPConnection(host, timeout=600)
        sent = {"Content-Type": "application/json"}
        link.request("POST", "/enter", json.dumps({"code": code}), sent)
        answer = link.getresponse()
        answer.read()
        sent["Cookie"] = answer.headers["Set-Cookie"].split(";")[0]
        link.request("GET", "/", headers=sent)
        shell = link.getresponse().read().decode()
        sent["X-Haul-Token"] = re.search(r'name="haul-token" content="([^"]+)"', shell)[1]
        ids = {}
        for verb, text in (("mark", HOSTILE), ("end", "")):
            if verb == "end":
                ids["viewer"] = ask(tmp_path / "s", "mark", text="seen", role="viewer")
                until(
                    lambda: ids["viewer"] in [e.id for e in read_all(tmp_path / "s").events],
                    5,
                    "an answer",
                )
            link.request("POST", f"/act/{verb}", json.dumps({"text": text}), sent)
            ids[verb] = json.loads(link.getresponse().read())["id"]
        link.close()
        out, err = ended(process)
    assert process.returncode == 0, err
    rows = {event.id: event for event in read_all(tmp_path / "s").events}
    assert (rows[ids["mark"]].kind, rows[ids["mark"]].text) == ("mark", HOSTILE)
    assert (rows[ids["viewer"]].kind, rows[ids["end"]].kind) == ("refused", "end")
    assert "only an operator" in rows[ids["viewer"]].text
    assert "(end)" in out


def test_sharing_a_recording_without_its_page_is_a_wrong_call(tmp_path):
    process = start_haul("record", "a", "b", "--out", tmp_path / "s", "--share", "127.0.0.1")
    out, err = ended(process)
    assert (process.returncode, out, err.count("\n")) == (2, "", 1)
    assert "--watch" in err
