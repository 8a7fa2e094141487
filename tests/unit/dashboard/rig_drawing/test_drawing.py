"""The drawing of a rig: nothing hides anything, whatever the rig, the step of the job and the width."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from support.places import DEMO, SHELF
from support.rigs import rig, rigs, with_distance

from analysis.mechanics.model import model, reset_setbacks
from analysis.mechanics.travel import job
from analysis.prediction.job_frames import job_frames
from analysis.rig_file.load import load_rig, parse_rig
from dashboard.plan.tables import tension
from dashboard.rig_drawing.drawing import drawing, in_words
from dashboard.rig_drawing.layout import lay_out

SVG = "{http://www.w3.org/2000/svg}"
WIDTHS = (350, 610, 1200)  # a phone, half of a screen, a screen
CLEAR_PX = 4.0


def with_strokes(rig_):
    """The rig with a distance to haul, so that its job has more than one stroke."""
    return rig_ if rig_.load.pull_distance_m is not None else with_distance(rig_, 6.0)


def steps(rig_):
    """Body positions at the start, on the way, two-blocked, after a reset and at the end, and labels there."""
    frames = job_frames(rig_, job(rig_, "each", reset_setbacks(model(rig_)))).frames
    firsts = {frame.kind: frame for frame in reversed(frames)}
    for frame in [*firsts.values(), frames[len(frames) // 3], frames[-2]]:
        rig_model = model(rig_, frame.x_m)
        yield frame.x_m, rig_model, [tension(float(t)) for t in rig_model.tension]


def sampled(plan):
    """Places along every strand, (strands, 61, 2), from its first end to its last."""
    parts = np.linspace(0, 1, 61)[:, None]
    return np.array([(1 - parts) * (r.x0, r.y0) + parts * (r.x1, r.y1) for r in plan.runs])


def strands_apart(plan) -> None:
    """No place in the middle of a strand is near a place of another."""
    places = sampled(plan)
    for k, mine in enumerate(places):
        others = np.vstack([np.delete(places, k, axis=0).reshape(-1, 2), [[-1e6, 0.0]]])
        gaps = np.linalg.norm(mine[12:49:3, None] - others[None], axis=2)
        assert gaps.min() > CLEAR_PX, (plan.runs[k], gaps.min())


def labels_apart(plan) -> None:
    places = sampled(plan).reshape(-1, 2)
    for k, one in enumerate(plan.labels):
        box = one.box
        assert box.x0 >= 0 and box.x1 <= plan.width, one
        assert box.y0 >= 0 and box.y1 <= plan.height, one
        for other in plan.labels[:k]:
            assert box.overlap(other.box) == 0, (one, other)
        inside = (places > (box.x0, box.y0)) & (places < (box.x1, box.y1))
        assert not inside.all(axis=1).any(), one


def each_tension_is_read_with_its_own_strand(rig_, plan) -> None:
    names = {strand.name: k for k, strand in enumerate(rig_.strands)}
    places = sampled(plan)
    for label in plan.labels:
        if label.kind == "tension":
            off = np.linalg.norm(places - (label.x, label.y), axis=2).min(axis=1)
            mine = next(k for k, run in enumerate(plan.runs) if run.strand == names[label.name])
            assert off[mine] <= off.min() + 1.0, label


@pytest.mark.parametrize("path", [*SHELF, DEMO], ids=lambda p: p.stem)
def test_no_strand_and_no_label_hides_another_at_any_step_of_the_shelf(path):
    found = with_strokes(load_rig(path))
    for x_m, known, texts in steps(found):
        shares = [f"{99.9 * t:.0f} N" for t in known.tension]
        for width in WIDTHS:
            for said in (texts, shares) if width == WIDTHS[0] else (texts,):
                plan = lay_out(found, x_m, said, width)
                strands_apart(plan)
                labels_apart(plan)
                each_tension_is_read_with_its_own_strand(found, plan)
                assert {run.strand for run in plan.runs} == set(range(len(found.strands)))


def thirty() -> str:
    """Eight 3:1 one on the other, an edge before the haul: 30 stations and more."""
    words = ["tie:load"]
    for k in range(8):
        words += [
            f"grab:G{k}@{90 - 4 * k}",
            f"capture:C{k}@anchor",
            f"pulley:A{k}@anchor",
            f"pulley:T{k}@G{k}",
        ]
    return " ".join([*words, "edge:E1@2,60,0.3", "haul"])


@pytest.mark.parametrize("width", [350, 1200])
def test_thirty_stations_stay_apart(width):
    found = rig(thirty())
    plan = lay_out(found, found.start_m, [tension(float(t)) for t in model(found).tension], width)
    strands_apart(plan)
    if width > 600:
        labels_apart(plan)


@settings(max_examples=25, deadline=None)
@given(rigs())
def test_strands_of_any_rig_stay_apart(rig_):
    plan = lay_out(rig_, rig_.start_m, ["1.23 T"] * len(rig_.strands), 900)
    strands_apart(plan)


def test_bodies_keep_their_order_and_their_scale_where_there_is_room():
    found = rig(
        "tie:load grab:G1@80 pulley:A1@anchor pulley:T1@G1 grab:G2@30 pulley:A2@anchor pulley:T2@G2 haul"
    )
    plan = lay_out(found, found.start_m, ["1 T"] * len(found.strands), 1200)
    at = {found.bodies[bar.body].name: bar.x for bar in plan.bars}
    assert at["anchor"] < at["G2"] < at["G1"] < at["load"]
    scale = (at["load"] - at["anchor"]) / 100
    assert at["G1"] - at["anchor"] == pytest.approx(80 * scale)
    assert at["G2"] - at["anchor"] == pytest.approx(30 * scale)


def drawn(rig_, **more):
    rig_model = model(rig_)
    texts = [tension(float(t)) for t in rig_model.tension]
    return ET.fromstring(drawing(rig_, rig_.start_m, rig_model.tension, texts, **more)), texts


def test_every_strand_and_part_is_named_for_a_page_that_fills_it():
    found = load_rig(DEMO)
    root, texts = drawn(found)
    assert [n.get("data-strand") for n in root.iter() if n.get("data-strand")] == [
        s.name for s in found.strands
    ]
    labelled = {n.get("data-tension"): n.text for n in root.iter() if n.get("data-tension")}
    assert labelled == dict(zip([s.name for s in found.strands], texts, strict=True))
    elements = {n.get("data-element") for n in root.iter() if n.get("data-element")}
    assert elements >= {"A1", "T1", "A2", "T2", "G1", "G2", "C1", "anchor", "load", "K1"}
    for group in root.iter(f"{SVG}g"):
        assert group.find(f"{SVG}title").text


def test_each_kind_has_a_shape_of_its_own():
    found = parse_rig(
        """
anchor_to_load_m = 30.0
[plate.B1]
at_m = 20.0
[[rope]]
name = "main"
path = [ { tie = "load" }, { grab = "G1", at_m = 26.0 }, { edge = "E1", at_m = 22.0, wrap_deg = 30, friction = 0.3 },
  { capture = "C1", on = "anchor" }, { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "B1" }, { haul = "team" } ]
[[rope]]
name = "second"
path = [ { tie = "B1" }, { pulley = "T2", on = "G1" }, { tie = "anchor" } ]
[gear.K1]
carries = ["A1"]
""",
        "kinds.toml",
    )
    root, _ = drawn(found)
    shapes = {}
    for group in root.iter(f"{SVG}g"):
        name = group.get("data-element")
        if name:
            shapes[name] = tuple(
                (n.tag.removeprefix(SVG), len((n.get("points") or "").split()))
                for n in group if n.tag.removeprefix(SVG) not in ("title", "text")
            )  # fmt: skip
    kinds = [shapes[n] for n in ("A1", "G1", "E1", "C1", "B1", "K1")]
    assert len(set(kinds)) == len(kinds), shapes
    words = {n.text for n in root.iter(f"{SVG}text")}
    assert {"A1", "G1", "E1", "C1", "B1", "team"} <= words


def test_more_tension_is_thicker_and_a_slack_tail_is_dashed():
    found = load_rig(SHELF[0].with_name("4-second-rope.toml"))
    known = model(found)
    root, _ = drawn(found)
    wide, dashed = {}, set()
    for group in root.iter(f"{SVG}g"):
        if name := group.get("data-strand"):
            line = group.findall(f"{SVG}line")[1]
            wide[name] = float(line.get("stroke-width"))
            if line.get("stroke-dasharray"):
                dashed.add(name)
    by_tension = [
        s.name
        for _, s in sorted(zip(known.tension, found.strands, strict=True), key=lambda p: p[0])
    ]
    widths = [wide[name] for name in by_tension]
    assert widths == sorted(widths) and widths[-1] > widths[0] + 3
    assert dashed == {"C1>free"}


HOSTILE = "<script>\"&'x"


def test_hostile_names_stay_text():
    found = rig("tie:load grab:G1@50 pulley:A1@anchor pulley:T1@G1 haul")
    stations = tuple(replace(s, name=HOSTILE) if s.name == "A1" else s for s in found.stations)
    strands = tuple(replace(s, name=s.name.replace("A1", HOSTILE)) for s in found.strands)
    bad = replace(found, stations=stations, strands=strands)
    texts = [HOSTILE] * len(strands)
    text = drawing(bad, bad.start_m, None, texts, notes={HOSTILE: HOSTILE})
    root = ET.fromstring(text)  # well-formed, so nothing has got out of its place
    assert "<script" not in text
    assert not list(root.iter(f"{SVG}script"))
    assert any(n.get("data-element") == HOSTILE for n in root.iter())
    assert HOSTILE in root.get("aria-label")


def test_long_names_are_cut_in_the_picture_and_whole_where_one_points():
    name = "A pulley with a name of forty letters or"
    found = rig(f"tie:load grab:G1@50 pulley:{name.replace(' ', '_')}@anchor pulley:T1@G1 haul")
    root, _ = drawn(found, width=350)
    texts = [n.text for n in root.iter(f"{SVG}text")]
    assert any(t.endswith("…") and t.startswith("A_pul") for t in texts)
    titles = [n.text for n in root.iter(f"{SVG}title")]
    assert any(name.replace(" ", "_") in t for t in titles)


def test_the_alternative_text_follows_the_rope():
    found = load_rig(DEMO)
    root, texts = drawn(found)
    said = root.get("aria-label")
    assert root.get("role") == "img" and said == in_words(found, texts)
    order = ["tied to load", "grab G1", "capture C1 on anchor", "pulley A1 on anchor", "pulley T1 on G1",
             "grab G2", "pulley A2 on anchor", "pulley T2 on G2", "team hauls here"]  # fmt: skip
    places = [said.index(words) for words in order]
    assert places == sorted(places)
    assert all(text in said for text in texts)


def test_it_stands_alone_on_paper():
    """No reference to elsewhere, and every colour that a page may set has one that reads on white."""
    found = load_rig(DEMO)
    known = model(found)
    text = drawing(found, found.start_m, known.tension, ["1 T"] * len(known.tension))
    assert not re.search(r"url\(|href|<style|<script", text)
    for use in re.findall(r"var\([^)]*\)", text):
        assert re.fullmatch(r"var\(--[a-z0-9-]+,#[0-9a-f]{6}\)", use), use


def test_a_rig_that_locks_up_is_drawn_without_numbers():
    found = load_rig(DEMO)
    text = drawing(found, found.start_m, None, ["—"] * len(found.strands))
    assert len(ET.fromstring(text).findall(f".//{SVG}text[@data-tension]")) == len(found.strands)
