"""Review text, JSON, CSV, report, gear, library, compare and live page agree, whatever the session.

To the printed digit, on every peak, total, stroke and efficiency; and no text holds inf, nan, or a field
that was not filled.
"""

from __future__ import annotations

import csv
import html
import io
import itertools
import json
import re
import tempfile
from contextlib import redirect_stdout
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from support.chapter_sessions import RigPlan, SessionPlan, plans, recorded
from support.growing_session import Page

from analysis.review.reviewed_session import whole_session
from analysis.review.shown_rows import peak_rows
from analysis.sessions.gear_log import items_used
from dashboard.cli import main
from dashboard.live.watcher import Watch
from dashboard.text.table_rows import (
    CHAPTERS,
    PEAKS,
    STROKES,
    by_chapter,
    chapter_rows,
    peaks_by_chapter,
    stroke_rows,
    texts,
)

THREE_RIGS = SessionPlan(
    rigs=(
        RigPlan("3:1", (3.0, 3.0), conversion_m=2.0),
        RigPlan("5:1", (), conversion_m=0.4),
        RigPlan("2:1", (2.0, 1.5)),
    )
)
NOT_FILLED = re.compile(r"(?<![\w-])-?(inf|nan|infinity)(?![\w-])|\bNone\b|[{}]", re.IGNORECASE)


def out_of(*words) -> str:
    """What a call of `haul` prints."""
    out = io.StringIO()
    with redirect_stdout(out):
        assert main([str(word) for word in words]) == 0
    return out.getvalue()


def sealed_live(session: Path) -> tuple[Page, Watch]:
    """A live page over a sealed session, with all that it is sent."""
    watch = Watch(session)
    watch.tick()
    page = Page(watch, "all")
    for _ in range(60):
        page.ask()
    return page, watch


def squeezed(cells) -> str:
    """Cells of a row with one blank between words, as a table on a terminal is compared."""
    return " ".join(" ".join(cells).split())


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


def check_text(session: Path, review: dict) -> None:
    text = out_of("review", session)
    assert not NOT_FILLED.search(text.replace(str(session), "")), NOT_FILLED.search(text)
    lines = {squeezed(line.split()) for line in text.splitlines()}
    columns = [c for c in by_chapter(STROKES, review) if c.kind != "work"]
    peak_columns = by_chapter([PEAKS[0], PEAKS[-1], *PEAKS[1:-1]], review)
    tables = [texts(columns, stroke_rows(review))]
    tables.append(texts(peak_columns, peak_rows(peaks_by_chapter(review))))
    tables.append(texts(CHAPTERS, chapter_rows(review)))
    for rows in tables:
        assert all(squeezed(row) in lines for row in rows[1:])


def check_report(session: Path, folder: Path, review: dict) -> None:
    page = folder / "report.html"
    out_of("review", session, "--html", page)
    body = re.sub(r"<style>.*?</style>", "", page.read_text("utf-8"), flags=re.DOTALL)
    told = html.unescape(re.sub(r"<[^>]*>", "\n", body))
    assert not NOT_FILLED.search(told.replace(str(session), "")), NOT_FILLED.search(told)
    words = {" ".join(line.split()) for line in told.splitlines()}
    for row in peak_rows(peaks_by_chapter(review))[:10]:
        assert {cell for cell in texts(PEAKS, [row])[1] if cell} <= words
    for row in texts(CHAPTERS, chapter_rows(review))[1:]:
        assert {cell for cell in row if cell} <= words


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


def check_gear_and_library(session: Path, folder: Path, review: dict) -> None:
    peaks = {(p["chapter"], p["name"]): p for c in review["chapters"] for p in c["peaks"]}
    for use in items_used(whole_session(session)):
        peak = peaks[use.chapter, use.name]
        assert use.peak_N == (
            peak["at_most_N"] if peak["at_most_N"] is not None else peak["force_N"]
        )
        assert use.limit_N == peak["limit_N"]
        if peak["use"] is not None and peak["use"] > 1 + 1e-9:
            assert use.full >= 1
    listed = json.loads(out_of("library", folder, "--json"))["sessions"]
    (row,) = (r for r in listed if r["path"].endswith(session.name))
    assert row["haul_travel_m"] == review["measured"]["haul_travel_m"]
    assert (row["strokes"], row["resets"]) == (len(review["strokes"]), review["resets"])
    efficiency = review["measured"]["efficiency"]
    assert row["efficiency"] == (efficiency["value"] if efficiency else None)
    with_strokes = [c for c in review["chapters"] if c["strokes"]]
    if len(review["chapters"]) > 1:
        assert [c["haul_travel_m"] for c in row["chapters"]] == [
            c["measured"]["haul_travel_m"] for c in with_strokes
        ]
    assert json.loads(out_of("compare", session, "--json"))["sessions"] == [review]
    for words in (("library", folder), ("gear", folder), ("compare", session)):
        text = out_of(*words).replace(str(session), "").replace(str(folder), "")
        assert not NOT_FILLED.search(text), (words, NOT_FILLED.search(text))


def check_live(session: Path, review: dict) -> None:
    page, watch = sealed_live(session)
    parts, last = page.parts, review["chapters"][-1]
    told = parts["strokes"]
    hauls = [s for s in review["strokes"] if s["direction"] == "haul"]
    assert (told["haul_strokes"], told["resets"]) == (len(hauls), review["resets"])
    for key in ("haul_travel_m", "load_travel_m"):
        assert told[key] == pytest.approx(review["measured"][key], rel=1e-3, abs=1e-9)
    efficiency = last["measured"]["efficiency"]
    assert (parts.get("efficiency") is None) == (efficiency is None)
    if efficiency:
        assert parts["efficiency"]["value"] == float(f"{efficiency['value']:.4g}")
    assert parts["predicted"]["ideal_ma"] == float(f"{last['ideal_ma']:.4g}")
    assert page.now["moved_m"] == pytest.approx(last["load_to_m"], abs=1e-3)
    peaks = texts(by_chapter(PEAKS, review), peak_rows(peaks_by_chapter(review)))
    assert page.numbered("peak") == peaks[: len(page.numbered("peak"))]
    if len(review["chapters"]) > 1:
        assert page.numbered("chapter") == texts(CHAPTERS, chapter_rows(review))
    assert watch.live.estimate().json["peaks"] == review["peaks"]
    for text in (json.dumps(part) for part in parts.values()):
        assert not re.search(r"-?\b(inf|nan|Infinity|NaN)\b|\{[a-z_]+\}", text), text


@settings(
    max_examples=8, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.generate],
)  # fmt: skip
@example(THREE_RIGS)
@given(plans())
def test_every_screen_and_file_tells_the_same(plan):
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "all").mkdir()
        session = recorded(folder / "all" / "s", plan)
        review = json.loads(out_of("review", session, "--json"))
        assert len(review["chapters"]) == len(plan.rigs)
        check_json(review)
        check_text(session, review)
        check_report(session, folder, review)
        check_csv(session, folder, review)
        check_gear_and_library(session, folder / "all", review)
        check_live(session, review)
