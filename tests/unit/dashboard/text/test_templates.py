"""Texts from files, folders and people stay text on every page that a template makes."""

from __future__ import annotations

import pytest
from support.sealed_sessions import RATINGS, STATIONS, made

from analysis.conversion.convert import convert
from dashboard.convert_page.desk_page import convert_html
from dashboard.desk.desk_page import Desk
from dashboard.desk.strip import STEPS, StripItem
from dashboard.desk_server.step_pages import StepNotice
from dashboard.export.conversion_html import conversion_page
from dashboard.export.crew_card import crew_card
from dashboard.export.report_html import report
from dashboard.live.page_shell import ENTRY, STYLES
from dashboard.plan.page import page as plan_page
from dashboard.plan.planned_rig import PlannedRig
from dashboard.plan.tables import about, comparison, tables, top
from dashboard.review.page import page as review_page
from dashboard.text.templates import environment, render
from dashboard.text.units import METRIC
from dashboard.watch.entry_routes import routes
from dashboard.watch.session_list import page as session_list
from dashboard.web import assets
from dashboard.web.dash_page import index
from dashboard.web.sharing import Sharing

html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")

HOSTILE = "</td></title><script>alert(1)</script><img src=x onerror='alert(2)'>&lt;&amp;"
LEAST_SHOWN = 30  # characters, which hold an end tag
NAME = "<b class='x'"  # of a part of a rig, which holds no ">"
PARTS = ("about", "top", "tables", "comparison")  # templates of the plan page that are no document


def pages(folder, text, name):
    """Every page by the name of its template, made of files that hold the text and the name wherever
    a file, a folder or a person may put one."""
    stations = [station.replace('"G1"', f'"{name}"') for station in STATIONS]
    ratings = RATINGS.replace("[grab.G1]", f'[grab."{name}"]')
    ratings = ratings.replace(
        "slips_at_kN = 4.0", "slips_at_kN = 0.4"
    )  # so that a warning names the grab
    folder.mkdir()
    session = made(
        folder / (text.replace("/", "-") or "session"),
        title=text, note=text, item=text, marks=2, mark=text, counter=name,
        stations=stations, ratings=ratings, top=f'source = "{text}"\n',
    )  # fmt: skip
    file = folder / f"{text.replace('/', '-')}.toml"
    file.write_text((session / "rig.toml").read_text("utf-8"), "utf-8")
    planned, rig_text = PlannedRig(file), file.read_text("utf-8")
    yard = folder.with_name(f"{folder.name}-yard")
    yard.mkdir()
    (yard / "launch.toml").write_text(rig_text, "utf-8")  # a name that the desk takes
    sharing = Sharing("192.168.1.20")
    sharing.codes["viewer"] = text
    items = tuple(StripItem(name, text, text) for name in STEPS)
    strip = render("desk/strip.html.j2", strip_items=items, strip_here=text, asset=assets.address)
    notice = render(
        "desk_server/notice.html.j2", notice=StepNotice(text, text, ((text, text),)),
        strip_items=items, strip_here=text, asset=assets.address,
    )  # fmt: skip
    (share,) = [route for route in routes(sharing) if route.pattern.pattern == "/share"]
    return {
        "review/page": review_page(text, text),
        "plan/page": plan_page([planned, planned], text),
        "plan/about": about(planned, 0.8),
        "plan/top": top(planned, 0.8, METRIC),
        "plan/tables": tables(planned, None, METRIC),
        "plan/comparison": comparison([planned, planned], None, "each", METRIC),
        "export/report": report(session, file),
        "watch/sessions": session_list(folder),
        "watch/share": share.handle(None).body.decode(),
        "web/index": index(text, ENTRY, STYLES),
        "desk/strip": strip,
        "desk_server/notice": notice,
        "export/card": crew_card(planned.rig),
        "export/conversion": conversion_page(convert(rig_text, rig_text), rig_text, rig_text),
        "convert_page/page": convert_html(Desk(yard, METRIC, text, sharing), "", ""),
    }


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """All pages with plain texts, and with hostile ones."""
    base = tmp_path_factory.mktemp("texts")
    return pages(base / "plain", "plain", "G1"), pages(base / "hostile", HOSTILE, NAME)


def elements(text, fragment):
    parse = html5lib.parseFragment if fragment else html5lib.parse
    tree = parse(text, treebuilder="etree", namespaceHTMLElements=False)
    return [node for node in tree.iter() if isinstance(node.tag, str)]


def is_fragment(name):
    return name == "desk/strip" or (
        name.startswith("plan/") and name.removeprefix("plan/") in PARTS
    )


def test_every_template_is_among_the_pages(both):
    listed = {name.removesuffix(".html.j2") for name in environment().list_templates()}
    taken_in = {"export/report.css", "export/table", "export/crew_sheet.css", "conversion/moves"}
    assert listed - taken_in == set(both[0])


@pytest.mark.parametrize("name", [
    "review/page", "plan/page", "plan/about", "plan/top", "plan/tables", "plan/comparison",
    "export/report", "watch/sessions", "watch/share", "web/index", "desk/strip",
    "desk_server/notice", "export/card", "export/conversion", "convert_page/page",
])  # fmt: skip
def test_hostile_texts_make_no_element_and_no_attribute(both, name):
    plain, hostile = (elements(pages[name], is_fragment(name)) for pages in both)
    shape = [[(node.tag, sorted(node.attrib)) for node in nodes] for nodes in (plain, hostile)]
    assert shape[0] == shape[1]
    texts = [text for node in hostile for text in (node.text, *node.attrib.values()) if text]
    if name != "plan/top":  # which shows no text of a file but names
        begins = HOSTILE[:LEAST_SHOWN]  # the rest of a long title is cut off
        assert any(begins in text or begins.replace("/", "-") in text for text in texts)


@pytest.mark.parametrize("name", ["plan/top", "plan/tables", "export/report"])
def test_a_hostile_name_of_a_part_is_shown_as_it_stands(both, name):
    texts = [node.text for node in elements(both[1][name], is_fragment(name)) if node.text]
    assert any(NAME in text for text in texts)
