"""Review text, JSON, CSV, report, review page, gear, library, compare and live page agree, whatever the session.

To the printed digit, on every peak, total, stroke and efficiency, in both systems of units; and no text holds
inf, nan, or a field that was not filled.  What is printed is read back and held against the JSON.
"""

from __future__ import annotations

import csv
import html
import io
import itertools
import json
import re
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from support.chapter_sessions import RigPlan, SessionPlan, plans, recorded
from support.growing_session import Page

from analysis.review.reviewed_session import whole_session
from analysis.sessions.gear_log import items_used
from dashboard.cli import main
from dashboard.export import report_tables
from dashboard.export.report_html import report
from dashboard.live.watcher import Watch
from dashboard.review.session_review import SessionReview
from dashboard.review.tables import page_data
from dashboard.text.units import SYSTEMS

THREE_RIGS = SessionPlan(
    rigs=(
        RigPlan("3:1", (3.0, 3.0), conversion_m=2.0),
        RigPlan("5:1", (), conversion_m=0.4),
        RigPlan("2:1", (2.0, 1.5)),
    )
)
NOT_FILLED = re.compile(
    r"(?<![\w-])-?(inf|nan|infinity)(?![\w-])|\b(None|undefined|null)\b|[{}]", re.IGNORECASE
)
# unit of a printed quantity -> its size in SI; NIST SP 811, appendix B
SIZES = {"": 1.0, "N": 1.0, "kN": 1e3, "lbf": 4.4482216152605, "m": 1.0, "ft": 0.3048, "s": 1.0, "J": 1.0, "kJ": 1e3,
         "ft lbf": 4.4482216152605 * 0.3048, "%": 0.01}  # fmt: skip
PRINTED = re.compile(r"(-?[0-9.]+)(?: ± ([0-9.]+))? ?([a-zA-Z%]*(?: lbf)?)")
EMPTY = ("not known", "-", "unrated", "")
Rows = Sequence[Sequence[str]]


def out_of(*words) -> str:
    """What a call of `haul` prints."""
    out = io.StringIO()
    with redirect_stdout(out):
        assert main([str(word) for word in words]) == 0
    return out.getvalue()


def says(cell: str, value: Any) -> bool:
    """Whether a cell prints a value, SI, to its last digit; a quantity with its U95; None as not known."""
    cell = cell.removesuffix(" OVER")
    expanded = None
    if isinstance(value, Mapping):
        value, expanded = value["value"], value["U95"]
    if value is None:
        return cell in EMPTY
    if cell == "< 1 %":
        return 0 < value < 0.005
    printed = PRINTED.fullmatch(cell)
    if printed is None:
        return False
    number, plus_minus, unit = printed.groups()
    size = SIZES[unit]
    if plus_minus is None:
        return abs(float(number) - value / size) <= last_digit(number, 3)
    assert expanded is not None
    return (
        abs(float(number) - value / size) <= last_digit(plus_minus, 2)
        and abs(float(plus_minus) - expanded / size) <= last_digit(plus_minus, 2)
    )  # fmt: skip


def last_digit(number: str, figures: int) -> float:
    """Half of the last digit that a printed number states; figures: of a whole number."""
    whole, _, decimals = number.lstrip("-").partition(".")
    if decimals:
        return 0.5 * 10.0 ** -len(decimals) * (1 + 1e-9)
    return 0.5 * 10.0 ** max(0, len(whole) - figures) * (1 + 1e-9)


def table_after(text: str, title: str) -> list[list[str]]:
    """The table below a line of a terminal's text, as cells; titles first."""
    lines = text.split("\n" + title, 1)[1].split("\n")[1:]
    block = list(itertools.takewhile(lambda line: line.startswith("  "), lines))
    return [re.split(r" {2,}", line.strip()) for line in block]


def held(
    rows: Rows, expected: Sequence[Mapping[str, Any]], columns: Mapping[str, Callable]
) -> None:
    """Hold a printed table against what the JSON has; columns: title -> value of a row."""
    head, *body = rows
    assert len(body) == len(expected), (len(body), len(expected))
    for line, row in zip(body, expected, strict=True):
        assert len(line) == len(head), (head, line)
        for title, value in columns.items():
            cell, truth = line[head.index(title)], value(row)
            good = cell == truth if isinstance(truth, str) else says(cell, truth)
            assert good, (title, cell, truth, line)


STROKE = {
    "from": lambda s: s["start_s"],
    "to": lambda s: s["end_s"],
    "rope": lambda s: s["haul_travel_m"],
    "load": lambda s: s["load_travel_m"],
    "mean force": lambda s: s["mean_force_N"],
    "peak": lambda s: s["peak_force_N"],
    "efficiency ± 95 %": lambda s: s["efficiency"],
}
WORK = {"work": lambda s: s["work_J"]}
PEAK = {
    "part": lambda p: p["name"],
    "force": lambda p: p["force_N"],
    "at most": lambda p: p["at_most_N"],
    "allowed": lambda p: p["limit_N"],
    "use": lambda p: p["use"],
    "at": lambda p: p["time_s"],
}
CHAPTER_MEASURED = {
    "from": lambda c: c["from_s"],
    "to": lambda c: c["to_s"],
    "strokes": lambda c: str(len(c["strokes"])),
    "resets": lambda c: str(c["resets"]),
    "actual MA": lambda c: c["measured"]["actual_ma"],
    "efficiency": lambda c: c["measured"]["efficiency"],
    "rope hauled": lambda c: c["measured"]["haul_travel_m"],
    "load from": lambda c: c["load_from_m"],
    "load to": lambda c: c["load_to_m"],
    "highest use": lambda c: max(
        (p["use"] for p in c["peaks"] if p["use"] is not None), default=None
    ),
}
CHAPTER = {
    "ideal MA": lambda c: c["ideal_ma"],
    "haul force": lambda c: c["measured"]["haul_force_N"],
    **CHAPTER_MEASURED,
}


def numbered_peaks(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The peaks of all chapters in the order of the tables: the greatest use first."""
    rows = [p for c in review["chapters"] for p in c["peaks"]]
    ruling = [p["at_most_N"] if p["at_most_N"] is not None else p["force_N"] for p in rows]
    order = sorted(
        range(len(rows)),
        key=lambda k: (rows[k]["use"] is None, -(rows[k]["use"] or 0.0), -ruling[k]),
    )
    return [rows[k] for k in order]


def with_chapter(columns: Mapping[str, Callable], review: Mapping[str, Any], value: Callable):
    """The columns, with the chapter's number where the session has several."""
    return {**columns, "chapter": value} if len(review["chapters"]) > 1 else columns


def check_tables(
    review: Mapping[str, Any], *, strokes: Rows | None, peaks: Rows, chapters: Rows, most: int | None = None,
    with_work: bool = False, measured_alone: bool = False,
) -> None:  # fmt: skip
    """Hold the three tables of a screen against the JSON; most: rows of peaks that the screen has."""
    number = {k: str(n) for n, c in enumerate(review["chapters"], 1) for k in c["strokes"]}
    listed = [{**s, "number": number[k]} for k, s in enumerate(review["strokes"])]
    columns = {**STROKE, **(WORK if with_work else {})}
    if strokes is not None and listed:
        held(strokes, listed, with_chapter(columns, review, lambda s: s["number"]))
    chosen = numbered_peaks(review)[:most]
    if chosen:
        held(peaks, chosen, with_chapter(PEAK, review, lambda p: str(p["chapter"] + 1)))
    if len(review["chapters"]) > 1:
        held(chapters, review["chapters"], CHAPTER_MEASURED if measured_alone else CHAPTER)


def sealed_live(session: Path, units: str) -> tuple[Page, Watch]:
    """A live page over a sealed session, with all that it is sent."""
    watch = Watch(session, shown=SYSTEMS[units])
    watch.tick()
    page = Page(watch, "all")
    for _ in range(60):
        page.ask()
    return page, watch


def plain(text: str, *paths: Path) -> str:
    """The text without these paths."""
    for path in paths:
        text = text.replace(str(path), "")
    return text


def check_json(review: dict) -> None:
    chapters = review["chapters"]
    assert [k for c in chapters for k in c["strokes"]] == list(range(len(review["strokes"])))
    assert chapters[0]["from_s"] == 0 and chapters[-1]["to_s"] == pytest.approx(
        review["duration_s"]
    )
    for one, two in itertools.pairwise(chapters):
        assert one["to_s"] == two["from_s"] and one["load_to_m"] == two["load_from_m"]
    assert sum(c["resets"] for c in chapters) == review["resets"]
    for key in ("haul_travel_m", "load_travel_m", "work_in_J"):
        assert sum(c["measured"][key] for c in chapters) == pytest.approx(review["measured"][key])
    best: dict[str, float] = {}
    for peak in (p for c in chapters for p in c["peaks"]):
        best[peak["name"]] = max(best.get(peak["name"], 0.0), peak["at_most_N"] or peak["force_N"])
    assert {p["name"]: p["at_most_N"] or p["force_N"] for p in review["peaks"]} == best
    for peak in review["peaks"]:
        assert peak["force_N"] <= (peak["at_most_N"] or peak["force_N"]) * (1 + 1e-9)


def check_text(session: Path, review: Mapping[str, Any], units: str) -> None:
    text = out_of("review", session, "--units", units)
    assert not NOT_FILLED.search(plain(text, session)), NOT_FILLED.search(plain(text, session))
    several = len(review["chapters"]) > 1
    peaks = table_after(text, "Highest forces") if review["peaks"] else []
    check_tables(
        review,
        strokes=table_after(text, "Strokes:") if review["strokes"] else None,
        peaks=peaks,
        chapters=table_after(text, "Measured against predicted") if several else [],
    )
    totals = review["measured"]
    if several:
        (line,) = (row for row in text.split("\n") if row.startswith("  whole session: "))
        said = dict(
            re.findall(r"(rope hauled|load moved|work in|work out) (not known|[^,]*)", line)
        )
        said |= dict(re.findall(r"(strokes|resets) ([0-9]+)", line))
    else:
        said = {row[0].split(",")[0]: row[1] if len(row) > 1 else ""
                for row in table_after(text, "Measured against predicted")}  # fmt: skip
    for name, key in (("rope hauled", "haul_travel_m"), ("load moved", "load_travel_m"),
                      ("work in", "work_in_J"), ("work out", "work_out_J")):  # fmt: skip
        assert says(said[name], totals[key]), (name, said[name], totals[key])
    assert f"Strokes: {len(review['strokes'])}, resets: {review['resets']}" in text


def cells_of_tables(page: str) -> list[list[list[str]]]:
    """The tables of an HTML page as cells."""
    tables = []
    for table in re.findall(r"<table[^>]*>(.*?)</table>", page, re.DOTALL):
        rows = re.findall(r"<tr[^>]*>(.*?)</tr>", table, re.DOTALL)
        tables.append([
            [" ".join(html.unescape(re.sub(r"<[^>]*>", "", cell)).split())
             for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)]
            for row in rows
        ])  # fmt: skip
    return tables


def check_report(session: Path, review: Mapping[str, Any], units: str) -> None:
    page = report(session, units=SYSTEMS[units])
    body = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    told = html.unescape(re.sub(r"<[^>]*>", "\n", body))
    assert not NOT_FILLED.search(plain(told, session)), NOT_FILLED.search(plain(told, session))

    def table(*titles: str) -> list[list[str]]:
        return next(
            (rows for rows in cells_of_tables(body) if rows and set(titles) <= set(rows[0])), []
        )

    strokes = table("mean force", "work")
    check_tables(
        {**review, "strokes": review["strokes"][: report_tables.MOST_STROKES]},
        strokes=strokes or None,
        peaks=table("part", "at most"),
        chapters=table("load from", "load to"),
        most=report_tables.MOST_PARTS,
        with_work=True,
        measured_alone=True,
    )
    assert bool(strokes) == bool(review["strokes"])
    over = [p["name"] for p in review["peaks"] if p["use"] is not None and p["use"] > 1]
    assert ("OVER THE LIMIT" in told) == bool(over)


def check_page(session: Path, review: Mapping[str, Any], units: str) -> None:
    page = page_data(SessionReview(session).reviewed(), SYSTEMS[units])
    text = plain(" ".join(strings(page)), session)
    assert not NOT_FILLED.search(text), NOT_FILLED.search(text)
    heads = page["heads"]
    check_tables(
        review,
        strokes=[heads["strokes"], *(row["cells"] for row in page["strokes"])],
        peaks=[heads["peaks"], *(row["cells"] for row in page["peaks"])],
        chapters=page["chapters"],
        with_work=True,
    )


def strings(value: Any) -> Iterable[str]:
    """All texts within a value of JSON."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from strings(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from strings(one)


def check_csv(session: Path, folder: Path, review: dict) -> None:
    readings, events = folder / "readings.csv", folder / "events.csv"
    out_of("review", session, "--csv", readings, "--events-csv", events)
    several = len(review["chapters"]) > 1
    rows = list(csv.DictReader(io.StringIO(readings.read_text("utf-8"))))
    assert ("chapter" in rows[0]) == several
    if several:
        seen = {int(row["chapter"]) for row in rows}
        assert seen <= set(range(1, len(review["chapters"]) + 1)) and 1 in seen
    told = list(csv.DictReader(io.StringIO(events.read_text("utf-8"))))
    assert len(told) == len(review["events"])
    for row, event in zip(told, review["events"], strict=True):
        assert row["text"].lstrip("'") == event["text"]
        assert row["value"] == ("" if event["value"] is None else f"{event['value']:.9g}")


def check_gear(session: Path, folder: Path, review: Mapping[str, Any]) -> None:
    peaks = {(p["chapter"], p["name"]): p for c in review["chapters"] for p in c["peaks"]}
    uses = items_used(whole_session(session))
    for use in uses:
        peak = peaks[use.chapter, use.name]
        assert use.peak_N == peak["at_most_N"] and bool(use.why_not) == (use.peak_N is None)
        assert use.limit_N == peak["limit_N"]
        if peak["use"] is not None and peak["use"] > 1 + 1e-9:
            assert use.full >= 1
    for units in SYSTEMS:
        text = out_of("gear", folder, "--units", units)
        assert not NOT_FILLED.search(plain(text, folder)), NOT_FILLED.search(plain(text, folder))
        if uses:
            head, *body = [re.split(r" {2,}", line) for line in text.split("\n")
                           if line and not line.startswith("!")]  # fmt: skip
            for line in body:
                own = [use.peak_N for use in uses if use.item == line[0]]
                most = None if None in own else max(own)
                assert says(line[head.index("peak")], most), (line, most)


def check_library(session: Path, folder: Path, review: Mapping[str, Any]) -> None:
    listed = json.loads(out_of("library", folder, "--json"))["sessions"]
    (row,) = (r for r in listed if r["path"].endswith(session.name))
    assert row["haul_travel_m"] == review["measured"]["haul_travel_m"]
    assert (row["strokes"], row["resets"]) == (len(review["strokes"]), review["resets"])
    efficiency = review["measured"]["efficiency"]
    assert row["efficiency"] == (efficiency["value"] if efficiency else None)
    every = [c for c in review["chapters"] if c["strokes"]]
    several = len(review["chapters"]) > 1
    if several:
        assert [c["haul_travel_m"] for c in row["chapters"]] == [
            c["measured"]["haul_travel_m"] for c in every
        ]
    rows = every if several and every else [review]
    for units in SYSTEMS:
        text = out_of("library", folder, "--units", units)
        assert not NOT_FILLED.search(plain(text, folder)), NOT_FILLED.search(plain(text, folder))
        head, *body = [re.split(r" {2,}", line) for line in text.split("\n\n")[0].split("\n")]
        assert len(body) == len(rows)
        for line, one in zip(body, rows, strict=True):
            cell = dict(zip(head, line, strict=True))
            assert cell["strokes"] == str(len(one["strokes"]))
            for title, key in (("actual MA", "actual_ma"), ("efficiency", "efficiency"),
                               ("haul force", "haul_force_N")):  # fmt: skip
                assert says(cell[title], one["measured"][key]), (title, cell, one["measured"][key])
            assert says(cell["highest use"], CHAPTER["highest use"](one)), cell


def check_compare(session: Path, review: Mapping[str, Any]) -> None:
    assert json.loads(out_of("compare", session, "--json"))["sessions"] == [review]
    for units in SYSTEMS:
        text = plain(out_of("compare", session, "--units", units), session)
        assert not NOT_FILLED.search(text), NOT_FILLED.search(text)


def check_live(session: Path, review: Mapping[str, Any], units: str) -> None:
    page, watch = sealed_live(session, units)
    parts, last = page.parts, review["chapters"][-1]
    told = parts["strokes"]
    hauls = [s for s in review["strokes"] if s["direction"] == "haul"]
    assert (told["haul_strokes"], told["resets"]) == (len(hauls), review["resets"])
    for key in ("haul_travel_m", "load_travel_m"):
        assert four_figures(told[key], review["measured"][key])
    for key in ("actual_ma", "efficiency", "load_force_N"):
        one, truth = parts.get(key), last["measured"][key]
        assert (one is None) == (truth is None)
        if truth:
            assert four_figures(one["value"], truth["value"]) and one["n"] == truth["n"]
            assert one["U95"] == float(f"{truth['U95']:.3g}")
    assert parts["predicted"]["ideal_ma"] == float(f"{last['ideal_ma']:.4g}")
    assert four_figures(parts["predicted"]["model_ma"], last["predicted"]["model_ma"])
    assert page.now["moved_m"] == pytest.approx(last["load_to_m"], abs=1e-3)
    assert page.now["peak_N"] == pytest.approx(max_haul_N(review), rel=1e-3)
    check_tables(
        review, strokes=None, peaks=page.numbered("peak"), chapters=page.numbered("chapter"), most=20,
    )  # fmt: skip
    spans = [part for key, part in parts.items() if key.startswith("span:s") and part]
    assert sorted((s[0], s[2]) for s in spans) == sorted(
        (round(s["start_s"], 1), s["direction"]) for s in review["strokes"]
    )
    resets = [p for key, p in parts.items() if key.startswith("span:r") and p]
    assert len(resets) == review["resets"]
    assert watch.live.estimate().json["peaks"] == review["peaks"]
    text = plain(" ".join(strings([*parts.values(), page.now])), session)
    assert not NOT_FILLED.search(text), NOT_FILLED.search(text)


def four_figures(told: float | None, truth: float | None) -> bool:
    """Whether a page is told a value to four figures; it prints two or three of them."""
    return told == (None if truth is None else float(f"{truth:.4g}"))


def max_haul_N(review: Mapping[str, Any]) -> float:
    """The highest force of the haul cell: of the strand that it sits on."""
    return max(
        p["force_N"] for c in review["chapters"] for p in c["peaks"] if p["name"].endswith(">team")
    )


def check_everywhere(plan: SessionPlan) -> None:
    """Record a session and hold every screen and file of it against the JSON of its review."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "all").mkdir()
        session = recorded(folder / "all" / "s", plan)
        review = json.loads(out_of("review", session, "--json"))
        assert len(review["chapters"]) == len(plan.rigs)
        check_json(review)
        check_csv(session, folder, review)
        check_gear(session, folder / "all", review)
        check_library(session, folder / "all", review)
        check_compare(session, review)
        for units in SYSTEMS:
            check_text(session, review, units)
            check_report(session, review, units)
            check_page(session, review, units)
            check_live(session, review, units)


slow = [HealthCheck.too_slow]


@settings(
    max_examples=8, deadline=None, derandomize=True, suppress_health_check=slow,
    phases=[Phase.explicit, Phase.generate],
)  # fmt: skip
@example(THREE_RIGS)
@given(plans())
def test_every_screen_and_file_tells_the_same(plan):
    check_everywhere(plan)


@pytest.mark.many
@settings(max_examples=80, deadline=None, suppress_health_check=slow)
@given(plans())
def test_every_screen_and_file_tells_the_same_of_many_sessions(plan):
    check_everywhere(plan)
