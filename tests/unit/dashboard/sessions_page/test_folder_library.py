"""The figures of the folder's sessions: read once for all pages, and the same as those of `haul library` and `haul review`."""

from __future__ import annotations

import json

import pytest
from support.desk_server import OpenDesk
from support.sealed_sessions import made
from support.sensors_desk import texts_in
from support.waiting import until

from dashboard import cli
from dashboard.child_processes import start
from dashboard.sessions_page import folder_library
from dashboard.sessions_page.folder_library import Library
from dashboard.sessions_page.sessions_view import FIGURES
from dashboard.text.units import METRIC


@pytest.fixture
def started(monkeypatch):
    """The arguments of each program that the library starts."""
    every = []

    def counted(argv, **more):
        every.append(argv)
        return start(argv, **more)

    monkeypatch.setattr(folder_library, "start", counted)
    return every


def shown(desk, path, within_s=60):
    """All texts of a page, once nothing is read any more."""

    def read():
        return texts_in(
            list(desk.look(path).values())
            and [v["children"] for v in desk.look(path).values() if "children" in v]
        )

    until(
        lambda: desk.server.folder_library.wait(0.1) and not any("read now" in t for t in read()),
        within_s,
        "figures",
    )
    return read()


def test_home_and_the_list_start_one_process_and_show_the_same(tmp_path, started, capsys):
    made(tmp_path / "one", strokes=2)
    desk = OpenDesk(tmp_path)
    try:
        listed, home = shown(desk, "/sessions/"), shown(desk, "/desk/home/")
        assert len(started) == 1
        capsys.readouterr()
        assert cli.main(["library", str(tmp_path), "--json"]) == 0
        (row,) = json.loads(capsys.readouterr().out)["sessions"]
        for column in FIGURES:
            assert column.text(row, METRIC) in listed, column.title
        assert any(f"{row['actual_ma']:.3g}"[:3] in text for text in home)
        assert cli.main(["review", str(tmp_path / "one"), "--json"]) == 0
        review = json.loads(capsys.readouterr().out)
        peak = max(review["peaks"], key=lambda one: one["force_N"])
        assert (row["peak_N"], row["peak_part"], row["peak_at_most_N"]) == (
            peak["force_N"],
            peak["name"],
            peak["at_most_N"],
        )
        assert row["actual_ma"] == review["measured"]["actual_ma"]["value"]
        made(tmp_path / "two", strokes=2)
        assert sum("two" in text for text in shown(desk, "/sessions/")) and len(started) == 2
    finally:
        desk.close()


def test_an_empty_folder_starts_no_process(tmp_path, started):
    (tmp_path / ".desk").mkdir()
    library = Library(tmp_path)
    assert library.look() is False and library.rows() == () and started == []
    made(tmp_path / "deeper" / "one", strokes=1)
    assert library.look() is False  # no session is new in the folder itself
    made(tmp_path / "two", strokes=1)
    assert library.look() is True
    until(lambda: library.wait(0.1), 60, "the rows")
    assert [row["path"] for row in library.rows()] == ["two"] and len(started) == 1


def test_a_desk_that_ends_ends_the_reading_too(tmp_path, monkeypatch):
    made(tmp_path / "one", strokes=1)
    processes = []

    def endless(argv, **more):
        processes.append(start(["watch", str(tmp_path / "one"), "--port", "0"], **more))
        return processes[-1]

    monkeypatch.setattr(folder_library, "start", endless)
    desk = OpenDesk(tmp_path)
    desk.look("/sessions/")
    until(lambda: processes, 10, "a process")
    desk.close()
    assert processes[0].poll() is not None
    assert desk.server.folder_library.look() is False and len(processes) == 1
