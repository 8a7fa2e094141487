"""The standing cautions are listed once and stand on every page, in the report and in the README."""

from __future__ import annotations

import html
import json
from importlib.resources import files
from pathlib import Path

import pytest

from dashboard.export.report_html import report
from dashboard.live.page_shell import layout
from dashboard.plan import page as plan_page
from dashboard.plan.planned_rig import PlannedRig
from dashboard.review import page as review_page
from dashboard.text.cautions import CAUTIONS

ROOT = Path(__file__).parents[4]


@pytest.mark.parametrize(
    "words", ["Chock the load", "hitch that has not been set", "Tend the capture"]
)
def test_what_has_hurt_crews_is_among_them(words):
    assert sum(words in caution for caution in CAUTIONS) == 1


def plan():
    return plan_page.page([PlannedRig(str(files("analysis") / "rigs" / "3.toml"))], "metric")


def review():
    return review_page.page("session")


def printed():
    return report(ROOT / "sample_logs" / "stone-sill")


def readme():
    return " ".join((ROOT / "README.md").read_text("utf-8").split())


def live():
    return json.dumps(layout().to_plotly_json(), default=lambda part: part.to_plotly_json())


@pytest.mark.parametrize("made", [plan, review, live, printed], ids=lambda made: made.__name__)
def test_each_page_shows_them_all(made):
    text = html.unescape(made())
    assert [caution for caution in CAUTIONS if caution not in text] == []


@pytest.mark.parametrize("words", [
    "out of the line of pull", "over a rating", "Chock the load before a pulley is moved.",
    "Never trust a hitch that has not been set.", "Tend the capture", "qualified person",
])  # fmt: skip
def test_the_readme_opens_with_them(words):
    assert any(words in caution for caution in CAUTIONS)
    text = readme()
    assert words in text[: text.index("## Five minutes")]
