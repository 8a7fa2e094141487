"""The review page's shell, empty; `assets/review.js` asks for what stands in it, and puts it in as text."""

from __future__ import annotations

from html import escape

from dashboard.live.page_shell import CAUTIONS
from logger.errors import one_line

PLOTLY = "/_dash-component-suites/plotly/package_data/plotly.min.js"
SCRIPTS = ("/assets/format.js", PLOTLY, "/assets/review_plots.js", "/assets/review.js")
UNITS = (("metric", "metric"), ("us", "US"))
MOVES = (
    ("in", "+", "zoom in"), ("out", "−", "zoom out"), ("left", "◀", "earlier"), ("right", "▶", "later"),
    ("all", "whole session", "the whole session"),
)  # fmt: skip
HINT = (
    "Keys on the plot: ← → along the readings, Shift with them moves the window, + − zoom, 0 the whole "
    "session. With a mouse: drag to zoom in, double click for the whole session."
)


def page(name: str, shown: str = "metric") -> str:
    """The whole page; name: of the session's folder; shown: the units in which it begins."""
    units = "".join(
        f'<button type="button" data-units="{value}" aria-pressed="false">{text}</button>'
        for value, text in UNITS
    )
    moves = "".join(
        f'<button type="button" data-move="{value}" aria-label="{label}">{text}</button>'
        for value, text, label in MOVES
    )
    cautions = "".join(f"<li>{escape(text)}</li>" for text in CAUTIONS)
    scripts = "".join(f'<script src="{address}" defer></script>' for address in SCRIPTS)
    title = escape(one_line(name, 120))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="dark light"><link rel="icon" href="data:,">'
        '<link rel="stylesheet" href="/assets/page.css"><link rel="stylesheet" href="/assets/review.css">'
        f"<title>review: {title}</title>{scripts}</head>\n"
        f'<body><div id="page" class="review" data-shown="{escape(shown)}">'
        f'<header><div class="who"><h1 id="title">{title}</h1><span id="sub"></span></div>'
        f'<div class="tools"><div role="group" aria-label="units">{units}</div>'
        '<a class="way" href="./">Live page</a></div></header>'
        '<div id="what-if" role="status" hidden><strong>WHAT IF</strong> <span id="what-if-said"></span> '
        '<button type="button" id="what-if-off">back to the record</button></div>'
        '<div id="fault" role="alert" hidden></div>'
        "<main>"
        '<section class="tile result"><h2>Result</h2><div id="sentences">reading the session …</div></section>'
        '<section class="tile side mind"><h2>Mind</h2>'
        f'<ul>{cautions}</ul><ul id="warnings"></ul></section>'
        '<section class="tile full"><h2>Measured against predicted, each with its expanded uncertainty '
        '(95 %)</h2><div id="results"></div><p class="note" id="verdict"></p></section>'
        '<section class="tile full"><div class="row"><h2>Force and travel over time</h2>'
        f'<div class="moves" role="group" aria-label="the window of time">{moves}'
        '<form id="go"><input id="go-to" inputmode="decimal" autocomplete="off" aria-label="go to second" '
        'placeholder="go to, s"><button>go</button></form></div></div>'
        '<div id="time-key" class="keys"></div>'
        '<div class="plot" id="time-plot" tabindex="0" role="group" aria-label="force and travel over time" '
        'aria-describedby="time-hint time-read"></div>'
        '<p id="time-read" class="read" aria-live="polite"></p>'
        f'<p class="note" id="time-note"></p><p class="note hint" id="time-hint">{escape(HINT)}</p></section>'
        '<section class="tile half"><div class="row"><h2>Force against travel</h2>'
        '<select id="loop-of" aria-label="which stroke"></select></div>'
        '<div class="keys" id="loop-key"></div>'
        '<div class="plot small" id="loop-plot" role="img" aria-labelledby="loop-said"></div>'
        '<p class="note" id="loop-said"></p></section>'
        '<section class="tile half"><h2>Efficiency, stroke by stroke</h2><div class="keys" id="each-key"></div>'
        '<div class="plot small" id="each-plot" role="img" aria-label="efficiency by stroke, as in the table '
        'of strokes"></div><p class="note" id="each-note"></p></section>'
        '<section class="tile full"><h2>Strokes</h2><div id="strokes" class="scroll" tabindex="0" role="group" aria-label="table of strokes"></div></section>'
        '<section class="tile half tall"><h2>Highest forces, inferred or read</h2><p class="note">From the haul '
        "cell and the rig without friction, the most there was while hauling, unless a cell sits there. A shock "
        "between two readings, or a load lowered or held by a capture, may have been more."
        '</p><div id="peaks" class="scroll" tabindex="0" role="group" aria-label="table of the highest forces"></div>'
        '<p class="note" id="unrated"></p></section>'
        '<section class="tile half"><div class="row"><h2>Uncertainty budget</h2>'
        '<select id="budget-of" aria-label="of which quantity"></select></div><div id="budget"></div></section>'
        '<section class="tile half" id="try"><h2>What if</h2><p class="note">Recomputed beside the record, which '
        "stays as it is. Not a measurement.</p>"
        '<div class="ask"><label for="e">every pulley with efficiency</label><input id="e" type="range" '
        'step="0.01"><output id="e-said" for="e"></output></div>'
        '<div class="ask" id="rigs" role="group" aria-label="another rig"></div><div id="compare"></div></section>'
        '<section class="tile full"><h2>What happened</h2><div id="events" class="scroll" tabindex="0" role="group" aria-label="table of what happened"></div></section>'
        "</main></div></body></html>\n"
    )
