"""What is added to a haul afterwards stands beside its record; a haul's rig is taken for the next one."""

from __future__ import annotations

import json
import shutil

import pytest
from support.desk_server import OpenDesk, callback_body
from support.http_server import assert_refused
from support.places import LAUNCH
from support.sealed_sessions import made

from dashboard.desk.chosen import chosen
from dashboard.export.notes_file import MOST_LINE, MOST_NOTE, Notes, cleaned
from dashboard.sessions_page.next_haul import take_rig
from dashboard.sessions_page.notes import notes_path, read_notes, write_notes

RESULT, SESSIONS = "/result/one/", "/sessions/"


@pytest.fixture
def desk(tmp_path):
    made(tmp_path / "one", strokes=2)
    serving = OpenDesk(tmp_path)
    yield serving
    serving.close()


@pytest.mark.parametrize(
    "given",
    [('boat"yard\\', "Ada, Bo\x00\x1b[1m", "first\nsecond \U0001f6a2 é\t\x7f end"), ("", "", "")],
)
def test_notes_come_back_as_they_were_written(desk, given):
    notes = cleaned(*given)
    write_notes(desk.server.desk, "one", notes)
    assert read_notes(desk.server.desk, "one") == notes
    assert "\x00" not in notes.crew and "\x7f" not in notes.note and "\x1b" not in notes.crew


def test_notes_are_bounded_and_what_is_no_text_is_nothing():
    notes = cleaned("x" * 9999, ["a"], "line\n" * 9999)
    assert len(notes.site) == MOST_LINE and notes.crew == "" and len(notes.note) <= MOST_NOTE


@pytest.mark.parametrize("text", ["", "[", "site = 3", "\x00", "note = [1]", "[site]\na = 1"])
def test_a_file_of_notes_that_is_not_ours_is_no_fault(desk, text):
    path = notes_path(desk.server.desk, "one")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    assert read_notes(desk.server.desk, "one") == Notes()
    looking = desk.callback(RESULT, changes=False)
    assert desk.call(RESULT, callback_body(looking, {}))[0] == 200


def test_the_rig_of_a_haul_is_taken_once(tmp_path):
    shutil.copytree(LAUNCH, tmp_path / "one haul")
    serving = OpenDesk(tmp_path)
    try:
        name = take_rig(serving.server.desk, "one haul")
        assert (tmp_path / f"{name}.toml").read_bytes() == (LAUNCH / "rig.toml").read_bytes()
        assert take_rig(serving.server.desk, "one haul") == name
        assert len(list(tmp_path.glob("*.toml"))) == 1
        assert chosen(serving.server.desk).rig.name == name
    finally:
        serving.close()


def test_a_viewer_sees_a_result_and_writes_nothing(desk, tmp_path):
    looking = desk.callback(RESULT, changes=False)
    changing = desk.callback(RESULT, changes=True)
    status, data, _ = desk.call(RESULT, callback_body(looking, {}), "viewer")
    shown = json.loads(data)["response"]
    assert status == 200 and "The rig gave" in json.dumps(shown["body"])
    assert shown["write"]["hidden"] is True and '"again"' not in json.dumps(shown["body"])
    for act in (["keep"], ["again"]):
        trigger = ({"type": "do", "act": json.dumps(act)}, "n_clicks", 1)
        body = callback_body(changing, {"site.value": "x"}, trigger)
        assert_refused(desk.call(RESULT, body, "viewer"), 403)
    assert not (tmp_path / ".desk" / "notes").exists() and not list(tmp_path.glob("*.toml"))


@pytest.mark.parametrize("act", ['["keep", "x"]', '["../x"]', "[]", "null", "[[]]", "[" * 400])
def test_what_is_no_act_of_the_result_changes_nothing(desk, tmp_path, act):
    changing = desk.callback(RESULT, changes=True)
    trigger = ({"type": "do", "act": act}, "n_clicks", 1)
    status, data, _ = desk.call(RESULT, callback_body(changing, {"site.value": "x"}, trigger))
    assert status == 200 and "no act" in json.loads(data)["response"]["said"]["children"]
    assert not (tmp_path / ".desk" / "notes").exists()


@pytest.mark.parametrize(
    "path",
    ["/result/none/", "/result/../", "/result/.desk/", "/result/none/report", "/result/one/x"],
)
def test_no_other_session_has_a_result(desk, path):
    assert_refused(desk.get(path), 400, 404, 409)


def test_the_list_takes_hostile_states_of_a_page_for_none(desk):
    looking = desk.callback(SESSIONS, changes=False)
    for picked, which, words in (
        (["../x", 3, None], "nothing", ["x"]), ({"a": 1}, {"b": 2}, {"c": 3}), ("one", None, "x" * 5000),
        ([["one"], "one"], ["all"], None),
    ):  # fmt: skip
        values = {"picked.data": picked, "which.data": which, "words.value": words}
        status, data, _ = desk.call(SESSIONS, callback_body(looking, values), "viewer")
        assert status == 200 and "Traceback" not in data.decode()


def test_the_report_of_a_session_opens(desk):
    status, body, head = desk.get("/result/one/report", "viewer")
    assert status == 200 and b"<html" in body and head["Content-Type"].startswith("text/html")
    assert desk.get("/result/", "viewer")[0] == 200


def test_the_report_has_what_was_written_after_the_haul_and_says_so(desk, tmp_path, haul):
    """The same notes in the desk's report and in that of `haul review`; the record stays as it was."""
    before = {
        path.name: path.read_bytes() for path in (tmp_path / "one").iterdir() if path.is_file()
    }
    empty = desk.get("/result/one/report")[1].decode()
    assert "written after the haul" not in empty
    write_notes(
        desk.server.desk,
        "one",
        cleaned("boatyard, lower slip", "Ada, Bo", "The cradle stuck once."),
    )
    assert haul("review", tmp_path / "one", "--html", tmp_path / "one.html").status == 0
    for page in (
        desk.get("/result/one/report")[1].decode(),
        (tmp_path / "one.html").read_text("utf-8"),
    ):
        for text in (
            "<b>boatyard, lower slip</b>",
            "<b>Ada, Bo</b>",
            "The cradle stuck once.",
            "not part of what is",
        ):
            assert text in page
    assert {
        path.name: path.read_bytes() for path in (tmp_path / "one").iterdir() if path.is_file()
    } == before
    assert haul("verify", tmp_path / "one").status == 0


@pytest.mark.parametrize(
    "hostile",
    ["<script>window.broken=1</script><img src=x onerror=1>", "x" * 100_000, "a\x00\x1b[2J\x7f\u202e\u2028b\r\nc", "\n" * 100_000],
    ids=["markup", "100 kB", "control characters", "lines"],
)  # fmt: skip
def test_hostile_notes_stay_harmless_in_the_report(desk, tmp_path, hostile):
    """Whether they came through the page or stand in the file as they are."""
    path = notes_path(desk.server.desk, "one")
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = len(desk.get("/result/one/report")[1])
    for raw in (False, True):
        if raw:
            path.write_text(
                "".join(f"{key} = {json.dumps(hostile)}\n" for key in ("site", "crew", "note")),
                "utf-8",
            )
        else:
            write_notes(desk.server.desk, "one", cleaned(hostile, hostile, hostile))
        status, body, _ = desk.get("/result/one/report")
        page = body.decode()
        assert status == 200 and len(page) < plain + 4000
        assert "<script>window" not in page and "<img" not in page
        assert not any(c in page for c in "\x00\x1b\x7f\u202e\u2028")
        assert desk.get("/result/one/")[0] == 200
