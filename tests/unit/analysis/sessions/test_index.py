"""The index of a folder: follows it, costs only what is new, and can be thrown away."""

from __future__ import annotations

import shutil
import signal
import sqlite3
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context

import pytest
from support.sealed_sessions import die_or_answer, made

from analysis.review.review import review_session
from analysis.sessions import index as indexing
from analysis.sessions.batch import answers, processes
from analysis.sessions.index import Index, sessions_below
from analysis.sessions.session_row import SessionRow, session_row
from logger.errors import CallFault


@pytest.fixture
def library(tmp_path):
    folder = tmp_path / "library"
    for k in range(4):
        made(folder / f"year{k % 2}" / f"s{k}", hz=10.0, strokes=1, e=0.9 - 0.01 * k,
             started_at=f"2026-0{k + 1}-01T10:00:00.000Z", title="Launch" if k else "Stone sill")  # fmt: skip
    return folder


def updated(folder, cache, **more):
    with Index(folder, cache) as index:
        found = index.update(**more)
        return found, index.rows(), list(index.gear())


def test_a_row_says_what_the_review_says(library, tmp_path):
    _, rows, _ = updated(library, tmp_path / "cache")
    assert [r["path"] for r in rows] == ["year0/s0", "year1/s1", "year0/s2", "year1/s3"]
    for row in rows:
        review = review_session(library / row["path"])
        for key in ("actual_ma", "efficiency"):
            measured = review["measured"][key]
            assert (row[key], row[f"{key}_u"], row[f"{key}_U95"]) == (
                measured["value"],
                measured["u"],
                measured["U95"],
            )
        assert row["haul_travel_m"] == review["measured"]["haul_travel_m"]
        assert (row["state"], row["strokes"], row["fault"]) == ("sealed", 1, "")


def test_a_second_look_reads_no_session_and_a_new_session_costs_only_itself(
    library, tmp_path, monkeypatch
):
    read = []

    def counted(path):
        read.append(path)
        return session_row(path)

    monkeypatch.setattr(indexing, "session_row", counted)
    _, before, _ = updated(library, tmp_path / "cache")
    assert len(read) == 4
    found, rows, _ = updated(library, tmp_path / "cache")
    assert (len(read), found.reviewed, rows) == (4, 0, before)
    new = made(library / "new", hz=10.0, strokes=1)
    found, rows, _ = updated(library, tmp_path / "cache")
    assert read[4:] == [str(new)] and (found.sessions, found.reviewed, len(rows)) == (5, 1, 5)
    shutil.rmtree(library / "year0" / "s0")
    found, rows, gear = updated(library, tmp_path / "cache")
    assert (found.reviewed, found.removed, len(rows)) == (0, 1, 4)
    assert "year0/s0" not in {path for path, _, _ in gear}


def test_a_changed_file_is_seen(library, tmp_path):
    updated(library, tmp_path / "cache")
    with (library / "year0" / "s0" / "rig.toml").open("a") as rig:
        rig.write("# changed\n")
    found, rows, _ = updated(library, tmp_path / "cache")
    assert found.reviewed == 1 and rows[0]["state"] == "changed"


def test_a_growing_session_is_looked_at_each_time(tmp_path):
    from support.growing_session import Growing

    session = Growing(tmp_path / "library" / "s")
    session.clock(0.25)
    for _ in range(2):
        found, rows, _ = updated(tmp_path / "library", tmp_path / "cache")
        assert found.reviewed == 1 and rows[0]["state"] == "growing"
    session.die()
    assert updated(tmp_path / "library", tmp_path / "cache")[1][0]["state"] == "cut short"


def test_thrown_away_broken_or_of_another_program_it_is_made_anew(library, tmp_path, monkeypatch):
    cache = tmp_path / "cache"
    _, rows, gear = updated(library, cache)
    shutil.rmtree(cache)
    assert updated(library, cache)[1:] == (rows, gear)
    (file,) = cache.iterdir()
    file.write_bytes(b"this is no database, and long enough to be seen as none" * 40)
    assert updated(library, cache)[1:] == (rows, gear)
    db = sqlite3.connect(file)
    db.execute("UPDATE session SET title = 'a lie'")
    db.commit()
    db.close()
    assert updated(library, cache)[1] != rows
    assert updated(library, cache, rebuild=True)[1:] == (rows, gear)
    monkeypatch.setattr(indexing, "program_mark", lambda: "another program")
    assert updated(library, cache)[0].reviewed == 4


def test_a_cache_that_cannot_be_written_is_said_and_does_without(library, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("", "utf-8")
    found, rows, _ = updated(library, blocked / "cache")
    assert len(rows) == 4 and "the index is not stored" in found.warning


def test_an_odd_session_is_a_row_with_a_reason(library, tmp_path):
    bad = library / "bad"
    bad.mkdir()
    (bad / "datapackage.json").write_text("{}", "utf-8")
    torn = made(library / "torn", seal=False)
    (torn / "rig.toml").write_text("title = ", "utf-8")
    _, rows, _ = updated(library, tmp_path / "cache")
    faults = {r["path"]: r["fault"] for r in rows if r["fault"]}
    assert set(faults) == {"bad", "torn"} and "haul_format" in faults["bad"]


def test_filters(library, tmp_path):
    with Index(library, tmp_path / "cache") as index:
        index.update()

        def names(**more):
            return [r["path"][-2:] for r in index.rows(**more)]

        assert names(title="launch") == ["s1", "s2", "s3"]
        assert names(state="sealed") == ["s0", "s1", "s2", "s3"] and names(state="changed") == []
        assert names(since="2026-02-01") == ["s1", "s2", "s3"]
        assert names(until="2026-02-01") == ["s0", "s1"]  # the whole day
        assert names(since="2026-02", until="2026-03") == ["s1", "s2"]
        assert names(title="%' OR 1=1 --") == []
        rig = index.rows(title="launch")[0]["rig"]
        assert names(rig=rig) == ["s1", "s2", "s3"]


def test_links_are_not_followed_and_a_session_is_its_own_library(library, tmp_path):
    (library / "loop").symlink_to(library)
    assert len(sessions_below(library)) == 4
    assert sessions_below(library / "year0" / "s0") == ["."]
    for wrong in (tmp_path / "missing", library / "year0" / "s0" / "rig.toml"):
        with pytest.raises(CallFault):
            Index(wrong, tmp_path / "cache")


@pytest.mark.leaves("the tracker of multiprocessing, which Python keeps")
def test_all_cores_give_the_same_table_as_one_process(library, tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.sessions.batch.ALONE", 1)  # so that four are worth processes
    alone = updated(library, tmp_path / "a")[1:]
    seen = []
    with_pool = updated(
        library,
        tmp_path / "b",
        executor=processes,
        progress=lambda done, total: seen.append((done, total)),
    )[1:]
    assert with_pool == alone
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="other system: no SIGKILL")
def test_a_session_that_kills_its_process_costs_only_itself():
    paths = [f"s{k}" for k in range(5)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = dict(answers(die_or_answer, paths, pool))
    assert found == {p: (None if p == "s1" else p.upper()) for p in paths}


def test_rows_are_plain_values():
    row = session_row("/nowhere/at/all")["row"]
    assert set(row) == set(SessionRow.__dataclass_fields__) and "no such folder" in row["fault"]


@contextmanager
def no_executor(count):
    yield None


def test_an_interruption_keeps_what_was_done(library, tmp_path, monkeypatch):
    monkeypatch.setattr(indexing, "AT_ONCE", 1)

    def stop(done, total):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), Index(library, tmp_path / "cache") as index:
        index.update(no_executor, stop)
    assert updated(library, tmp_path / "cache")[0].reviewed == 2


@pytest.mark.long
def test_five_hundred_sessions_on_all_cores_are_the_same_as_alone(tmp_path):
    folder = tmp_path / "library"
    for k in range(500):
        made(folder / f"s{k:03d}", strokes=6, stroke_s=5.5, hz=100.0, seed=k, e=0.92 - 0.0002 * k)
    alone = updated(folder, tmp_path / "a")
    pooled = updated(folder, tmp_path / "b", executor=processes)
    assert alone[1:] == pooled[1:] and (alone[0].reviewed, len(alone[1])) == (500, 500)
    made(folder / "new")
    assert updated(folder, tmp_path / "b", executor=processes)[0].reviewed == 1
