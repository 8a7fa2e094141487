"""The plots as values: the peaks are in them, the bands are the review's, texts are harmless."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import plotly.graph_objects as go
import pytest
from support.sealed_sessions import made

from analysis.live.haul_levels import haul_levels
from analysis.review.reviewed_session import whole_session
from dashboard.figures.session_figures import efficiency_by_stroke, force_over_time, work_loop
from dashboard.figures.spec import Curve, Figure, PlotMark
from dashboard.figures.to_plotly import plotly
from dashboard.figures.to_svg import svg


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return whole_session(
        made(tmp_path_factory.mktemp("s") / "s", strokes=3, hz=200.0, peak_N=900.0, marks=2)
    )


def test_no_peak_is_lost_in_thinning(whole):
    figure = force_over_time(whole)
    line = figure.lines[0]
    assert len(line.x) < 1500 < len(whole.block.readings["haul_force"].time_s)
    assert np.nanmax(line.y) == 900.0
    assert figure.y_range()[1] > 900.0 and figure.y_label == "haul force, N"


def test_bands_and_dots_are_the_reviews(whole):
    review = whole.review
    figure = efficiency_by_stroke(review)
    (dots,) = figure.dots
    assert list(dots.y) == [s["efficiency"]["value"] for s in review["strokes"]]
    assert list(dots.high - dots.y) == pytest.approx(
        [s["efficiency"]["U95"] for s in review["strokes"]]
    )
    band = next(b for b in figure.bands if b.kind == "measured")
    middle = review["measured"]["efficiency"]
    assert (band.y0, band.y1) == pytest.approx(
        (middle["value"] - middle["U95"], middle["value"] + middle["U95"])
    )
    strokes = [b for b in force_over_time(whole).bands if b.kind == "stroke"]
    assert [(b.x0, b.x1) for b in strokes] == [
        (s["start_s"], s["end_s"]) for s in review["strokes"]
    ]


def test_the_area_of_the_loop_is_the_work(whole):
    # trapezoid rule over rope: what was hauled minus nothing on the way back
    line = work_loop(whole).lines[0]
    area = float(np.sum((line.y[1:] + line.y[:-1]) / 2 * np.diff(line.x)))
    assert area == pytest.approx(whole.review["measured"]["work_in_J"], rel=0.02)


def test_a_gap_in_the_readings_breaks_the_line(tmp_path):
    session = made(tmp_path / "s", hz=20.0)
    lines = (session / "readings.csv").read_text("utf-8").splitlines(keepends=True)
    kept = [
        line
        for line in lines
        if not line[0].isdigit() or not 8.0 < float(line.split(",")[0]) < 14.0
    ]
    (session / "readings.csv").write_text("".join(kept), "utf-8")
    line = force_over_time(whole_session(session)).lines[0]
    assert np.isnan(line.y).sum() == 1


@pytest.mark.parametrize(
    "make", [force_over_time, work_loop, lambda whole: efficiency_by_stroke(whole.review)]
)
def test_both_renderings_take_every_figure(whole, make):
    figure = make(whole)
    ET.fromstring(svg(figure))
    assert len(go.Figure(plotly(figure)).data) == len(figure.lines) + len(figure.dots)


def test_texts_are_harmless():
    bad = '<script>alert("x")</script>'
    figure = Figure(
        bad,
        bad,
        bad,
        (Curve(bad, np.array([0.0, 1.0]), np.array([0.0, 1.0])),),
        marks=(PlotMark(0.5, bad, bad),),
    )
    for text in (svg(figure), svg(Figure(bad, bad, bad, nothing=bad))):
        assert "<script" not in text
        ET.fromstring(text)
    assert "<script" not in str(plotly(figure))


def test_the_stop_level_of_each_chapter_is_a_line_as_far_as_the_chapter_reaches(whole):
    measured, stop = force_over_time(whole).lines
    level_N = haul_levels(whole.result.roles, whole.rig_model).stop_N
    assert level_N is not None and stop.kind == "stop" and list(stop.y) == [level_N, level_N]
    assert stop.x.tolist() == [measured.x[0], measured.x[-1]]
    loop, level = work_loop(whole).lines
    assert level.x.tolist() == [loop.x.min(), loop.x.max()] and list(level.y) == [level_N, level_N]
    assert force_over_time(whole).y_range()[1] > level_N
    first = dataclasses.replace(whole.main, to_s=10.0)
    second = dataclasses.replace(whole.main, number=1, from_s=10.0)
    chapters = dataclasses.replace(whole.reviewed, chapters=(first, second))
    two = force_over_time(dataclasses.replace(whole, reviewed=chapters)).lines[1:]
    assert [line.x.tolist() for line in two] == [[measured.x[0], 10.0], [10.0, measured.x[-1]]]


def test_a_session_without_a_rating_or_stop_at_has_no_stop_level(tmp_path):
    session = made(tmp_path / "s", ratings="")
    rig = session / "rig.toml"
    rig.write_text(re.sub(r"mbs_kN = .*\n", "", rig.read_text("utf-8")), "utf-8")
    assert len(force_over_time(whole_session(session)).lines) == 1
