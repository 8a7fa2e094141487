"""Tables for other programs: split or thinned for spreadsheets, events without formulas, Parquet."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from support.sealed_sessions import made

from analysis.review.review import review_session
from dashboard.export.csv_parquet import SPREADSHEET_ROWS, safe, write_readings
from logger.session.reader import read_all


def rows(path: Path) -> list[list[str]]:
    return list(csv.reader(path.read_text("utf-8").splitlines()))


def test_the_parts_of_a_split_table_are_the_whole_table(tmp_path):
    session = made(tmp_path / "s")
    (whole,) = write_readings(session, tmp_path / "whole.csv")
    parts = write_readings(session, tmp_path / "part.csv", split=True, most_rows=101)
    assert [p.name for p in parts[:2]] == ["part.csv", "part-2.csv"]
    tables = [rows(p) for p in parts]
    assert all(len(t) <= 101 and t[0] == rows(whole)[0] for t in tables)
    assert [r for t in tables for r in t[1:]] == rows(whole)[1:]
    # rows of a sheet, ISO/IEC 29500 spreadsheets: 2^20
    assert SPREADSHEET_ROWS == 2**20


def test_a_table_too_long_for_a_spreadsheet_is_said_to_be(tmp_path, capsys):
    session = made(tmp_path / "s")
    write_readings(session, tmp_path / "a.csv", most_rows=50)
    assert "--csv-split" in capsys.readouterr().err
    write_readings(session, tmp_path / "a.csv")
    assert capsys.readouterr().err == ""


def test_thinning_loses_no_peak(haul, tmp_path):
    session = made(tmp_path / "s", peak_N=777.0)
    assert haul("review", session, "--csv", tmp_path / "t.csv", "--csv-every", "2").status == 0
    table = rows(tmp_path / "t.csv")
    assert table[0][:4] == [
        "time_s",
        "haul_force mean [N]",
        "haul_force least [N]",
        "haul_force largest [N]",
    ]
    block = read_all(session).readings["haul_force"]
    assert max(float(r[3]) for r in table[1:]) == pytest.approx(777.0)
    assert min(float(r[2]) for r in table[1:]) == pytest.approx(block.reading.min())
    for row in table[1:]:
        start = float(row[0])
        inside = block.reading[(block.time_s >= start) & (block.time_s < start + 2)]
        assert float(row[1]) == pytest.approx(np.mean(inside))


def test_no_cell_of_the_events_is_a_formula(haul, tmp_path):
    session = made(tmp_path / "s", marks=2, mark="=HYPERLINK(1)")
    assert haul("review", session, "--events-csv", tmp_path / "e.csv").status == 0
    table = rows(tmp_path / "e.csv")
    assert len(table) - 1 == len(review_session(session)["events"])
    texts = [row[5] for row in table[1:]]
    assert any("HYPERLINK" in text for text in texts)
    for row in table[1:]:
        for cell in (row[2], row[3], row[5]):
            assert not cell.lstrip().startswith(("=", "+", "-", "@"))
    assert safe("  =1") == "'  =1" and safe("a=1") == "a=1"


def test_parquet_holds_the_same_numbers(haul, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed")
    session = made(tmp_path / "s")
    said = haul("review", session, "--csv", tmp_path / "t.csv", "--parquet", tmp_path / "t.parquet")
    assert said.status == 0, said.err
    table = parquet.read_table(tmp_path / "t.parquet")
    head, *plain = rows(tmp_path / "t.csv")
    assert table.column_names == head
    for name, column in zip(head, zip(*plain, strict=True), strict=True):
        assert table[name].to_pylist() == pytest.approx([float(x) for x in column])
    assert table.schema.metadata[b"started_at"] == b"2026-05-04T10:00:00.000Z"


def test_without_the_extra_parquet_says_what_to_install(haul, tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "pyarrow", None)
    said = haul("review", made(tmp_path / "s"), "--parquet", tmp_path / "t.parquet")
    assert said.status == 2 and "pip install '.[parquet]'" in said.err


@pytest.mark.parametrize(("more", "word"), [
    (["--csv-split"], "--csv"),
    (["--csv-every", "1"], "--csv"),
    (["--csv", "OUT", "--csv-split", "--csv-every", "1"], "one of the two"),
    (["--csv", "OUT", "--csv-every", "0"], "seconds"),
    (["--events-csv", "SESSION/e.csv"], "session"),
    (["--parquet", "SESSION/e.parquet"], "session"),
    (["--html", "missing/r.html"], "r.html"),
])  # fmt: skip
def test_wrong_calls(haul, tmp_path, monkeypatch, more, word):
    if "--parquet" in more:
        pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    monkeypatch.chdir(tmp_path)
    made(tmp_path / "SESSION")
    said = haul("review", "SESSION", *more)
    assert said.status == 2 and said.err.count("\n") == 1 and word in said.err
