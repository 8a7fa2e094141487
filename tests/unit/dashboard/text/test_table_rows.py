"""One truth a number: terminal, review page, report and CSV show the same cells, to the printed digit."""

from __future__ import annotations

import csv
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.places import SAMPLES

from analysis.review.review import review_session
from dashboard.export.report_html import report
from dashboard.review.session_review import SessionReview
from dashboard.review.tables import page_data
from dashboard.text.table_rows import PEAKS, STROKES, Column, safe
from dashboard.text.units import SYSTEMS, number


class Tables(HTMLParser):
    """The tables of a page: rows of cells of text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: list[list[list[str]]] = []
        self.inside = False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("th", "td"):
            self.tables[-1][-1].append("")
            self.inside = True

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("th", "td")

    def handle_data(self, data):
        if self.inside:
            self.tables[-1][-1][-1] += data


def by_title(head, rows):
    """(first cell of the row, title) -> text."""
    return {(row[0], title): text for row in rows for title, text in zip(head, row, strict=True)}


def on_page(tables, name):
    rows = tables["results"] if name == "results" else [row["cells"] for row in tables[name]]
    return by_title(tables["heads"][name], rows)


def in_report(text, first):
    ((head, *rows),) = [t for t in Tables(text).tables if t[0][0] == first]
    return by_title(head, rows)


def in_terminal(text, heading, first):
    """Lines of a table of the terminal, its titles first."""
    lines = text.split(f"\n{heading}", 1)[1].split("\n", 1)[1].split("\n\n")[0].splitlines()
    assert lines[0].split()[0] == first
    return lines


@pytest.mark.parametrize("units", sorted(SYSTEMS))
@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_every_cell_is_the_same_on_terminal_page_and_report(haul, path, units):
    shown = SYSTEMS[units]
    told = page_data(SessionReview(path).reviewed(), shown)
    printed, said = report(path, units=shown), haul("review", path, "--units", units).out
    for name, first, heading in (
        ("results", "quantity", "Measured against predicted"),
        ("strokes", "stroke", "Strokes: "),
        ("peaks", "part", "Highest forces"),
    ):
        page, paper = on_page(told, name), in_report(printed, first)
        assert paper and set(paper) <= set(page)
        assert paper == {where: page[where] for where in paper}
        head, *lines = in_terminal(said, heading, first)
        titles = [t for t in told["heads"][name] if f" {t}" in head]
        assert len(titles) >= 3
        rows = {row for row, _ in page}
        assert len(rows) == len(page) / len(told["heads"][name])
        for row in rows:
            (line,) = [x for x in lines if x.startswith(f"  {row}  ")]
            cells = [page[row, title] for title in titles[1:]]
            # every cell of the page stands in the line, and nothing else
            assert sorted("".join(line.split())) == sorted("".join("".join([row, *cells]).split()))
            assert all(f"  {cell}" in line for cell in cells)
    # a peak or a stroke that paper has no room for is said to be left out
    assert len(in_report(printed, "part")) // len(PEAKS) == min(14, len(told["peaks"]))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_the_events_of_the_csv_are_those_of_page_and_report_in_si(haul, path, tmp_path):
    assert haul("review", path, "--events-csv", tmp_path / "e.csv").status == 0
    table = list(csv.DictReader((tmp_path / "e.csv").read_text("utf-8").splitlines()))
    found = review_session(path)["events"]
    page = on_page(page_data(SessionReview(path).reviewed(), SYSTEMS["metric"]), "events")
    paper = in_report(report(path), "no.")
    assert len(table) == len(found) and paper
    for where, text in paper.items():  # a long text is cut on paper
        assert page[where] == text or (text.endswith("…") and page[where].startswith(text[:-1]))
    for k, (row, event) in enumerate(zip(table, found, strict=True), 1):
        assert float(row["time_s"]) == pytest.approx(event["time_s"], rel=1e-8)
        assert f"{float(row['time_s']):.1f} s" == page[str(k), "at"]
        assert row["kind"] == page[str(k), "kind"] and row["text"].lstrip("'") == event["text"]


@given(
    st.floats(1e-3, 1e6),
    st.sampled_from(["force", "length", "work", "number"]),
    st.sampled_from(sorted(SYSTEMS)),
)
def test_a_column_shows_a_value_in_the_readers_units_and_writes_it_in_si(value, kind, units):
    column = Column("x", lambda row: row, kind, csv="x [SI]")
    shown = SYSTEMS[units]
    assert float(column.cell(value)) == pytest.approx(value, rel=1e-8)
    assert column.text(value, shown) == shown.quantity(kind, {"value": value})
    if kind == "number":
        assert column.text(value, shown) == number(value)
    assert (column.text(None, shown), column.cell(None)) == ("not known", "")


def test_no_two_columns_of_a_table_have_one_title():
    for columns in (STROKES, PEAKS):
        titles = [c.title for c in columns]
        assert len(set(titles)) == len(titles) and all(titles)


@pytest.mark.parametrize(
    "start",
    # ASCII; full-width forms U+FF1D, U+FF0B, U+FF0D, U+FF20; small forms; the minus sign; what may break a cell
    ["=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\ufe66", "\ufe62", "\ufe63",
     "\ufe6b", "\u2212", "\x00=", " =", "\n=", "\u00a0=", "\u3000\uff1d", "\ufeff=", "\u200b@", "\t1"],
)  # fmt: skip
def test_no_cell_begins_as_a_formula_of_a_spreadsheet(start):
    assert safe(f"{start}cmd()") == f"'{start}cmd()"
    assert safe(f"a{start}") == f"a{start}"


@pytest.mark.parametrize(
    "text", ["", " ", "plain", "  1 = 2", "\u4e2d\uff1d", "'=1", "10:1 - twin", "\u00e9"]
)
def test_other_text_stays_as_it_is_in_a_cell(text):
    assert safe(text) == text
