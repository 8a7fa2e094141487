"""`haul library`, `haul gear`, `haul compare`: lists for people, objects for programs."""

from __future__ import annotations

import csv
import json

import pytest
from support.sealed_sessions import made


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "cache"))


@pytest.fixture
def folder(tmp_path):
    for k in range(3):
        made(tmp_path / "FOLDER" / f"s{k}", hz=10.0, strokes=1, e=0.9 - 0.05 * k, load_u_N=3.0,
             started_at=f"2026-0{k + 1}-01T10:00:00.000Z", item="=P-07")  # fmt: skip
    return tmp_path / "FOLDER"


def test_the_list_shows_each_session_and_what_changes(haul, folder):
    said = haul("library", folder)
    assert said.status == 0 and said.err == ""
    lines = said.out.splitlines()
    assert sum(line.startswith("s") and "sealed" in line for line in lines) == 3
    assert "a year (95 %)" in said.out and "3 sessions, 3 new or changed, 0 gone" in said.out
    assert "3 sessions, 0 new or changed, 0 gone" in haul("library", folder).out
    assert "3 sessions, 3 new or changed" in haul("library", folder, "--rebuild").out


def test_filters_narrow_list_and_trend(haul, folder):
    found = json.loads(haul("library", folder, "--since", "2026-02-01", "--json").out)
    assert [r["path"] for r in found["sessions"]] == ["s1", "s2"] and found["trends"] == []
    found = json.loads(
        haul(
            "library",
            folder,
            "--until",
            "2026-01",
            "--state",
            "sealed",
            "--title",
            "launch",
            "--json",
        ).out
    )
    assert [r["path"] for r in found["sessions"]] == ["s0"]
    (trend,) = json.loads(haul("library", folder, "--json").out)["trends"]
    assert trend["n"] == 3 and trend["per_year"] < 0
    assert "no session" in haul("library", folder, "--title", "nothing like it").out


def test_us_units_and_faults_are_shown(haul, folder):
    made(folder / "torn", seal=False)
    (folder / "torn" / "rig.toml").write_text("=", "utf-8")
    said = haul("library", folder, "--units", "us")
    assert "lbf" in said.out and "! torn: " in said.out


def test_gear_is_counted_and_a_person_decides(haul, folder, tmp_path):
    said = haul("gear", folder, "--csv", tmp_path / "gear.csv")
    assert said.status == 0, said.err
    assert (
        "at most" in said.out
        and "a person inspects gear and retires it, not this program" in said.out
    )
    rows = list(csv.reader((tmp_path / "gear.csv").read_text("utf-8").splitlines()))
    assert rows[0] == [
        "item", "kinds", "sessions", "since", "last", "peak [N]", "peak session", "limit [N]", "above half",
        "above limit", "rope run [m]", "under load [h]", "peak chapter",
    ]  # fmt: skip
    assert [r[0] for r in rows[1:]] == ["'=P-07", "G-1", "P-08"]  # no formula
    items = {r["item"]: r for r in json.loads(haul("gear", folder, "--json").out)["items"]}
    assert items["P-08"]["sessions"] == 3 and items["P-08"]["since"] == "2026-01-01T10:00:00.000Z"
    assert float(rows[3][5]) == pytest.approx(items["P-08"]["peak_N"])


def test_a_folder_without_marks_or_sessions_says_so(haul, tmp_path):
    (tmp_path / "none").mkdir()
    assert 'item = "P-07"' in haul("gear", tmp_path / "none").out
    assert "no session" in haul("library", tmp_path / "none").out


def test_compare_says_what_follows_from_the_sessions_together(haul, folder):
    said = haul("compare", *sorted(folder.iterdir()))
    assert said.status == 0 and said.out.count("sealed") == 3
    assert "rope handled" in said.out and "min/m" in said.out
    assert "Launch, 3:1, 3 sessions: efficiency changes by" in said.out


@pytest.mark.parametrize(("argv", "word"), [
    (["library", "missing"], "no such folder"),
    (["library", "FOLDER/s0/rig.toml"], "is a file"),
    (["library", "FOLDER", "--state", "done"], "sealed"),
    (["library", "FOLDER", "--since", "last May"], "2026-05-04"),
    (["library", "FOLDER", "--until", "2026-5-1"], "2026-05-04"),
    (["library", "FOLDER", "more"], "more"),
    (["gear", "missing"], "no such folder"),
    (["gear", "FOLDER", "--csv"], "--csv"),
    (["gear", "FOLDER", "--csv", "missing/g.csv"], "g.csv"),
    (["gear", "FOLDER", "--jsno"], "--json"),
])  # fmt: skip
def test_wrong_calls(haul, folder, monkeypatch, argv, word):
    monkeypatch.chdir(folder.parent)
    said = haul(*argv)
    assert (said.status, said.out) == (2, "") and said.err.count("\n") == 1 and word in said.err
