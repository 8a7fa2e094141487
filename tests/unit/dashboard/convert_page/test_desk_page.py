"""The desk's page of conversions: what may be chosen, the list as `haul convert` has it, and refusals."""

from __future__ import annotations

import threading
from urllib.parse import quote

import pytest
from support.desk_server import OpenDesk
from support.http_server import assert_refused
from support.paper_pages import Seen, check_valid
from support.places import SHELF
from support.waiting import joined

from analysis.conversion.convert import convert
from dashboard.convert_page import plans
from dashboard.convert_page.plans import offered, planned
from dashboard.web.gate import Refused

TEXTS = {path.stem: path.read_text("utf-8") for path in SHELF}
BAD = "<img src=x onerror=alert(1)"  # no name may hold a >, a title may


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "twelve.toml").write_text(TEXTS["3-on-4"], "utf-8")
    (tmp_path / "eighteen.toml").write_text(TEXTS["3-on-3-on-2"], "utf-8")
    (tmp_path / "broken.toml").write_text("anchor_to_load_m = 3.0\nrope = []\n", "utf-8")
    bad = TEXTS["3"].replace("A1", BAD).replace('title = "', f'title = "{BAD}>')
    (tmp_path / "bad.toml").write_text(bad, "utf-8")
    return tmp_path


def page_of_pair(desk, a, b):
    status, body, _ = desk.ask(f"/convert/?a={quote(a)}&b={quote(b)}")
    assert status == 200
    html = body.decode("utf-8")
    return html, " ".join(Seen(html).words.split())


def test_rigs_of_the_folder_may_stand_and_the_shelf_may_be_wanted(folder):
    stands, wanted = offered(folder)
    assert [one.key for one in stands] == [
        "bad",
        "eighteen",
        "twelve",
    ]  # what can't work is left out
    assert {one.key for one in wanted} == {"bad", "eighteen", "twelve", *(f"shelf:{n}" for n in TEXTS)}  # fmt: skip


@pytest.mark.parametrize("pair", [("twelve", "eighteen"), ("eighteen", "shelf:3-on-4"), ("bad", "shelf:3-on-3")])  # fmt: skip
def test_the_list_is_that_of_haul_convert(desk, folder, pair):
    html, words = page_of_pair(desk, *pair)
    stands, wanted = offered(folder)
    text = next(one.text for one in stands if one.key == pair[0])
    other = next(one.text for one in wanted if one.key == pair[1])
    made = convert(text, other)
    assert made.moves
    for number, move in enumerate(made.moves, 1):
        assert f"{number} {' '.join(one.text() for one in move.texts)}" in words
    assert html.count("<svg") == len(made.moves) + 1
    check_valid(html)


def test_hostile_names_stay_text(desk):
    html, _ = page_of_pair(desk, "bad", "shelf:3-on-3")
    check_valid(html)
    assert not {"img", "script"} & set(Seen(html.replace("<script type", "<x type")).tags)
    html, _ = page_of_pair(desk, f"{BAD}>", f"{BAD}>")
    check_valid(html)
    assert "<img" not in html


def test_what_has_no_way_and_what_is_not_there_say_so(desk):
    _, words = page_of_pair(desk, "twelve", "shelf:complex-5")
    assert "load" in words and "Print the list" not in words
    _, words = page_of_pair(desk, "twelve", "twelve")
    assert "Nothing to do" in words
    for a, b in (("../twelve", "eighteen"), ("shelf:3", "twelve"), ("twelve", "nothing"), ("broken", "twelve")):  # fmt: skip
        assert "there is no such rig" in page_of_pair(desk, a, b)[1]


def test_an_empty_folder_leads_to_making_a_rig(tmp_path):
    serving = OpenDesk(tmp_path)
    try:
        assert b"Make one first" in serving.ask("/convert/")[1]
    finally:
        serving.close()


def test_one_list_at_a_time_is_worked_out(folder, monkeypatch):
    stands, _ = offered(folder)
    began, go_on = threading.Event(), threading.Event()

    def slow(rig, other):
        began.set()
        assert go_on.wait(600)
        return convert(rig.text, other.text)

    monkeypatch.setattr(plans, "_kept", slow)
    other = threading.Thread(target=planned, args=(stands[1], stands[2]))
    other.start()
    try:
        assert began.wait(600)
        with pytest.raises(Refused):
            planned(stands[1], stands[2])
    finally:
        go_on.set()
        joined(other)
    assert planned(stands[1], stands[2]).moves


def test_a_foreign_origin_is_refused(desk):
    assert_refused(desk.ask("/convert/", headers={"Origin": "http://evil.example"}), 403)
