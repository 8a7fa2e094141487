"""The search for the places of grabs stops soon after nobody wants it, and no newer one waits for it."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest
from support.desk_server import OpenDesk, callback_body
from support.rigs import three_to_one
from support.waiting import until

from analysis.prediction.grab_places import SearchStoppedError, grab_places
from analysis.rig_file.load import parse_rig
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.places import grab_searches
from dashboard.rig_page.places.grab_searches import (
    ABANDONED_S,
    AT_ONCE,
    SEARCHING,
    GrabSearches,
)

SHELF = Path(grab_searches.__file__).parents[3] / "analysis" / "rigs"
JOB = "\n[load]\nresistance_N = 900.0\npull_distance_m = 8.0\n"
LONG = (SHELF / "3-on-3-on-3.toml").read_text("utf-8") + JOB  # three grabs: half a minute of search
SHORT = three_to_one("resistance_N = 900.0\npull_distance_m = 8.0\n")
ASK = {"ask": "grabs"}
PAGE = "/rig/launch/"


class SetClock:
    """A clock that a test sets, s."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


class Sheet:
    """A draft with a text that a test changes."""

    def __init__(self, text: str) -> None:
        self.text = text


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def searches(clock):
    """Searches with a clock of their own; none goes on after the test."""
    made = GrabSearches(clock)
    yield made
    clock.now_s += 2 * ABANDONED_S
    until(lambda: made.running == 0, 60, "the end of the searches")


def named(text: str, name: str) -> str:
    """The text of another rig, which is as long to search."""
    return f"# {name}\n{text}"


def ask(searches: GrabSearches, text: str, draft=None):
    return searches.ask(text, parse_rig(text, "launch.toml"), draft)


def test_a_search_asks_before_each_job_whether_it_is_wanted():
    asked = 0

    def wanted() -> bool:
        nonlocal asked
        asked += 1
        return asked < 20

    with pytest.raises(SearchStoppedError):
        grab_places(parse_rig(SHORT, "launch.toml"), wanted)
    assert asked == 20


def test_a_search_stops_when_its_draft_is_edited_and_the_page_looks_again(searches):
    draft = Sheet(LONG)
    assert ask(searches, LONG, draft).why == SEARCHING
    assert searches.running == 1
    draft.text = SHORT
    until(lambda: searches.running == 0, 60, "the end of the stale search")
    assert searches.finished == 1  # so that a page that still shows the question asks anew
    assert ask(searches, LONG).why == SEARCHING  # no answer was kept


def test_two_rigs_with_one_text_are_wanted_until_both_are_edited(searches):
    one, other = Sheet(LONG), Sheet(LONG)
    ask(searches, LONG, one)
    ask(searches, LONG, other)
    assert searches.running == 1
    one.text = SHORT
    assert ask(searches, SHORT, one).why == SEARCHING
    until(lambda: ask(searches, SHORT).places is not None, 60, "the places of the edited rig")
    assert searches.running == 1
    other.text = SHORT
    until(lambda: searches.running == 0, 60, "the end of the stale search")


def test_a_search_that_no_page_asks_for_any_more_stops(searches, clock):
    ask(searches, LONG)
    for _ in range(5):  # a page that is open asks again and again
        clock.now_s += 0.6 * ABANDONED_S
        searches.still_wanted(LONG)
    assert searches.running == 1 and searches.finished == 0
    clock.now_s += 1.1 * ABANDONED_S
    until(lambda: searches.running == 0, 60, "the end of the abandoned search")
    searches.still_wanted(LONG)  # too late; nothing comes of it
    assert searches.running == 0


def test_a_newer_request_does_not_wait_for_stale_searches(monkeypatch):
    """The stale ones are held fast in their last job while the newer one is answered."""
    held, stuck = threading.Event(), threading.Semaphore(0)

    def search(rig, wanted):
        if rig.file == "long":
            stuck.release()
            held.wait(600)
            raise SearchStoppedError
        return grab_places(rig, wanted)

    monkeypatch.setattr(grab_searches, "grab_places", search)
    searches = GrabSearches()
    drafts = [Sheet(named(LONG, str(k))) for k in range(AT_ONCE)]
    try:
        for draft in drafts:
            searches.ask(draft.text, parse_rig(draft.text, "long"), draft)
            stuck.acquire()
            draft.text = SHORT
        ask(searches, SHORT, drafts[0])
        until(lambda: ask(searches, SHORT).places is not None, 60, "the newer answer")
        assert searches.running == AT_ONCE
    finally:
        held.set()
    until(lambda: searches.running == 0, 60, "the end of the stale searches")


def test_searches_that_are_wanted_wait_for_each_other_and_the_last_is_next(monkeypatch):
    begun: list[str] = []
    go_on = threading.Semaphore(0)

    def search(rig, wanted):
        begun.append(rig.file)
        go_on.acquire()
        raise SearchStoppedError

    monkeypatch.setattr(grab_searches, "grab_places", search)
    searches = GrabSearches()
    for name in "abcd":
        searches.ask(named(SHORT, name), parse_rig(SHORT, name))
    until(lambda: len(begun) == AT_ONCE, 60, "the first searches")
    for k in range(AT_ONCE + 1, 5):
        go_on.release()
        until(lambda k=k: len(begun) == k, 60, "the next search")
    for _ in "ab":
        go_on.release()
    until(lambda: searches.running == 0, 60, "the end of the searches")
    assert sorted(begun[:AT_ONCE]) == ["a", "b"] and begun[AT_ONCE:] == ["d", "c"]


def test_any_edit_of_the_draft_on_disk_and_in_memory_is_seen(tmp_path, searches):
    path = tmp_path / "launch.toml"
    path.write_text(LONG, "utf-8")
    store = DraftStore(path)
    ask(searches, store.text, store)
    path.write_text(SHORT, "utf-8")
    store.take_file()
    until(lambda: searches.running == 0, 60, "the end of the stale search")


def test_on_the_desk_an_edit_stops_the_search_and_the_new_answer_comes(tmp_path):
    (tmp_path / "launch.toml").write_text(LONG, "utf-8")
    desk = OpenDesk(tmp_path)
    try:
        shown = desk.look(PAGE, touched__data=ASK, width__data=390)
        assert SEARCHING in json.dumps(shown["menu"])
        assert searching() == 1
        news(desk, shown)
        version = {"version.data": shown["version"]["data"]}
        assert desk.touch(PAGE, ["begin", "load"], version)[0] == 200
        until(lambda: searching() == 0, 60, "the end of the stale search")
        until(lambda: "no grab" in json.dumps(desk.look(PAGE, touched__data=ASK, width__data=390)["menu"]),
              60, "the answer for the edited rig")  # fmt: skip
    finally:
        desk.close()


def searching() -> int:
    """Number of searches of this process that go on."""
    return sum(one.name == grab_searches.THREAD for one in threading.enumerate())


def news(desk: OpenDesk, shown: dict) -> None:
    """Ask for news as an open page does; there is none while the search goes on."""
    told = json.loads(desk.get(f"{PAGE}_dash-dependencies")[1])
    (row,) = [one for one in told if any(i["id"] == "pulse" for i in one["inputs"])]
    given = {
        "version.data": shown["version"]["data"], "around.data": shown["around"]["data"],
        "touched.data": ASK, "pulse.n_intervals": 3,
    }  # fmt: skip
    body = callback_body(row, given) | {"changedPropIds": ["pulse.n_intervals"]}
    (body["outputs"],) = body["outputs"]  # Dash sends the one output of a callback bare
    assert json.loads(desk.call(PAGE, body)[1])["response"] == {}
