"""Who may do what on the sensors page; hostile calls; and touches that Dash merges into one call."""

from __future__ import annotations

import json

import pytest
from support.http_server import assert_refused
from support.sensors_desk import SENSORS_PAGE
from support.tiers import every

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
        hand.call(hand.body([], touches={"page": "p", "touched": []}), role="viewer"), 403
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


@pytest.mark.parametrize("verb", every(3, VERBS))
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
    "act", ["", "[]", "{}", "[1]", '["rm"]', '["new", 1, 2, 3, 4, 5]', "[" * 900, "x" * 1500, "null", '["__class__"]']
)  # fmt: skip
def test_an_act_of_no_page_is_answered_with_a_sentence(hand, act):
    before = state_of(hand)
    body = hand.body([({"type": "do", "act": act}, "n_clicks", 1)])
    status, data, _ = hand.call(body)
    assert status == 200 and b"is none of this page" in data
    long = '{"act":"' + "x" * 20_000 + '"}.n_clicks'
    for touches in (
        {"page": "p", "touched": [[1, long, 1]]},
        act,
        [act],
        {"page": act, "touched": [[1, act, 1]]},
        {"page": 5, "touched": act},
        {"touched": [[True, act, 1]]},
    ):
        assert hand.call(hand.body([], touches=touches))[0] == 200
    assert state_of(hand).draft == before.draft


def test_touches_that_come_in_one_call_are_all_done(hand):
    """A button, Enter in a field and a touch of the drawing, in one call; and each once, in whatever call it comes."""
    typed = "udp://127.0.0.1:7011"
    body = hand.body(
        [({"type": "do", "act": '["rig","launch"]'}, "n_clicks", 1),
         ({"type": "field", "name": "address", "act": '["address"]'}, "n_submit", 1),
         ({"type": "do", "act": '["close"]'}, "n_clicks", 1)],
        {"address": typed},
    )  # fmt: skip
    assert hand.call(body)[0] == 200
    assert state_of(hand).typed == (typed,)
    store = hand.desk.server.sensors.store
    close, again = [json.dumps({"act": json.dumps([verb])}) + ".n_clicks" for verb in ("close", "pull again")]  # fmt: skip
    versions = [store.state.version]
    for touched in (
        [[3, close, 1]],
        [[3, close, 1], [4, again, 1]],
        [[3, close, 1], [4, again, 1]],
    ):
        hand.call(hand.body([], touches={"page": "p", "touched": touched}))
        versions.append(store.state.version)
    assert versions[2] - versions[1] == 1 and versions[3] == versions[2]
    hand.do("forget", typed)


def test_another_sites_call_is_refused(hand):
    body = hand.body([({"type": "do", "act": '["new"]'}, "n_clicks", 1)])
    for name, value in (
        ("Origin", "http://evil.example"),
        ("Sec-Fetch-Site", "cross-site"),
        ("Origin", None),
    ):
        assert_refused(hand.desk.call(SENSORS_PAGE, body, "operator", **{name: value}), 403)
