"""Checks that every page of the desk passes in a browser: its width, and accessibility by axe-core."""

from __future__ import annotations

import json
from typing import Any

from support.places import ROOT

AXE = ROOT / "tests" / "browser" / "axe-core-4.14.1.min.js"
SERIOUS = """const done = arguments[0];
axe.run(document, {resultTypes: ['violations']}).then((r) => done(
  r.violations.filter((v) => ['serious', 'critical'].includes(v.impact)).map((v) => [v.id, v.nodes.map(
    (n) => n.target.join(' ') + ' ' + (n.any[0] ? n.any[0].message : '')).slice(0, 4)])))"""


def assert_fits(browser: Any, where: str) -> None:
    """No sideways scrolling, and nothing serious for axe-core; where: the page, for the text of the failure."""
    wide = browser.js(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0, f"{where}: {wide} px too wide"
    browser.js(AXE.read_text("utf-8") + "; window.axe = axe;")
    found = browser.driver.execute_async_script(SERIOUS)
    assert found == [], f"{where}: {json.dumps(found)}"
