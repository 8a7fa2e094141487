"""A planned conversion through the server of the live page: planned, touched, taken back; who may do what."""

import json

import pytest
from support.growing_session import Growing
from support.http_server import OpenServer, assert_refused
from support.places import SHELF
from support.waiting import until

from analysis.conversion.convert import convert
from analysis.rig_file.load import parse_rig
from dashboard.live.conversion_choices import wanted_rig, wanted_rigs
from logger.errors import CallFault

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
TWELVE = TEXTS["3-on-4"]
SENSORS = '[[channel]]\nname = "haul_force"\nquantity = "force"\nat = "haul"\nformat = "json"\nid = "f"\nunit = "N"\n'


@pytest.fixture
def session(tmp_path):
    made = Growing(tmp_path / "one", rig=TWELVE, sensors=SENSORS)
    made.clock(0.5)
    return made


@pytest.fixture
def page(session):
    opened = OpenServer(session.path)
    yield opened
    opened.close()


def planned(page, query=""):
    status, body, _ = page.ask(f"/conversion?w=400{query}")
    assert status == 200, body
    return json.loads(body)


def ready(page, rig="3-on-3-on-2"):
    assert page.act("convert", {"rig": rig})[0] == 202
    until(lambda: planned(page)["state"] != "working", 20, "a plan")
    return planned(page)


def sent(page):
    """The requests in the inbox, and taken out of it as a recorder does."""
    found = []
    for path in sorted(
        (page.hub.folder / "inbox").glob("*.json"), key=lambda p: (p.stat().st_mtime_ns, p.name)
    ):
        found.append((path.stem, json.loads(path.read_text("utf-8"))))
        path.unlink()
    return found


def test_nothing_is_planned_at_first_and_the_shelf_may_be_chosen(page):
    answer = planned(page, "&choices=1")
    assert (answer["state"], answer["moves"], answer["marked"], answer["undo"]) == (
        "none",
        [],
        0,
        "",
    )
    assert {one["name"] for one in answer["choices"]} == set(TEXTS)
    assert planned(page)["choices"] == []


def test_the_moves_are_those_of_haul_convert(page):
    answer = ready(page)
    made = convert(TWELVE, TEXTS["3-on-3-on-2"])
    assert answer["state"] == "ready" and answer["ratio"] == "12.0 : 1 to 18.0 : 1"
    assert [one["text"] for one in answer["moves"]] == [
        " ".join(each.text() for each in one.texts) for one in made.moves
    ]
    assert all(one["svg"].startswith("<svg") and one["held_by"] == "held by C1" for one in answer["moves"])  # fmt: skip


def test_each_touch_is_a_request_and_the_rig_follows_the_last_one(page, session):
    answer = ready(page)
    total = len(answer["moves"])
    for step in range(1, total + 1):
        for wrong in (step + 1, step - 1, total + 1, 0):
            assert page.act("move", {"step": str(wrong)})[0] in (400, 409)
        status, body, _ = page.act("move", {"step": str(step)})
        assert status == 202
        requests = sent(page)
        name, request = requests[0]
        assert json.loads(body)["id"] == name
        assert (request["verb"], request["value"], request["role"]) == ("move", step, "operator")
        assert request["text"].startswith(f"{step} of {total} to 3:1 on 3:1 on 2:1: ")
        assert [one["verb"] for _, one in requests[1:]] == (["rig"] if step == total else [])
        # a double touch is one touch
        assert page.act("move", {"step": str(step)})[0] == 409
        session.writer.event(1.0 + step, "move", "", float(step), request["text"], name)
        session.clock(1.0 + step)
        until(lambda step=step: planned(page)["marked"] == step, 10, "the move on the page")
        assert planned(page)["undo"] == name
    text = next((page.hub.folder / "inbox").glob("*.toml")).read_text("utf-8")
    last = convert(TWELVE, TEXTS["3-on-3-on-2"]).moves[-1].rig
    assert [s.name for s in parse_rig(text, "a").stations] == [s.name for s in parse_rig(last, "b").stations]  # fmt: skip
    session.writer.copy("rig-2.toml", text.encode())
    session.event(9.0, "rig", text="rig-2.toml")
    session.clock(10.0)
    until(lambda: planned(page)["state"] == "done", 10, "the new rig")
    assert planned(page)["marked"] == 0
    assert page.act("move", {"step": "1"})[0] == 409


def test_a_move_that_was_taken_back_is_the_next_again(page, session):
    ready(page)
    page.act("move", {"step": "1"})
    ((name, request),) = sent(page)
    session.writer.event(1.0, "move", "", 1.0, request["text"], name)
    session.clock(1.0)
    until(lambda: planned(page)["marked"] == 1, 10, "the move")
    # another rig may not be planned while moves of this one are marked; this one may be looked at again
    assert_refused(page.act("convert", {"rig": "3-on-3"}), 409)
    page.act("undo", {"text": name})
    ((_, undo),) = sent(page)
    assert (undo["verb"], undo["text"]) == ("undo", name)
    session.event(2.0, "undo", text=name)
    session.clock(2.0)
    until(lambda: planned(page)["marked"] == 0, 10, "the move taken back")
    assert ready(page, "3-on-3")["state"] in ("ready", "refused")


def test_what_cannot_be_made_is_refused_with_its_reason(page):
    answer = ready(page, "complex-5")
    assert answer["state"] == "refused" and "load" in answer["why"] and answer["moves"] == []
    assert page.act("move", {"step": "1"})[0] == 409
    assert ready(page, "3-on-4")["why"] == "nothing to do: it is the rig that stands"


def test_a_channel_that_the_new_rig_has_elsewhere_is_said_before_the_first_move(tmp_path):
    sensors = SENSORS + SENSORS.replace('"haul_force"', '"cell"').replace('"haul"', '"L2"').replace('"f"', '"c"')  # fmt: skip
    made = Growing(tmp_path / "one", rig=TWELVE, sensors=sensors)
    opened = OpenServer(made.path)
    try:
        answer = ready(opened)
        assert answer["state"] == "refused" and "L2" in answer["why"]
    finally:
        opened.close()


def test_moves_that_somebody_else_marked_are_told(page, session):
    session.writer.event(1.0, "move", "", 1.0, "Set C1", "x1")
    session.clock(1.0)
    until(lambda: planned(page)["marked"] == 1, 10, "the move")
    answer = ready(page)
    assert any("marked already" in one for one in answer["warnings"])
    assert page.act("move", {"step": "2"})[0] == 202


def test_only_an_operator_plans_and_touches_and_only_what_is_on_the_list(page):
    bare = {"Content-Type": "application/json", "X-Haul-Token": page.server.token}
    for verb in ("convert", "move"):
        assert_refused(page.ask(f"/act/{verb}", "POST", bare, b"{}"), 403)
        assert_refused(page.act(verb, **{"X-Haul-Token": None}), 403)
    for name in ("", "nothing", "../rig", "rig.toml", "/etc/passwd", "3-on-3.toml"):
        assert page.act("convert", {"rig": name})[0] in (400, 404, 409)
    for step in ("", "0", "-1", "1.5", "x", "99999"):
        assert_refused(page.act("move", {"step": step}), 400)
    assert page.act("convert", {"rig": "3", "s": "elsewhere"})[0] == 404
    for query in ("", "?w=1", "?w=5000", "?w=x"):
        assert_refused(page.ask(f"/conversion{query}"), 400)
    assert not list((page.hub.folder / "inbox").iterdir())


def test_rig_files_beside_the_sessions_may_be_chosen_and_nothing_else(tmp_path):
    (tmp_path / "big.toml").write_text(TEXTS["3-on-3"], "utf-8")
    (tmp_path / "sensors.toml").write_text(SENSORS, "utf-8")
    (tmp_path / "broken.toml").write_text("rope = [", "utf-8")
    (tmp_path / "linked.toml").symlink_to(tmp_path / "big.toml")
    (tmp_path / "folder.toml").mkdir()
    names = [one.name for one in wanted_rigs(tmp_path, [SHELF[0]])]
    assert names[:2] == [SHELF[0].name, "big.toml"] and set(names[2:]) == set(TEXTS)
    assert wanted_rig(tmp_path, [], "big.toml").title == "3:1 on 3:1"
    with pytest.raises(CallFault):
        wanted_rig(tmp_path, [], "linked.toml")
    assert {one.name for one in wanted_rigs(tmp_path / "none", [])} == set(TEXTS)
