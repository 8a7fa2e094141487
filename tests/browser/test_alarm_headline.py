"""The headline of an alarm on a phone of 390 px: what, how much of how much, and nothing of it is cut."""

from __future__ import annotations

import pytest
from support.growing_session import Growing
from support.processes import Watched
from support.rigs import three_to_one
from support.waiting import until

from analysis.mechanics.model import model
from analysis.prediction.alarm_headlines import parts_at_risk
from analysis.rig_file.load import parse_rig

pytestmark = pytest.mark.many  # further ways through pages that other tests open

NAME = (
    "middle-double-pulley-of-the-second-stage"  # 40 characters, the longest that a rig file takes
)
RIG = (
    three_to_one(knot=0.5)
    .replace('name = "main"\n', 'name = "main"\nmbs_kN = 102.0\n')
    .replace('"T1"', f'"{NAME}"')
    + f"[pulley.{NAME}]\nwll_kN = 4.0\n"
)
CLIPPED = """
return [...document.querySelectorAll('#alarms, #alarms *')].filter((n) => {
  const s = getComputedStyle(n);
  return n.scrollWidth > n.clientWidth + 1 && s.display !== 'inline' || s.textOverflow === 'ellipsis'
    || n.getBoundingClientRect().right > document.documentElement.clientWidth;
}).map((n) => n.tagName + '.' + n.className);
"""


def shown(browser, tmp_path, *units):
    session = Growing(tmp_path / "s", rig=RIG)
    for k in range(40):
        session.rows("haul_force", k / 10, 100.0 + k)
        session.clock(k / 10)
    at_risk = parts_at_risk(model(parse_rig(RIG, "rig.toml")))
    for value, what in ((8500.0, "knot at the load"), (4400.0, f"pulley {NAME}")):
        label = next(text for text, part in at_risk.items() if part.what.text() == what)
        session.event(3.0, "alarm", "haul_force", value, f"stop: {label}")
    session.event(3.0, "alarm", "haul_force", 1234.0, "caution: haul_force")
    with Watched(tmp_path / "s", *units) as page:
        browser.size(390, 800)
        browser.open(page.url)
        until(lambda: "knot at the load" in browser.text("alarms"), 15, "the alarms")
        text = browser.text("alarms")
        clipped = browser.js(CLIPPED)
        wide = browser.js("return document.documentElement.scrollWidth")
        below = browser.js(
            "return [...document.querySelectorAll('#alarms .words')].map((w) =>"
            " w.children[0].getBoundingClientRect().bottom <= w.children[1].getBoundingClientRect().top + 1"
            " && w.children[1].getBoundingClientRect().bottom <= w.children[2].getBoundingClientRect().top + 1)"
        )
    session.die()
    return text, clipped, wide, below


@pytest.mark.parametrize(
    ("units", "knot", "pulley"),
    [
        ([], "STOP: knot at the load, 8.5 of 5.1 kN", "4.4 of 4.0 kN"),
        (["--units", "us"], "STOP: knot at the load, 1900 of 1100 lbf", "990 of 900 lbf"),
    ],
)
def test_it_says_what_and_how_much_of_how_much_and_is_never_cut(
    browser, tmp_path, units, knot, pulley
):
    text, clipped, wide, below = shown(browser, tmp_path, *units)
    assert knot in text and f"STOP: pulley {NAME}, {pulley}" in text
    assert "…" not in text and clipped == [] and wide <= 390
    assert "breaking strength x 0.5 (knot) / 10" in text  # how the limit came about, below
    assert below[:2] == [True, True]
