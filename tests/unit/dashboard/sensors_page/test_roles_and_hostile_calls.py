"""Who may do what on the sensors page; hostile calls; and touches that Dash merges into one call."""

from __future__ import annotations

import json

import pytest
from support.http_server import assert_refused
from support.sensors_desk import SENSORS_PAGE

HOSTILE = [
    None, 0, -1, 1e308, True, "", " ", "..", "../../etc/passwd", "a" * 1200, "\x00", "é\n", "[" * 300,
    [], ["a"], {}, {"port": 1}, [[[[]]]], {"strand": 10**30}, {"element": "anchor"}, {"strand": True},
]  # fmt: skip
VERBS = (
    "listen", "listen as", "stop", "address", "forget", "comma", "settings", "save", "open", "new", "take file",
    "rig", "number", "what", "unit", "count", "count later", "where", "touched", "close", "ask", "next",
    "pull again", "turn", "weighed", "take unit", "zero", "point", "nothing", "drop point", "use scale",
    "use curve", "no calibration", "levels", "good", "rename", "take out", "undo", "redo",
)  # fmt: skip


def state_of(hand):
    """The page's state on the server."""
    return hand.desk.server.sensors.store.state


def files_of(folder) -> dict:
    """All files of the folder with what is in them, but those of the desk's lock."""
    return {
        p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file() and "desk." not in p.name
    }


def test_a_viewer_sees_all_and_changes_nothing(hand, folder):
    before, files = state_of(hand), files_of(folder)
    shown = hand.live("viewer")
    assert shown["may"] is False and hand.live()["may"] is True
    assert hand.desk.get("/sensors/", role="viewer")[0] == 200
    for verb in VERBS:
        identity = {"type": "do", "act": json.dumps([verb, "a"])}
        body = hand.body([(identity, "n_clicks", 1)], {"address": "socket://127.0.0.1:1"})
        assert_refused(hand.call(body, role="viewer"), 403)
    assert_refused(
        hand.call(hand.body([], did={"page": "p", "acts": [[1, '["new"]']]}), role="viewer"), 403
    )
    assert state_of(hand) == before and files_of(folder) == files
    assert hand.desk.server.sensors.listeners.news() == {}


def test_a_viewers_callback_is_no_way_to_the_operators(hand):
    """The key that is checked is the one that Dash dispatches by; a second key in the body reaches nothing."""
    before = state_of(hand)
    forged = hand.body(
        [({"type": "do", "act": '["address"]'}, "n_clicks", 1)], {"address": "socket://127.0.0.1:1"}
    )
    raw = json.dumps(forged)
    double = f'{raw[:-1]}, "output": {json.dumps(hand.look["output"])}}}'
    hand.desk.call(SENSORS_PAGE, double.encode(), "viewer")
    double = f'{{"output": {json.dumps(hand.look["output"])}, {raw[1:]}'
    assert_refused(hand.desk.call(SENSORS_PAGE, double.encode(), "viewer"), 403)
    assert state_of(hand) == before


@pytest.mark.parametrize("verb", VERBS)
def test_whatever_comes_is_answered_with_a_sentence(hand, folder, verb):
    files = set(files_of(folder))
    for k, value in enumerate(HOSTILE):
        fields = dict.fromkeys(("address", "ask", "baud", "framing", "file", "name", "point", "weighed", "count", "warn_at", "stop_at", "capacity", "good"), HOSTILE[-k])  # fmt: skip
        said = hand.do(verb, value, HOSTILE[k - 1], **fields)
        assert "Traceback" not in said and "\n" not in said and len(said) < 1500
        hand.live_act(verb, value, HOSTILE[k - 1])
    new = set(files_of(folder)) - files
    assert new <= {"sensors-page.json", "chosen.json"}
    assert hand.shown()  # the page stands


@pytest.mark.parametrize(
    "act", ["", "[]", "{}", "[1]", '["rm"]', '["new", 1, 2, 3, 4, 5]', "[" * 900, "x" * 20_000, "null", '["__class__"]']
)  # fmt: skip
def test_an_act_of_no_page_is_answered_with_a_sentence(hand, act):
    before = state_of(hand)
    body = hand.body([({"type": "do", "act": act}, "n_clicks", 1)])
    status, data, _ = hand.call(body)
    assert status == 200 and b"is none of this page" in data
    for did in (
        act,
        [act],
        {"page": act, "acts": [[1, act]]},
        {"page": 5, "acts": act},
        {"acts": [[True, act]]},
    ):
        assert hand.call(hand.body([], did=did))[0] == 200
    assert state_of(hand).draft == before.draft


def test_touches_that_come_in_one_call_are_all_done(hand):
    """An interval, a button, Enter in a field and a touch of the script, merged by Dash."""
    typed = ["udp://127.0.0.1:7011", "udp://127.0.0.1:7012"]
    body = hand.body(
        [({"type": "do", "act": '["rig","launch"]'}, "n_clicks", 1),
         ({"type": "field", "name": "address", "act": '["address"]'}, "n_submit", 1)],
        {"address": typed[0]}, did={"page": "p", "acts": [[1, '["close"]'], [2, '["undo"]']]},
    )  # fmt: skip
    body["changedPropIds"].insert(0, "look.n_intervals")
    assert hand.call(body)[0] == 200
    assert state_of(hand).typed == (typed[0],)
    # the script tells its last touches again with each new one: none is lost with a call, and none is done twice
    store = hand.desk.server.sensors.store
    versions = [store.state.version]
    for acts in (
        [[3, '["close"]']],
        [[3, '["close"]'], [4, '["pull again"]']],
        [[3, '["close"]'], [4, '["pull again"]']],
    ):
        hand.call(hand.body([], did={"page": "p", "acts": acts}))
        versions.append(store.state.version)
    assert versions[2] - versions[1] == 1 and versions[3] == versions[2]
    hand.do("forget", typed[0])


def test_another_sites_call_is_refused(hand):
    body = hand.body([({"type": "do", "act": '["new"]'}, "n_clicks", 1)])
    for name, value in (
        ("Origin", "http://evil.example"),
        ("Sec-Fetch-Site", "cross-site"),
        ("Origin", None),
    ):
        assert_refused(hand.desk.call(SENSORS_PAGE, body, "operator", **{name: value}), 403)
