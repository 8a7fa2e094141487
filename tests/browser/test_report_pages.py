"""The report as paper: Chromium prints it; at most four pages on A4 and on Letter."""

from __future__ import annotations

import copy
import dataclasses
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from support.places import SAMPLES
from support.processes import CHROMIUM_FLAGS
from support.sealed_sessions import made

from analysis.review.review import Reviewed
from analysis.review.reviewed_session import whole_session
from dashboard.export.report_html import report

PAPER_PT = {
    "A4": (595, 842),
    "Letter": (612, 792),
}  # ISO 216 210 x 297 mm; ANSI/ASME Y14.1 A, 8.5 x 11 in


def printed(html: str, folder: Path, paper: str) -> bytes:
    """The PDF that Chromium makes of a page on this paper."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("needs chromium: apt-get install chromium")
    page, out = folder / f"{paper}.html", folder / f"{paper}.pdf"
    page.write_text(html.replace("@page {", f"@page {{ size: {paper};", 1), "utf-8")
    subprocess.run(
        [chromium, *CHROMIUM_FLAGS, "--no-pdf-header-footer", f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={out}", page.as_uri()],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    return out.read_bytes()


def pages(pdf: bytes) -> int:
    """Leaves of the page tree (ISO 32000-1, 7.7.3.2: /Count)."""
    return max(int(n) for n in re.findall(rb"/Type\s*/Pages\b[^>]*?/Count\s+([0-9]+)", pdf) or
               re.findall(rb"/Count\s+([0-9]+)", pdf))  # fmt: skip


def size(pdf: bytes) -> tuple[int, int]:
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)", pdf)
    assert box
    return round(float(box[1])), round(float(box[2]))


@pytest.mark.parametrize("paper", PAPER_PT)
def test_a_sample_prints_on_at_most_four_pages(tmp_path, paper):
    for session in SAMPLES[:1]:
        pdf = printed(report(session), tmp_path, paper)
        assert 1 <= pages(pdf) <= 4
        assert all(abs(a - b) <= 1 for a, b in zip(size(pdf), PAPER_PT[paper], strict=True))


def test_so_does_a_long_session_of_long_words(tmp_path):
    words = "a long word about the slipway " * 4
    stations = ['{ tie = "anchor" }', '{ pulley = "L0", on = "load" }']
    for k in range(1, 9):
        stations += [f'{{ pulley = "A{k}", on = "anchor" }}', f'{{ pulley = "L{k}", on = "load" }}']
    stations.append('{ haul = "team", toward_deg = 180 }')
    session = made(
        tmp_path / "s",
        stations=stations,
        ratings="",
        strokes=40,
        stroke_s=5.0,
        rest_s=4.0,
        hz=10.0,
        title=words,
        note=words * 3,
        marks=200,
        mark=words,
        load_N=3000.0,
    )
    html = report(session)
    assert "more strokes" in html and "more events" in html
    assert 2 <= pages(printed(html, tmp_path, "Letter")) <= 4


@pytest.mark.parametrize("paper", PAPER_PT)
def test_even_where_everything_is_as_much_as_it_can_be(tmp_path, paper, monkeypatch):
    # a review in which each list is long and each text is as long as files allow
    words = "wide words WWW " * 20
    whole = whole_session(SAMPLES[0])
    review = copy.deepcopy(whole.review)
    review["title"] = words
    review["warnings"] = [f"{k} {words}" for k in range(60)]
    review["strokes"] = review["strokes"] * 20
    review["peaks"] = [
        {**row, "name": f"{words[:50]}{k}"} for k in range(4) for row in review["peaks"]
    ]
    for event in review["events"]:
        event["text"], event["channel"] = words, words
    review["events"] = review["events"] * 10
    review["measured"]["why_not"] = words * 3
    channel = dataclasses.replace(whole.info.sensors.channels[0], name=words[:60], at=words[:200])
    sensors = dataclasses.replace(whole.info.sensors, channels=(channel,) * 20)
    rig = dataclasses.replace(whole.rig, note=words * 10)
    main = dataclasses.replace(whole.main, rig=rig)
    monkeypatch.setattr(Reviewed, "shown", lambda self, units: review)
    full = dataclasses.replace(
        whole, reviewed=dataclasses.replace(whole.reviewed, main=main),
        info=dataclasses.replace(whole.info, sensors=sensors),
    )  # fmt: skip
    monkeypatch.setattr("dashboard.export.report_html.whole_session", lambda *args: full)
    assert pages(printed(report(SAMPLES[0]), tmp_path, paper)) <= 4
