"""Renders HTML from the Jinja2 templates of the packages of `dashboard`; every value is escaped.

A template lies in `dashboard/PACKAGE/templates` and is named "PACKAGE/FILE".  Jinja2 is imported at
the first rendering, because a command without a page need not load it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

DASHBOARD = Path(__file__).parents[1]


@cache
def environment() -> Environment:
    """The environment of all templates: autoescape on, a name without a value is an error."""
    from jinja2 import Environment, FileSystemLoader, PrefixLoader, StrictUndefined

    folders = sorted(DASHBOARD.glob("*/templates"))
    return Environment(
        loader=PrefixLoader({folder.parent.name: FileSystemLoader(folder) for folder in folders}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )


def render(template: str, **values: object) -> str:
    """The HTML of a template ("plan/page.html.j2") with these values."""
    return environment().get_template(template).render(values)


def svg_markup(svg: str) -> Markup:
    """Mark a drawing of `rig_drawing` or `figures` as markup, which a template does not escape.

    Both escape the texts that they draw.  Nothing else enters a template unescaped.
    """
    from markupsafe import Markup

    return Markup(svg)
