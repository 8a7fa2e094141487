"""The plan page's shell: one or two rigs, empty; `assets/plan.js` asks for what stands in it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from analysis.mechanics.what_if import LEAST_E, MOST_E
from dashboard.plan.planned_rig import Planned

CAUTIONS = (
    "Stay out of the line of pull, and out of every angle a rope could whip through.",
    "Never trust a prediction over a rating: what is written on rope, pulley and shackle stands.",
    "Local codes and a qualified person come before anything on this page.",
)
CHOICES = (
    ("units", "units", (("metric", "metric"), ("us", "US"))),
    ("labels", "on the strands", (("t", "times T"), ("force", "force"))),
    ("mode", "grabs reset", (("each", "each alone"), ("together", "all together"))),
)


def page(plans: Sequence[Planned], units: str) -> str:
    """The whole page; what a file says about itself is escaped text."""
    title = " beside ".join(p.rig.title or p.path.name for p in plans)
    rigs = "".join(_rig(k, p) for k, p in enumerate(plans))
    several = " two" if len(plans) > 1 else ""
    side = '<section id="compare" class="tile"></section>' if len(plans) > 1 else ""
    cautions = "".join(f"<li>{c}</li>" for c in CAUTIONS)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="dark light">'
        '<link rel="icon" href="data:,">'
        '<link rel="stylesheet" href="/assets/page.css"><link rel="stylesheet" href="/assets/plan.css">'
        f"<title>plan: {escape(title)}</title>"
        '<script src="/assets/format.js" defer></script><script src="/assets/plan.js" defer></script></head>\n'
        f'<body><div id="page" class="plan{several}" data-units="{escape(units)}" data-rigs="{len(plans)}">'
        f"<header><h1>Plan: {escape(title)}</h1></header>"
        f"{_controls()}"
        '<div id="plan-fault" role="alert" hidden></div>'
        f'<main class="plan-main">{side}<div class="rigs">{rigs}</div>'
        f'<section class="tile mind"><h2>Mind</h2><ul>{cautions}</ul></section></main></div></body></html>\n'
    )


def _controls() -> str:
    groups = ""
    for name, label, choices in CHOICES:
        buttons = "".join(
            f'<button type="button" data-set="{name}" value="{value}" aria-pressed="false">{text}</button>'
            for value, text in choices
        )
        groups += f'<div class="choice" role="group" aria-label="{label}"><span>{label}</span>{buttons}</div>'
    return (
        f'<div id="controls">{groups}'
        '<div class="choice whatif"><label for="e">what if every pulley had efficiency</label>'
        f'<input id="e" type="range" min="{LEAST_E}" max="{MOST_E}" step="0.01" value="0.9">'
        '<output id="e-said" for="e">file</output>'
        '<button type="button" id="e-off" disabled>as in the file</button></div>'
        '<button type="button" id="again">read the file again</button></div>'
    )


def _rig(k: int, planned: Planned) -> str:
    name = escape(planned.rig.title or planned.path.name)
    return (
        f'<article class="rig" data-rig="{k}" aria-label="{name}">'
        f'<div class="titled"><h2 class="name">{name}</h2><span class="file">{escape(planned.path.name)}</span></div>'
        '<p class="fault" role="alert" hidden></p><div class="content">'
        f'<p class="said"></p><div class="top"></div>'
        '<section class="tile drawn"><h2>The job, step by step</h2>'
        '<p class="frame-text" aria-live="polite"></p>'
        '<div class="walk"><button type="button" class="back" aria-label="one step back">◀</button>'
        '<input type="range" class="frame" min="0" max="0" step="1" value="0" aria-label="walk the job">'
        '<button type="button" class="on" aria-label="one step on">▶</button></div>'
        '<div class="drawing"></div><p class="note frame-more"></p><p class="note key">'
        "wheel: pulley · lozenge: grab · toothed wedge: capture · hill: edge · square: tie · hexagon: gear. "
        "T is the haul tension; thicker is more tension. Along the page to scale, moved apart where bodies come close.</p></section>"
        '<div class="tables"></div></div></article>'
    )
