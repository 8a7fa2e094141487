"""The gate: who gets in, what is answered to who does not, and what a page may load."""

import json
import re
import urllib.request
from pathlib import Path

import pytest
from support.growing_session import Growing, four_seconds
from support.http_server import OpenServer, assert_refused
from support.waiting import until

from dashboard.live.session_hub import Hub
from dashboard.watch.server import FaultLog, Server
from dashboard.web import assets
from logger.errors import CallFault


@pytest.fixture
def growing(tmp_path):
    return four_seconds(tmp_path / "all" / "one")


@pytest.fixture
def page(growing):
    opened = OpenServer(growing.path)
    yield opened
    opened.close()


def test_only_this_machine_is_listened_to(page):
    assert page.server._waitress.socket.getsockname()[0] == "127.0.0.1"
    assert page.ask("/")[0] == 200
    assert page.ask("/", host=f"localhost:{page.server.port}")[0] == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "localhost", "127.0.0.1:1", "",
                                  "127.0.0.1.evil.example:80", "[::1]:80"])  # fmt: skip
def test_a_foreign_host_is_refused(page, host):
    assert_refused(page.ask("/", host=host), 400, 421)
    assert_refused(page.ask("/since", host=host), 400, 421)


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": "https://127.0.0.1"},
     {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}],
)  # fmt: skip
def test_a_foreign_origin_is_refused_everywhere(page, headers):
    for path in ("/", "/since", "/_dash-layout", assets.address("live/poll_loop.js")):
        assert_refused(page.ask(path, headers=headers), 403)
    assert_refused(page.act("mark", **headers), 403)
    assert not list((page.hub.folder / "inbox").iterdir())


def test_our_own_origin_is_let_in(page):
    own = {"Origin": f"http://127.0.0.1:{page.server.port}", "Sec-Fetch-Site": "same-origin"}
    assert page.ask("/since", headers=own)[0] == 200


@pytest.mark.parametrize(
    "path",
    ["/assets/../app.py", "/assets/..%2fapp.py", "/assets/%2e%2e/app.py", "/assets/....//app.py",
     "/assets/..%5capp.py", "/assets/live/poll_loop.js/../../app.py", "/assets/", "/assets//etc/passwd",
     "/assets/live/poll_loop.js", "/assets/000000000000/live/poll_loop.js", "/assets/%00", "/assets/live/poll_loop.js%00.css", "/../../etc/passwd", "//etc/passwd", "/%2e%2e/",
     "/_dash-component-suites/dash/../../server.py", "/_dash-component-suites/dash/dash.py",
     "/_dash-component-suites/dash/dcc/Graph.py", "/_dash-component-suites/os/path.py",
     "/_dash-component-suites/dash/%2e%2e/dash.py", "/_dash-component-suites/plotly/nothing.js",
     "/readings.csv", "/datapackage.json", "/s/one/", "/s/../", "/_dash-update-component",
     "/_reload-hash", "/anything", "/since/", "/since%0a", "/assets/%e4.js", "/%ff%fe", "/act/mark/x"],
)  # fmt: skip
def test_traversal_and_unknown_routes_are_refused(page, path):
    assert_refused(page.ask(path), 400, 404)


@pytest.mark.parametrize("query", ["seq=-1", "seq=x", "seq=1e9", "v=" + "9" * 40, "span=5",
                                   "span=%3Cscript%3E", "seq=%00", "s=..%2f.."])  # fmt: skip
def test_a_hostile_question_is_refused(page, query):
    assert_refused(page.ask("/since?" + query), 400, 404)


def test_more_fields_than_a_page_sends_are_refused(page):
    assert page.ask("/since?" + "&".join(f"a{k}=" for k in range(20)))[0] == 200
    assert_refused(page.ask("/since?" + "&".join(f"a{k}=" for k in range(21))), 400)
    assert_refused(page.ask("/since?" + "&" * 40), 400)
    assert page.server.faults.path is None  # it is the client's fault, not ours


def test_a_version_from_elsewhere_gets_everything_again(page):
    status, body, _ = page.ask("/since?seq=999999&v=999999")
    assert status == 200 and "head" in json.loads(body)["parts"]


def test_methods_and_sizes(page):
    assert_refused(page.ask("/", "POST", body=b""), 405)
    assert_refused(page.ask("/since", "PUT", body=b"x"), 405)
    assert_refused(page.ask("/", "OPTIONS"), 405)
    assert_refused(page.ask("/act/mark", "GET"), 405)
    assert_refused(page.ask("/since?x=" + "a" * 3000), 414)
    assert_refused(page.act("mark", {"text": "a" * 5000}), 413)
    assert_refused(page.act("mark", {"text": "a" * 100_000}), 413)
    assert_refused(page.ask("/since", "GET", body=b"b" * 5000), 413)
    status, body, headers = page.ask("/", "HEAD")
    assert status == 200 and body == b"" and int(headers["Content-Length"]) > 1000
    status, body, _ = page.ask("/", headers={"X-Long": "a" * 40_000})
    assert 400 <= status < 500 and len(body) < 300


def test_an_action_needs_the_token_of_this_run_and_json(page):
    for token in (None, "", "wrong", page.server.token + "x", "\xff"):
        assert_refused(page.act("end", **{"X-Haul-Token": token}), 403)
    assert_refused(page.act("end", **{"Content-Type": "text/plain"}), 415)
    assert_refused(page.act("end", **{"Content-Type": "application/x-www-form-urlencoded"}), 415)
    for verb in ("delete", "seal", "repaired", "start"):
        assert_refused(page.act(verb), 404)
    for body in ([], {"text": 1}, {"role": "operator"}, {"verb": "end"}):
        sent = {
            "Content-Type": "application/json", "X-Haul-Token": page.server.token, "Cookie": page.operator,
        }  # fmt: skip
        assert_refused(page.ask("/act/mark", "POST", sent, json.dumps(body).encode()), 400)
    assert_refused(page.ask("/act/mark", "POST", sent, b"{" * 4000), 400)
    assert not list((page.hub.folder / "inbox").iterdir())


def test_a_number_by_hand_goes_to_the_recorder_with_the_moment_or_is_refused(page):
    asked = {"channel": "rope_out", "value": "12.5"}
    for value in ("", "x", "1,5", "nan", "1e400", "9" * 50, "0x10", "1_0", "\u0663"):
        assert_refused(page.act("hand", {**asked, "value": value}), 400)
    assert_refused(page.act("hand", {**asked, "time_s": "1"}), 400)
    assert_refused(page.act("hand", {**asked, "value": 12.5}), 400)
    assert_refused(page.act("hand", {**asked, "s": "elsewhere"}), 404)
    assert not list((page.hub.folder / "inbox").iterdir())
    before = page.hub.get("").time_s()
    status, body, _ = page.act("hand", asked)
    assert status == 202
    (path,) = (page.hub.folder / "inbox").iterdir()
    assert path.stem == json.loads(body)["id"]
    sent = json.loads(path.read_text("utf-8"))
    assert before - 0.001 <= sent.pop("time_s") <= page.hub.get("").time_s() + 0.001
    assert sent == {
        "verb": "hand",
        "channel": "rope_out",
        "text": "",
        "role": "operator",
        "value": 12.5,
    }


def test_a_rig_file_goes_to_the_recorder_whole_and_is_bounded(page, growing):
    text = 'title = "after the break"\n' + "# ü\n" * 5000
    status, body, _ = page.act("rig", {"text": text})
    assert status == 202
    name = json.loads(body)["id"]
    assert (growing.path / "inbox" / f"{name}.toml").read_text("utf-8") == text
    assert (
        json.loads((growing.path / "inbox" / f"{name}.json").read_text())["text"] == f"{name}.toml"
    )
    assert_refused(page.act("rig", {"text": "a" * 61_000}), 413)
    assert_refused(page.act("rig", {"text": "a", "path": "/etc/passwd"}), 400)
    growing.seal()
    assert_refused(page.act("rig", {"text": text}), 409)


def test_the_rig_is_drawn_to_the_width_of_the_page(page):
    from xml.etree import ElementTree

    for width in (340, 900):
        status, body, _ = page.ask(f"/rig?w={width}")
        svg = ElementTree.fromstring(json.loads(body)["svg"])
        assert status == 200 and float(svg.get("width")) <= width + 1
        strands = [n.get("data-strand") for n in svg.iter() if n.get("data-strand")]
        assert "load>G1" in strands
    for query in ("", "?w=9", "?w=99999", "?w=x", "?w=400&s=.."):
        assert_refused(page.ask("/rig" + query), 400, 404)


def test_an_action_lands_in_the_inbox_and_a_sealed_session_takes_none(page, growing):
    status, body, _ = page.act("mark", {"text": "load at the\nfender <b>"})
    assert status == 202
    asked = growing.path / "inbox" / (json.loads(body)["id"] + ".json")
    said = json.loads(asked.read_text("utf-8"))
    assert said["verb"] == "mark" and said["text"] == "load at the fender <b>"
    growing.seal()
    assert_refused(page.act("mark", {"text": "late"}), 409)


def test_every_answer_forbids_what_a_page_of_ours_does_not_need(page):
    for path in ("/", "/since", "/nothing", assets.address("live/poll_loop.js"), "/_dash-layout"):
        headers = page.ask(path)[2]
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
        assert "http" not in policy and "unsafe-eval" not in policy
        assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert "Access-Control-Allow-Origin" not in headers and "Set-Cookie" not in headers
        assert "Server" not in headers
    assert page.ask("/since")[2]["Cache-Control"] == "no-store"
    assert page.ask("/")[2]["Cache-Control"] == "no-store"


@pytest.mark.many
def test_no_address_in_the_page_or_our_assets_leaves_this_host(page):
    shell = page.ask("/")[1].decode()
    sources = re.findall(r'(?:src|href|action)="([^"]*)"', shell)
    assert len(sources) > 5 and all(re.match(r"/[^/]", source) for source in sources)
    assert not re.search(r"https?:|//[a-z]", shell.replace("</", ""))
    for source in sources:
        assert page.ask(source)[0] == 200, source
    for asset in assets.FOLDER.rglob("*.*"):
        text = asset.read_text("utf-8")
        assert not re.search(
            r"https?://|url\(|@import (?!\{)|innerHTML|insertAdjacent|eval\(", text
        ), asset
    # the layout that Dash sends is empty of numbers and of addresses
    layout = page.ask("/_dash-layout")[1].decode()
    assert "http" not in layout


def test_what_breaks_inside_is_one_short_answer_and_a_trace_in_a_log(page, monkeypatch):
    def broken(*args):
        raise RuntimeError("secret of the house")

    monkeypatch.setattr(page.hub.get(""), "since", broken)
    status, body, _ = page.ask("/since")
    assert status == 500 and b"secret" not in body and len(body) < 100
    text = page.server.faults.path.read_text("utf-8")
    assert "secret of the house" in text and "Traceback" in text
    page.server.faults.path.unlink()
    assert page.ask("/")[0] == 200


def test_a_follower_that_breaks_is_told_on_the_page_and_logged(growing):
    opened = OpenServer(growing.path)
    try:
        watch = opened.hub.get("")
        until(lambda: watch.ticked, 5, "a first tick")

        def broken():
            raise RuntimeError("follower broke")

        watch.live.moment = lambda mono_s: broken()
        found = until(
            lambda: json.loads(opened.ask("/since")[1])["parts"].get("fault"),
            5,
            "the fault is told",
        )
        assert "our own fault" in found
        until(lambda: json.loads(opened.ask("/since")[1])["now"]["state"] == "wait", 5, "no number")
        assert "follower broke" in opened.server.faults.path.read_text("utf-8")
        opened.server.faults.path.unlink()
    finally:
        opened.close()


def test_a_folder_is_a_plain_list_and_each_session_has_its_page(growing, tmp_path):
    folder = growing.path.parent
    hostile = Growing(folder / '"><img src=x onerror=alert(1)> & ö')
    hostile.clock(0.25)
    (folder / "no session").mkdir()
    (folder / "elsewhere").symlink_to(tmp_path)
    opened = OpenServer(folder)
    try:
        status, body, _ = opened.ask("/")
        text = body.decode()
        assert status == 200 and "<img" not in text
        assert text.count("<script") == text.count("/shared/operator_link.js") == 1
        assert 'href="/s/one/"' in text and "growing" in text
        assert "no session" not in text and "elsewhere" not in text
        links = re.findall(r'href="(/s/[^"]+/)"', text)
        assert len(links) == 2
        for link in links:
            assert opened.ask(link)[0] == 200
            assert opened.ask("/since?s=" + link[3:-1])[0] == 200
        for name in ("no%20session", "elsewhere", "two", "%2e%2e", "..", "one%2f..%2fone"):
            assert_refused(opened.ask(f"/s/{name}/"), 400, 404)
            assert_refused(opened.ask(f"/since?s={name}"), 404)
        assert_refused(opened.ask("/since"), 404)
        assert opened.act("mark", {"s": "one", "text": "x"})[0] == 202
    finally:
        opened.close()


def test_a_session_of_a_list_that_cannot_be_opened_is_one_line(growing):
    bad = growing.path.parent / "bad"
    bad.mkdir()
    (bad / "datapackage.json").write_text("{", "utf-8")
    opened = OpenServer(growing.path.parent)
    try:
        assert "cannot be read" in opened.ask("/")[1].decode()
        assert_refused(opened.ask("/s/bad/"), 409)
    finally:
        opened.close()


def test_what_is_no_session_and_a_taken_port_are_faults_of_the_call(page, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(CallFault, match="no session"):
        Hub(tmp_path / "empty", FaultLog())
    with pytest.raises(CallFault, match="cannot be used"):
        Server(page.hub, page.server.port)


def test_a_plain_client_reads_the_numbers(page):
    watch = page.hub.get("")
    until(lambda: watch.ticked, 5, "a first tick")
    with urllib.request.urlopen(page.server.url + "since?span=all") as answer:
        told = json.load(answer)
    assert told["force"]["flat"][1:3] == [100, 101]
    assert Path(told["parts"]["head"]["folder"]) == Path("one")
