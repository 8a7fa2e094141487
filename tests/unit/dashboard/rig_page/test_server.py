"""The rig page behind the gate: who may look, who may change, and what else is refused."""

from __future__ import annotations

import json
import threading

import pytest
from support.http_server import Asking, assert_refused
from support.rigs import three_to_one
from support.waiting import joined

from dashboard.plan.planned_rig import PlannedRig
from dashboard.rig_page.places.surroundings import Surroundings
from dashboard.rig_page.server import RigServer

UPDATE = "/_dash-update-component"


class OpenRigPage(Asking):
    """A server over one rig file, and an operator's cookie."""

    def __init__(self, path) -> None:
        self.server = RigServer([PlannedRig(path)])
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        code = json.dumps({"code": self.server.sharing.codes["operator"]}).encode()
        answer = self.ask("/enter", "POST", {"Content-Type": "application/json"}, code)
        self.cookie = answer[2]["Set-Cookie"].split(";")[0]

    def call(self, body, operator: bool = True, **headers):
        """Call a callback as the page does; headers: others in place of its own, None for none."""
        sent = {
            "Content-Type": "application/json",
            "Origin": f"http://127.0.0.1:{self.server.port}",
            "Cookie": self.cookie if operator else None,
            **headers,
        }
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.ask(UPDATE, "POST", {k: v for k, v in sent.items() if v is not None}, raw)

    def outputs(self) -> dict[str, dict]:
        """Every callback by its output key, as the page is told of it."""
        return {row["output"]: row for row in json.loads(self.ask("/_dash-dependencies")[1])}

    def close(self) -> None:
        """End the server."""
        self.server.close()
        joined(self.thread)


@pytest.fixture
def opened(tmp_path):
    path = tmp_path / "launch.toml"
    path.write_text(three_to_one(), "utf-8")
    serving = OpenRigPage(path)
    yield serving
    serving.close()


def keys(opened) -> tuple[str, str]:
    """Output keys of the callback that looks, and of the one that changes."""
    drawing = [key for key in opened.outputs() if "drawing" in key]
    look, change = sorted(drawing, key=lambda key: "@" in key)
    assert "@" in change and "@" not in look
    return look, change


def body(
    opened, output: str, act: str, value=1, version: int | None = None, run: object = ""
) -> dict:
    """The request that the page sends when a button with this act is touched."""
    identity = {"type": "do", "act": act}
    prop = json.dumps(identity, sort_keys=True, separators=(",", ":")) + ".n_clicks"
    now = opened.server.store.state().version if version is None else version
    outs = [
        {"id": part.rpartition(".")[0], "property": part.rpartition(".")[2].partition("@")[0]}
        for part in output.strip(".").split("...")
    ]
    return {
        "output": output,
        "outputs": outs,
        "inputs": [[{"id": identity, "property": "n_clicks", "value": value}], []],
        "state": [
            {"id": "version", "property": "data", "value": now},
            {"id": "width", "property": "data", "value": 900},
            {"id": "touched", "property": "data", "value": None},
            {"id": "closed", "property": "data", "value": None},
            {"id": "run", "property": "data", "value": run},
            {"id": "captures", "property": "data", "value": ""},
        ],
        "changedPropIds": [prop],
    }


def text(opened) -> str:
    return opened.server.store.state().draft.text


PUT = '["put", "pulley", 0, 4, "anchor"]'


def test_an_operators_touch_changes_the_draft_and_answers_with_the_page(opened):
    _, change = keys(opened)
    status, data, _ = opened.call(body(opened, change, PUT))
    assert status == 200
    response = json.loads(data)["response"]
    assert "A2" in response["drawing"]["data-svg"]
    assert "A2" in text(opened)


def filled(opened, field: str, typed: str, version: int, run: object) -> str:
    """What the page says when a field was filled on a page that shows this version."""
    call = body(opened, keys(opened)[1], "", version=version, run=run)
    identity = {"type": "field", "act": field}
    call["inputs"] = [[], [{"id": identity, "property": "value", "value": typed}]]
    call["changedPropIds"] = [
        json.dumps(identity, sort_keys=True, separators=(",", ":")) + ".value"
    ]
    status, data, _ = opened.call(call)
    assert status == 200
    return json.loads(data)["response"]["said"]["children"]


MASS, SLOPE = '["set", "load", "mass_kg"]', '["set", "load", "slope_deg"]'


def test_a_second_field_that_is_filled_before_the_first_is_answered_is_kept(opened):
    """Both calls carry the version that the page showed; so does a third, and an undo."""
    first = opened.server.store.state().version
    assert filled(opened, MASS, "900", first, "page") == ""
    assert filled(opened, SLOPE, "7", first, "page") == ""
    assert "mass_kg = 900" in text(opened) and "slope_deg = 7" in text(opened)
    opened.call(body(opened, keys(opened)[1], '["undo"]', version=first, run="page"))
    assert "slope_deg" not in text(opened) and "mass_kg" in text(opened)


@pytest.mark.parametrize("run", ["another", "", None, 3, ["page"], "p" * 500])
def test_what_another_page_changed_meanwhile_is_never_written_over(opened, run):
    first = opened.server.store.state().version
    filled(opened, MASS, "900", first, "page")
    assert "Somebody else" in filled(opened, SLOPE, "7", first, run)
    assert "slope_deg" not in text(opened)


def test_a_touch_that_goes_by_the_order_of_stations_needs_the_rig_that_is_there_now(opened):
    first = opened.server.store.state().version
    filled(opened, MASS, "900", first, "page")
    status, data, _ = opened.call(body(opened, keys(opened)[1], PUT, version=first, run="page"))
    assert status == 200 and "Somebody else" in json.loads(data)["response"]["said"]["children"]
    opened.call(body(opened, keys(opened)[1], PUT, run="page"))  # as it is there now
    assert "Somebody else" in filled(opened, SLOPE, "7", first, "page")


def test_a_viewer_looks_and_changes_nothing(opened):
    look, change = keys(opened)
    before = text(opened)
    assert_refused(opened.call(body(opened, change, PUT), operator=False), 403)
    assert opened.ask("/edit")[0] == 200
    outs = body(opened, look, "")["outputs"]
    looking = {
        "output": look, "outputs": outs, "changedPropIds": [],
        "inputs": [{"id": "look", "property": "n_intervals", "value": 0},
                   {"id": "width", "property": "data", "value": 400},
                   {"id": "touched", "property": "data", "value": {"element": "G1"}}, [], [],
                   {"id": "captures", "property": "data", "value": ""}],
        "state": [{"id": "version", "property": "data", "value": 0},
                  {"id": "closed", "property": "data", "value": None},
                  {"id": "around", "property": "data", "value": ""}],
    }  # fmt: skip
    status, data, _ = opened.call(looking, operator=False)
    assert status == 200 and "svg" in json.loads(data)["response"]["drawing"]["data-svg"]
    assert text(opened) == before


def looked(opened, touched, closed, causes: tuple[str, ...]) -> dict:
    """What the page is told that shows this version, when these (property names) set the call off."""
    look, _ = keys(opened)
    gap = {"type": "gap", "rope": 0, "station": 2}
    call = {
        "output": look, "outputs": body(opened, look, "")["outputs"], "changedPropIds": list(causes),
        "inputs": [{"id": "look", "property": "n_intervals", "value": 0},
                   {"id": "width", "property": "data", "value": 400},
                   {"id": "touched", "property": "data", "value": touched}, [],
                   [{"id": gap, "property": "n_clicks", "value": None}],
                   {"id": "captures", "property": "data", "value": ""}],
        "state": [{"id": "version", "property": "data", "value": opened.server.store.state().version},
                  {"id": "closed", "property": "data", "value": closed},
                  {"id": "around", "property": "data", "value": Surroundings().mark}],
    }  # fmt: skip
    status, data, _ = opened.call(call)
    assert status in (200, 204)
    return json.loads(data)["response"] if status == 200 else {}


GAP_APPEARED = '{"rope":0,"station":2,"type":"gap"}.n_clicks'


def test_a_touch_that_came_while_an_act_was_answered_is_not_undone_by_its_answer(opened):
    """The act closes the menu of the touch before; the new touch, which the answer overtook, opens its own."""
    _, change = keys(opened)
    first, second = {"element": "G1", "at": 1}, {"element": "A1", "at": 2}
    asked = body(opened, change, PUT)
    asked["state"][2]["value"] = first
    response = json.loads(opened.call(asked)[1])["response"]
    assert response["closed"] == {"data": first} and "touched" not in response
    told = looked(opened, second, first, ("touched.data", GAP_APPEARED))
    assert told["menu"]["hidden"] is False and "ropes" not in told
    # also where only the buttons of the list that appeared are the cause
    assert looked(opened, second, first, (GAP_APPEARED,))["menu"]["hidden"] is False
    assert looked(opened, first, first, (GAP_APPEARED,)) == {}


@pytest.mark.parametrize(
    "choice", ["", "the file as it is on disk", "../secret.toml", "/etc/passwd", 3, None, {}, ["a"]]
)
def test_only_a_file_that_is_offered_stands_beside_the_draft(opened, tmp_path, choice):
    secret = tmp_path.parent / "secret.toml"
    secret.write_text(three_to_one().replace("Launch", "Hidden"), "utf-8")
    asked = {
        "output": "beside.children",
        "outputs": {"id": "beside", "property": "children"},
        "inputs": [{"id": "version", "property": "data", "value": 1},
                   {"id": "other", "property": "data", "value": choice}],
        "changedPropIds": ["other.data"],
    }  # fmt: skip
    status, data, _ = opened.call(asked, operator=False)
    assert status == 200
    assert ("both" in data.decode()) == (choice == "the file as it is on disk")
    assert "Hidden" not in data.decode() and "passwd" not in data.decode()


@pytest.mark.parametrize("name", ["Origin", "Sec-Fetch-Site", "Host", "Content-Type"])
def test_another_sites_request_is_refused(opened, name):
    _, change = keys(opened)
    wrong = {
        "Origin": "http://evil.example",
        "Sec-Fetch-Site": "cross-site",
        "Host": "evil.example",
        "Content-Type": "text/plain",
    }
    before = text(opened)
    raw = json.dumps(body(opened, change, PUT)).encode()
    sent = {"Content-Type": "application/json", "Cookie": opened.cookie,
            "Origin": f"http://127.0.0.1:{opened.server.port}"} | ({name: wrong[name]} if name != "Host" else {})  # fmt: skip
    answer = opened.ask(UPDATE, "POST", sent, raw, host=wrong["Host"] if name == "Host" else None)
    assert_refused(answer, 403, 415, 421)
    assert text(opened) == before


def test_a_request_without_an_origin_is_refused(opened):
    _, change = keys(opened)
    assert_refused(opened.call(body(opened, change, PUT), Origin=None), 403)


@pytest.mark.parametrize(
    "raw",
    [b"", b"{", b"[]", b"null", b'{"output": 3}', b'{"output": "nothing.children"}', b'{"output": ["a"]}',
     b'{"output": {"id": "a"}}', b"[" * 5000],
)  # fmt: skip
def test_what_is_no_callback_is_refused(opened, raw):
    assert_refused(opened.call(raw), 400, 404)


def test_a_viewers_callback_is_no_way_to_the_operators(opened):
    """The key that is checked is the one that Dash dispatches by: a second one in the same body, or
    outputs of the other callback, reach nothing."""
    look, change = keys(opened)
    before = text(opened)
    forged = body(opened, change, PUT)
    double = json.dumps(forged)[:-1] + f', "output": {json.dumps(look)}}}'
    opened.call(double.encode(), operator=False)
    double = f'{{"output": {json.dumps(look)}, ' + json.dumps(forged)[1:]
    assert_refused(opened.call(double.encode(), operator=False), 403)
    assert text(opened) == before


def test_too_long_a_body_and_an_act_from_elsewhere_change_nothing(opened):
    _, change = keys(opened)
    before = text(opened)
    assert_refused(opened.call(b"x" * 300_000), 413)
    for act in ('["open", "/etc/passwd"]', "[]", "rm -rf", '["save as"]'):
        assert opened.call(body(opened, change, act))[0] in (200, 400)
    assert text(opened) == before


def test_two_people_who_edit_at_once_lose_nothing(opened):
    _, change = keys(opened)
    old = opened.server.store.state().version
    assert opened.call(body(opened, change, PUT))[0] == 200
    second = json.loads(opened.call(body(opened, change, '["take", 0, 4]', version=old))[1])
    assert "Somebody else changed the rig" in second["response"]["said"]["children"]
    assert "A2" in text(opened)


def test_the_printed_link_is_the_operators(opened):
    assert opened.server.link.startswith(opened.server.url.rstrip("/") + "/#")
