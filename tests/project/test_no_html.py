"""HTML stands in templates alone: no tag in a Python string, and every template escapes its values."""

import ast
import re

import pytest
from support.places import ROOT

from dashboard.text.templates import environment

DASHBOARD = ROOT / "dashboard"
FILES = sorted(DASHBOARD.rglob("*.py"))
TEMPLATES = sorted(DASHBOARD.glob("*/templates/*"))
TAG = re.compile(r"</?([a-z][a-z0-9]*)[ />]|<(![A-Za-z]+)")
SVG = {"svg", "g", "title", "line", "path", "rect", "circle", "polygon", "text"}

# file: (tags that its strings may hold, why)
TAGS_IN_PYTHON = {
    "dashboard/figures/to_svg.py": (SVG, "draws a plot as SVG"),
    "dashboard/rig_drawing/drawing.py": (SVG, "draws a rig as SVG"),
    "dashboard/web/dash_page.py": (
        {"script"},
        "a pattern removes script elements that Dash made",
    ),
}
# file: what it may call; nothing else enters a template unescaped
UNESCAPED = {
    "dashboard/text/templates.py": {"Markup"},  # inside svg_markup
    "dashboard/export/report_html.py": {"svg_markup"},  # the rig and the plots of the report
    "dashboard/export/crew_card.py": {"svg_markup"},  # the rig
    "dashboard/convert_page/desk_page.py": {"svg_markup"},  # the rig after each move
    "dashboard/export/conversion_html.py": {"svg_markup"},  # the rig after each move
}


def docstrings(tree):
    """Syntax nodes of all docstrings."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                yield first.value


def tags_in_strings(path):
    """(line, tag) of each tag in a string of a module, outside docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    ignored = set(docstrings(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in ignored:
            for match in TAG.finditer(node.value):
                yield node.lineno, match[1] or match[2]


def calls(path):
    """Names of all functions that a module calls."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            yield (
                node.func.attr
                if isinstance(node.func, ast.Attribute)
                else getattr(node.func, "id", "")
            )


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_python_string_holds_a_tag(path):
    allowed, _ = TAGS_IN_PYTHON.get(str(path.relative_to(ROOT)), (set(), ""))
    assert [(line, tag) for line, tag in tags_in_strings(path) if tag not in allowed] == []


def test_the_search_sees_tags_in_plain_and_in_formatted_strings(tmp_path):
    path = tmp_path / "module.py"
    path.write_text(
        '"""<p>"""\na = "<ul>" + f"<td class={1}></h2>"\nb = "a < b, <!DOCTYPE html>"\n'
    )
    assert sorted(tags_in_strings(path)) == [(2, "h2"), (2, "td"), (2, "ul"), (3, "!DOCTYPE")]


def test_every_listed_exception_is_still_needed():
    for name in TAGS_IN_PYTHON:
        assert list(tags_in_strings(ROOT / name)), name


def test_every_template_is_of_the_one_environment_which_escapes():
    assert environment().autoescape is True
    names = {f"{path.parent.parent.name}/{path.name}" for path in TEMPLATES}
    assert names and names == set(environment().list_templates())
    for name in names:
        environment().get_template(name)  # its syntax is right
    value = environment().from_string("{{ x }}").render(x="<b>&'\"")
    assert value == "&lt;b&gt;&amp;&#39;&#34;"


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_template_turns_escaping_off(path):
    text = path.read_text("utf-8")
    for expression in re.findall(r"\{[{%](.*?)[}%]\}", text, re.S):
        assert not re.search(r"\bsafe\b|autoescape|Markup|__html__", expression), expression


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_markup_enters_templates_in_the_listed_places_alone(path):
    allowed = UNESCAPED.get(str(path.relative_to(ROOT)), set())
    assert {"Markup", "svg_markup", "from_string", "Environment"} & set(calls(path)) <= allowed | (
        {"Environment"} if path.name == "templates.py" else set()
    )
