"""The desk behind the gate: who may look, who may change, what else is refused, and one desk a folder."""

from __future__ import annotations

import json

import pytest
from support.desk_server import OpenDesk, callback_body
from support.http_server import assert_refused
from support.processes import ended, start_haul
from support.rigs import three_to_one
from support.sealed_sessions import made

from dashboard.desk.folder import draft_names
from dashboard.desk_server.server import DeskServer
from dashboard.web import assets
from dashboard.web.sharing import Sharing
from logger.errors import CallFault

HOME, RIGS, RIG, SENSORS, CHECK = (
    "/desk/home/",
    "/desk/rigs/",
    "/rig/launch/",
    "/sensors/",
    "/check/",
)
PAGES = (HOME, RIGS, RIG, SENSORS, CHECK)
# one address for each route that answers a GET, so that a new route fails the walk until it is named here
WALK = [
    "/", "/desk/home/_dash-layout", "/desk/home/_dash-component-suites/dash/dash-renderer/x.js", "/desk/home/_favicon.ico",
    "/rig/", "/desk/rigs/_dash-layout", "/desk/rigs/_dash-component-suites/dash/dash-renderer/x.js", "/desk/rigs/_favicon.ico",
    "/desk/strip", "/rig/launch/", "/rig/launch/_dash-layout", "/rig/_dash-component-suites/dash/dash-renderer/x.js",
    "/rig/_favicon.ico", "/haul/", "/sensors/", "/sensors/_dash-layout", "/sensors/_favicon.ico",
    "/sensors/_dash-component-suites/dash/dash-renderer/x.js", "/check/", "/check/_dash-layout", "/check/_favicon.ico",
    "/check/_dash-component-suites/dash/dash-renderer/x.js", "/convert/", "/conversion?w=400", "/result/", "/sessions/",
    "/result/one/", "/result/one/_dash-layout", "/result/_dash-component-suites/dash/dash-renderer/x.js",
    "/result/_favicon.ico", "/result/one/report", "/sessions/_dash-layout",
    "/sessions/_dash-component-suites/dash/dash-renderer/x.js", "/sessions/_favicon.ico", "/s/one/", "/since", "/rig?w=800", "/rigs",
    "/live/_dash-layout", "/live/_dash-component-suites/dash/dash-renderer/x.js", "/live/_favicon.ico", "/s/one/review",
    "/review-data", "/window?from=0&to=1", "/loop", "/who", "/enter", "/enter.js", "/share", "/share.svg",
    assets.address("desk/home.js"),
]  # fmt: skip
OPEN = {"/enter", "/enter.js"}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "launch.toml").write_text(three_to_one(), "utf-8")
    made(tmp_path / "one")
    return tmp_path


@pytest.fixture
def shared(folder):
    serving = OpenDesk(folder, Sharing("127.0.0.1"))
    yield serving
    serving.close()


def touch(
    desk: OpenDesk, prefix: str, act: list, name: str = "", role: str = "operator", **headers
):
    """The answer to a touch on a button with this act."""
    values = {"name.value": name, "version.data": 1, "width.data": 400, "touched.data": None}
    return desk.touch(prefix, act, values, role, **headers)


def everything(folder) -> dict:
    """All files of the folder with their contents, but those of the lock."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith("desk.")
    }


@pytest.mark.parametrize("which", ["desk", "shared"])
def test_every_route_is_walked(which, request):
    serving = request.getfixturevalue(which)
    for route in serving.server.gate.routes:
        if route.method == "GET":
            assert any(route.pattern.fullmatch(path.partition("?")[0]) for path in WALK), (
                route.pattern
            )


def test_without_a_code_a_shared_desk_shows_nothing(shared):
    for path in WALK:
        status, body, _ = shared.get(path, role="")
        if path in OPEN:
            assert status == 200
        else:
            assert_refused((status, body, _), 403)
            assert b"launch" not in body
    for prefix in PAGES:
        for row in (shared.callback(prefix, True), shared.callback(prefix, False)):
            assert_refused(shared.call(prefix, callback_body(row, {}), role=""), 403)


@pytest.mark.parametrize("which", ["desk", "shared"])
def test_a_viewer_sees_all_and_changes_nothing(which, folder, request):
    serving = request.getfixturevalue(which)
    before = everything(folder)
    for path in (
        "/",
        "/rig/",
        "/rig/launch/",
        "/sensors/",
        "/check/",
        "/haul/",
        "/s/one/",
        "/s/one/review",
        "/desk/strip",
    ):
        assert serving.get(path, role="viewer")[0] == 200, path
    for prefix in (HOME, RIGS):
        status, data, _ = serving.call(
            prefix, callback_body(serving.callback(prefix, False), {}), role="viewer"
        )
        assert status == 200 and "launch" in data.decode().lower()
        for act in (["virtual"], ["rig", "launch"], ["begin", "load"], ["begin", "3-on-3.toml"]):
            assert_refused(touch(serving, prefix, act, "x", role="viewer"), 403)
    assert_refused(touch(serving, RIG, ["put", "pulley", 0, 4, "anchor"], role="viewer"), 403)
    for act in (["start"], ["rig", "launch"], ["takes", "60"], ["over", "disk"], ["reason", "0"]):
        assert_refused(touch(serving, CHECK, act, role="viewer"), 403)
    assert_refused(touch(serving, SENSORS, ["listen", "/dev/ttyUSB0"], role="viewer"), 403)
    for verb in ("mark", "zero", "ack", "end", "undo", "rig", "hand"):
        sent = {"Content-Type": "application/json", "X-Haul-Token": serving.server.desk.token,
                "Cookie": serving.cookies.get("viewer", "")}  # fmt: skip
        assert_refused(serving.ask(f"/act/{verb}", "POST", sent, b'{"s": "one"}'), 403)
    assert everything(folder) == before


@pytest.mark.parametrize("name", ["Origin", "Sec-Fetch-Site", "Host", "Content-Type"])
@pytest.mark.parametrize("prefix", [HOME, RIG])
def test_another_sites_call_is_refused(desk, folder, prefix, name):
    wrong = {
        "Origin": "http://evil.example",
        "Sec-Fetch-Site": "cross-site",
        "Content-Type": "text/plain",
    }
    before = everything(folder)
    act = ["begin", "load"] if prefix == HOME else ["put", "pulley", 0, 4, "anchor"]
    if name == "Host":
        assert_refused(
            desk.ask(f"{prefix}_dash-update-component", "POST", {}, b"{}", host="evil.example"), 421
        )
    else:
        assert_refused(touch(desk, prefix, act, **{name: wrong[name]}), 403, 415)
    assert_refused(touch(desk, prefix, act, Origin=None), 403)
    assert everything(folder) == before


@pytest.mark.parametrize(
    "raw",
    [b"", b"{", b"[]", b"null", b'{"output": 3}', b'{"output": "nothing.children"}', b'{"output": ["a"]}',
     b'{"output": {"id": "a"}}', b"[" * 5000],
)  # fmt: skip
def test_what_is_no_callback_of_the_desk_is_refused(desk, raw):
    for prefix in PAGES:
        assert_refused(desk.call(prefix, raw), 400, 404)


def test_a_viewers_callback_is_no_way_to_an_operators(desk, folder):
    """The key that is checked is the one that Dash dispatches by: a callback of another page, or a second
    key in the same body, reaches nothing."""
    before = everything(folder)
    home, look = desk.callback(HOME, True), desk.callback(HOME, False)
    trigger = ({"type": "do", "act": '["begin", "load"]'}, "n_clicks", 1)
    forged = json.dumps(callback_body(home, {"name.value": "x"}, trigger))
    assert_refused(desk.call("/live/", forged.encode()), 404, 405)
    assert_refused(desk.call(RIG, forged.encode()), 404)
    double = f'{{"output": {json.dumps(look["output"])}, ' + forged[1:]
    assert_refused(desk.call(HOME, double.encode(), role="viewer"), 403)
    desk.call(
        HOME, (forged[:-1] + f', "output": {json.dumps(look["output"])}}}').encode(), role="viewer"
    )
    assert everything(folder) == before


def test_too_long_a_call_is_refused(desk):
    assert_refused(desk.call(HOME, b"x" * 300_000), 413)
    assert_refused(desk.ask("/act/mark", "POST", {"Content-Type": "application/json",
                            "Cookie": desk.cookies["operator"]}, b"x" * 5000), 413)  # fmt: skip


@pytest.mark.parametrize(
    "path", ["/rig/..%2f..%2fetc/", "/rig/%2e%2e/", "/rig/.desk/", "/rig/nothing/", "/rig/one%00/", "/rig/a%5cb/",
             "/s/..%2f/", "/s/nothing/", "/rig/launch", "/desk/", "/.desk/desk.lock", "/launch.toml", "/rig/launch.toml.draft/"]
)  # fmt: skip
def test_no_address_leads_elsewhere(desk, path):
    assert_refused(desk.get(path), 400, 404, 409)
    if path.startswith("/rig/") and path.endswith("/"):
        assert_refused(desk.call(path, {"output": "x"}), 400, 404, 409)


@pytest.mark.parametrize("name", ["../x", "a/b", ".hidden", "x" * 80, "launch"])
def test_a_new_rig_under_a_name_that_is_wrong_or_taken_is_not_made(desk, folder, name):
    before = everything(folder)
    status, data, _ = touch(desk, HOME, ["begin", "load"], name)
    said = json.loads(data)["response"]["said"]["children"]
    assert status == 200 and said
    assert everything(folder) == before


@pytest.mark.parametrize(
    "act",
    [["open", "/etc/passwd"], ["begin", "../../x"], ["rig", "../launch"], ["virtual", "x"], [1]],
)
def test_an_act_that_the_home_page_does_not_have_does_nothing(desk, folder, act):
    before = everything(folder)
    assert json.loads(touch(desk, HOME, act)[1])["response"]["said"]["children"]
    assert everything(folder) == before


def test_a_new_rig_of_the_shelf_is_a_file_and_an_empty_rope_a_draft(desk, folder):
    answer = json.loads(touch(desk, HOME, ["begin", "3-on-3.toml"])[1])["response"]
    assert answer["go"]["href"] == "/rig/3-on-3/"
    assert (folder / "3-on-3.toml").exists()
    answer = json.loads(touch(desk, RIGS, ["begin", "load"], "launch 12 to 1")[1])["response"]
    assert answer["go"]["href"] == "/rig/launch%2012%20to%201/"
    assert draft_names(folder) == ["launch 12 to 1"]
    assert not (folder / "launch 12 to 1.toml").exists()
    status, data, _ = desk.get("/rig/launch%2012%20to%201/")
    assert status == 200 and b'"requests_pathname_prefix":"/rig/launch%2012%20to%201/"' in data


def test_an_edit_under_one_name_changes_that_rig_alone(desk, folder):
    (folder / "other.toml").write_text(three_to_one(), "utf-8")
    desk.get("/rig/other/")
    assert touch(desk, RIG, ["put", "pulley", 0, 4, "anchor"])[0] == 200
    assert draft_names(folder) == ["launch"]
    assert "A2" in (folder / ".desk" / "launch.toml.draft").read_text("utf-8")


def test_the_draft_of_a_desk_that_ended_is_offered_again(folder):
    first = OpenDesk(folder)
    touch(first, RIG, ["put", "pulley", 0, 4, "anchor"])
    first.close()
    again = OpenDesk(folder)
    try:
        assert "draft of an earlier time" in again.look(RIG, width__data=400)["status"]["children"]
    finally:
        again.close()


def test_a_second_desk_on_the_folder_says_so_and_names_the_first(desk, folder):
    with pytest.raises(CallFault, match=f"another desk serves this folder, at {desk.server.url}"):
        DeskServer(folder)
    process = start_haul("desk", folder)
    out, err = ended(process)
    assert (process.returncode, out) == (2, "")
    assert err.count("\n") == 1 and desk.server.url in err
    assert desk.server.sharing.codes["operator"] not in err


def test_a_desk_that_ended_leaves_the_folder_free(folder):
    OpenDesk(folder).close()
    OpenDesk(folder).close()


def test_a_missing_folder_and_a_session_are_faults(folder, tmp_path):
    with pytest.raises(CallFault, match="there is no such folder"):
        DeskServer(tmp_path / "nowhere")
    with pytest.raises(CallFault, match="is a session itself"):
        DeskServer(folder / "one")
    with pytest.raises(CallFault, match="is a file"):
        DeskServer(folder / "launch.toml")
