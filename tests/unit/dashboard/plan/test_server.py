"""`haul plan`: the page's answers against `haul predict`'s and against arithmetic by hand."""

import html
import json
import re
import threading
import urllib.request
from urllib.error import HTTPError

import numpy as np
import pytest
from support.processes import ended, start_haul
from support.waiting import joined

from analysis.mechanics.model import model_ma_with
from analysis.mechanics.what_if import what_if
from analysis.prediction.predict import predict
from analysis.rig_file.load import load_rig
from dashboard.plan.planned_rig import PlannedRig, part_rows
from dashboard.plan.server import PlanServer
from dashboard.plan.tables import tables, tension, top
from dashboard.text.units import METRIC, SYSTEMS
from dashboard.web import assets

RATED = """
title = "Launch on its cradle"
note = "<b>own</b> & scenario"
anchor_to_load_m = 12.0
[defaults]
pulley_efficiency = 0.90
pulley_efficiency_u = 0.02
[load]
kind = "slope"
mass_kg = 900.0
slope_deg = 7.0
resistance_coefficient = 0.05
pull_distance_m = 6.0
[[rope]]
name = "main"
length_m = 30.0
mbs_kN = 28.0
path = [
  { tie = "load", strength = 1.0 }, { grab = "G1", at_m = 5.0 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" },
]
[pulley.A1]
mbs_kN = 20.0
item = "P-07"
[grab.G1]
slips_at_kN = 1.0
[limits]
design_factor = 7.0
"""
OTHER = (
    RATED.replace('"Launch on its cradle"', '"Straight pull"')
    .replace(
        """{ grab = "G1", at_m = 5.0 }, { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" },""",
        """{ pulley = "A1", on = "anchor" }, { haul = "team" },""",
    )
    .replace("[grab.G1]\nslips_at_kN = 1.0\n", "")
)


class Opened:
    """A plan server in a thread of this process."""

    def __init__(self, *paths, units="metric"):
        self.plans = [PlannedRig(path) for path in paths]
        self.server = PlanServer(self.plans, units)
        self.thread = threading.Thread(target=self.server.run)
        self.thread.start()

    def ask(self, path, **headers):
        request = urllib.request.Request(self.server.url + path.lstrip("/"), headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=600) as answer:
                return answer.status, answer.read().decode(), answer.headers
        except HTTPError as error:
            return error.code, error.read().decode(), error.headers

    def plan(self, query=""):
        status, body, _ = self.ask("/plan?" + query)
        assert status == 200, body
        return json.loads(body)

    def drawing(self, query=""):
        status, body, _ = self.ask("/drawing?" + query)
        assert status == 200, body
        return json.loads(body)

    def close(self):
        self.server.close()
        joined(self.thread)
        assert not self.thread.is_alive()


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plans")
    (folder / "one.toml").write_text(RATED, "utf-8")
    (folder / "two.toml").write_text(OTHER, "utf-8")
    return folder


@pytest.fixture(scope="module")
def page(files):
    opened = Opened(files / "one.toml", files / "two.toml")
    yield opened
    opened.close()


def figures(top):
    return {k: html.unescape(v) for k, v in re.findall(r'data-figure="(\w+)">([^<]*)<', top)}


def plain(markup):
    return html.unescape(re.sub(r"<[^>]+>", " ", markup)).replace("\u00a0", " ")


def test_the_figures_are_those_of_predict(page, files):
    known = predict(load_rig(files / "one.toml"))
    shown = figures(page.plan()["rigs"][0]["top"])
    assert shown["haul"] == METRIC.force_pm(known["haul_force_N"], known["haul_force_u_N"])
    assert shown["stop"] == METRIC.force(known["stop_hauling_at"]["haul_force_N"])
    assert shown["ideal"] == "3.00 : 1"
    assert float(shown["ma"].split()[0]) == pytest.approx(known["model_ma"], abs=0.01)
    top = plain(page.plan()["rigs"][0]["top"])
    assert known["stop_hauling_at"]["because"] in top
    assert f"{known['stop_hauling_at']['rated']} of {known['stop_hauling_at']['of']}" in top


def test_warnings_stand_before_every_figure(page):
    """12 m of rope in use on 30 m in the bag is enough; the grab's 1 kN is not."""
    top = page.plan()["rigs"][0]["top"]
    assert top.index("G1: ") < top.index("data-figure")
    assert "of its limit while raising" in plain(top)


def test_a_whatif_is_the_models_own_answer_and_leaves_the_file_alone(page, files):
    found = load_rig(files / "one.toml")
    before = (files / "one.toml").read_bytes()
    for e in (0.5, 0.8, 1.0):
        answer = page.plan(f"e={e:.2f}")["rigs"][0]
        shown = float(figures(answer["top"])["ma"].split()[0])
        assert shown == pytest.approx(model_ma_with(found, e), rel=0.01)
        # 1 + e + e^2 of a 3:1 whose two pulleys have efficiency e: geometric series, any textbook
        assert shown == pytest.approx(1 + e + e * e, rel=0.01)
        assert f"every pulley at {e:.2f}" in answer["said"]
    assert (files / "one.toml").read_bytes() == before
    assert "every pulley" not in page.plan()["rigs"][0]["said"]


def test_whatif_takes_the_pulleys_alone(files):
    found = load_rig(files / "one.toml")
    changed = what_if(found, 0.7)
    for was, now in zip(found.stations, changed.stations, strict=True):
        assert now.efficiency == (0.7 if was.kind == "pulley" else was.efficiency)
    assert what_if(found, None) is found


def test_units_are_switched_everywhere(page):
    metric, us = page.plan("units=metric")["rigs"][0], page.plan("units=us")["rigs"][0]
    newton, pound = (float(figures(r["top"])["stop"].split()[0]) for r in (metric, us))
    assert newton / pound == pytest.approx(4.4482216, rel=0.01)  # 1 lbf, NIST SP 811 appendix B
    assert " lbf" in plain(us["tables"]) and " ft" in plain(us["tables"])
    for text in (plain(us["tables"]), figures(us["top"])["haul"]):
        assert not re.search(r"\d (N|m)\b", text), text
    told = page.drawing("units=us&labels=force")
    assert " lbf" in told["svg"] and " ft" in told["more"][0]


def test_gear_is_sorted_by_share_and_the_unrated_come_last_by_name(files):
    planned = PlannedRig(files / "one.toml")
    rows = part_rows(planned.model(), planned.conditions())
    rated = [row for row in rows if row.limit_N is not None]
    assert [row.worst for row in rated] == sorted((row.worst for row in rated), reverse=True)
    assert rows[: len(rated)] == rated
    assert rows[0].name == "G1" and rows[0].worst > 1
    assert {row.name for row in rows[len(rated) :]} == {"T1", "C1", "anchor", "load"}
    known = planned.model()
    for row in rows:
        if row.limit_N is not None and row.reached_at_N is not None:
            # raising without friction it is reached then at the latest, held on C1 maybe before
            assert row.ideal * row.reached_at_N <= row.limit_N * (1 + 1e-9)
    assert min(r.reached_at_N for r in rated if r.reached_at_N) == pytest.approx(
        predict(known.rig)["stop_hauling_at"]["haul_force_N"]
    )


def test_gear_shows_every_condition_and_the_crews_own_mark(page):
    text = plain(page.plan()["rigs"][0]["tables"])
    for words in (
        "raising",
        "held on C1",
        "running back",
        "P-07",
        "unrated: 4 of",
        "these can be reset: G1",
    ):
        assert words in text, words


def test_the_tmethod_adds_up_at_every_station(page):
    """3:1 with e = 0.9: the haul's 1 T becomes 0.9 over T1 and 0.81 over A1; 1.9 on the grab, 2.71 in all
    (geometric series). Ideal 1, 1, 1; 2 on the grab; 3."""
    tables = page.plan()["rigs"][0]["tables"]
    table = re.search(r'<table class="tmethod">.*?</table>', tables, re.S)[0]
    rows = [plain(row) for row in re.findall(r"<tr.*?</tr>", table, re.S)]
    rows = [re.sub(r"\s+", " ", row).strip() for row in rows]
    assert "load>G1 3 T 2.71 T" in rows
    assert "grab G1: adds 1 + 2 = 3 T 0.81 + 1.90 = 2.71 T" in rows
    assert "pulley T1: pulls G1 with 1 + 1 = 2 T 0.90 + 1 = 1.90 T" in rows
    assert "pulley A1: pulls anchor with 1 + 1 = 2 T 0.81 + 0.90 = 1.71 T" in rows
    assert rows[-1] == "on the load 3 T 2.71 T"
    order = [next(k for k, row in enumerate(rows) if row.startswith(w)) for w in
             ("tied to load", "load>G1", "grab G1", "G1>C1", "capture C1", "pulley A1", "pulley T1", "T1>team", "team")]  # fmt: skip
    assert order == sorted(order)


def test_two_rigs_are_compared_on_the_same_rows(page, files):
    cells = r'<th scope="row">(.*?)</th>\s*<td>(.*?)</td>\s*<td>(.*?)</td>'
    rows = re.findall(cells, page.plan()["compare"])
    table = {name: (plain(a), plain(b)) for name, a, b in rows}
    assert {
        "rope through the hands",
        "strokes",
        "resets",
        "haul force",
        "rope needed",
        "hardware",
    } <= set(table)
    three, one = (predict(load_rig(files / name)) for name in ("one.toml", "two.toml"))
    assert table["rope through the hands"][0] == METRIC.length(
        three["job"]["each"]["haul_travel_m"]
    )
    assert "◂ less" in table["rope through the hands"][1]  # 6 m straight, 18 m through a 3:1
    assert "◂ less" in table["haul force"][0]
    assert METRIC.length(one["rope"][0]["needed_m"]) in table["rope needed"][1]
    assert table["strokes"][1].startswith("1")


def test_travel_says_rope_needed_against_rope_in_the_bag(page, files):
    known = predict(load_rig(files / "one.toml"))["rope"][0]
    text = plain(page.plan()["rigs"][0]["tables"])
    # 12 m from the load to the anchor, 5 m to the grab, 5 m on to the team; 3 m in hand, 1 m for the tie
    assert known["needed_m"] == pytest.approx(12 + 5 + 5 + 3 + 1)
    word = "enough" if known["enough"] else "NOT ENOUGH"
    assert f"{METRIC.length(known['needed_m'])} needed, 30.0 m in the bag: {word}" in text


def test_every_step_of_the_job_can_be_drawn(page):
    frames = page.plan()["rigs"][0]["frames"]
    kinds = []
    for k in range(frames):
        told = page.drawing(f"frame={k}&w=350")
        assert told["steps"] == frames and told["svg"].startswith("<svg")
        kinds.append(told["kind"])
    assert kinds[0] == "start" and kinds[-1] == "end"
    assert "two-blocked" in kinds and "reset" in kinds
    assert page.ask(f"/drawing?frame={frames}")[0] == 404


def test_strands_are_labelled_by_multiples_or_by_force(page, files):
    known = PlannedRig(files / "one.toml").model()
    for labels, shown in (
        ("t", tension(known.model_ma)), ("force", METRIC.force(known.model_ma * known.haul_force_N)),
    ):  # fmt: skip
        svg = page.drawing(f"labels={labels}&w=900")["svg"]
        assert re.search(rf'data-tension="load&gt;G1"[^>]*>{re.escape(shown)}<', svg)


def test_text_of_files_is_escaped(page):
    body = page.ask("/")[1]
    answer = page.plan()["rigs"][0]
    assert "<b>own</b>" not in body and "<b>own</b>" not in answer["said"]
    assert "&lt;b&gt;own&lt;/b&gt; &amp; scenario" in answer["said"]


@pytest.mark.parametrize("query", [
    "e=0.49", "e=1.01", "e=nan", "e=0.9e1", "e=-0.9", "e=0.9;1", "units=imperial", "mode=none", "labels=x",
])  # fmt: skip
def test_what_is_not_offered_is_refused(page, query):
    for route in ("/plan?", "/drawing?"):
        status, body, _ = page.ask(route + query)
        assert status == 400 and len(body) < 200 and "Traceback" not in body


def test_the_gate_stands_before_every_route(page):
    assert page.ask("/plan", Host="elsewhere.example")[0] == 421
    assert page.ask("/plan", Origin="http://elsewhere.example")[0] == 403
    for path in (
        assets.address("live/poll_loop.js"),
        "/assets/plan/plan.js",
        "/assets/../server.py",
        "/rig.toml",
        "/act/mark",
        "/since",
        "/plan/",
    ):
        assert page.ask(path)[0] in (400, 404), path
    for path in (
        "/",
        "/plan",
        "/drawing",
        assets.address("plan/plan.js"),
        assets.address("plan/plan.css"),
        assets.address("shared/page.css"),
    ):
        status, _, headers = page.ask(path)
        assert status == 200, path
        policy = headers["Content-Security-Policy"]
        script = re.search(r"script-src ([^;]*)", policy)[1].split()
        assert script == ["'self'"] and "default-src 'none'" in policy
    assert page.ask("/drawing?rig=2")[0] == 404
    assert page.ask("/drawing?rig=x")[0] == 400


def test_a_changed_file_is_read_again_and_a_fault_is_one_line(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(RATED, "utf-8")
    opened = Opened(path)
    try:
        first = opened.plan()["rigs"][0]
        assert "compare" in opened.plan() and opened.plan()["compare"] == ""
        path.write_text(RATED.replace("Launch on its cradle", "Another name"), "utf-8")
        assert opened.plan()["rigs"][0]["title"] == "Another name"
        assert opened.ask(f"/drawing?v={first['v']}")[0] == 409
        path.write_text(RATED.replace("anchor_to_load_m", "anchor_to_laod_m"), "utf-8")
        broken = opened.plan()["rigs"][0]
        assert "anchor_to_load_m" in broken["fault"] and "\n" not in broken["fault"]
        assert broken["top"] == broken["tables"] == "" and broken["frames"] == 0
        assert opened.ask("/drawing")[0] == 409
        path.unlink()
        assert "no such file" in opened.plan()["rigs"][0]["fault"]
        assert opened.ask("/")[0] == 200
        path.write_text(RATED, "utf-8")
        again = opened.plan()["rigs"][0]
        assert again["fault"] == "" and figures(again["top"]) == figures(first["top"])
    finally:
        opened.close()


def test_a_rig_of_which_nothing_is_known_shows_multiples_and_says_why(tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(re.sub(r"\[load\].*?(?=\[\[rope)", "", RATED, flags=re.S), "utf-8")
    opened = Opened(path)
    try:
        answer = opened.plan()["rigs"][0]
        assert figures(answer["top"])["haul"] == "not known"
        assert "pull_distance_m is not in the rig file" in plain(answer["top"])
        last = opened.drawing(f"frame={answer['frames'] - 1}")
        assert "only the first stroke" in last["text"]
        told = opened.drawing("labels=force")
        assert "2.71 T" in told["svg"] and any("not known" in line for line in told["more"])
    finally:
        opened.close()


def test_the_call_prints_the_address_alone_and_ends_in_order(files):
    process = start_haul("plan", files / "one.toml", files / "two.toml", "--units", "us")
    try:
        url = process.stdout.readline().strip()
        assert re.fullmatch(r"http://127\.0\.0\.1:[0-9]+/#[A-Za-z0-9_-]{22}", url)
        with urllib.request.urlopen(url, timeout=600) as answer:
            assert 'data-units="us"' in answer.read().decode()
        process.terminate()
        out, err = ended(process)
        assert (process.returncode, out, err) == (0, "", "")
    finally:
        if process.poll() is None:
            process.kill()
            process.communicate()


def test_faults_of_the_call_are_one_line(haul, tmp_path, files):
    said = haul("plan", tmp_path / "missing.toml")
    assert said.status == 2 and said.out == "" and said.err.count("\n") == 1
    bad = tmp_path / "bad.toml"
    bad.write_text("anchor_to_load_m = 3\n", "utf-8")
    said = haul("plan", files / "one.toml", bad)
    assert said.status == 2 and said.err.count("\n") == 1 and "bad.toml" in said.err
    opened = Opened(files / "one.toml")
    try:
        said = haul("plan", files / "one.toml", "--http", opened.server.port)
        assert said.status == 2 and "cannot be used" in said.err and said.err.count("\n") == 1
    finally:
        opened.close()


def test_both_systems_of_units_are_on_the_page(page):
    body = page.ask("/")[1]
    for name in SYSTEMS:
        assert f'data-set="units" value="{name}"' in body
    for words in ("out of the line of pull", "over a rating", "Local codes", "qualified person"):
        assert words in body


def test_the_page_says_that_a_knot_is_assumed(files):
    path = files / "one.toml"
    assert "knot" not in plain(top(PlannedRig(path), None, METRIC))
    path.write_text(RATED.replace(", strength = 1.0", ""), "utf-8")
    told = plain(top(PlannedRig(path), None, METRIC))
    assert told.count("load: the knot's strength is not stated; 0.50 is assumed") == 1
    assert "x 0.5 (knot, assumed)" in plain(tables(PlannedRig(path), None, METRIC))


def test_an_anchor_beside_the_axis_is_told_once_and_with_the_same_force_everywhere(files):
    """The page's gear table has the force that predict judges: hypot(0.9, 1) of the haul tension."""
    path = files / "beside.toml"
    path.write_text(
        "anchor_to_load_m = 20.0\n[defaults]\npulley_efficiency = 0.9\n[load]\nresistance_N = 900.0\n[further_anchor.P1]\n"
        'at_m = 0.0\nmbs_kN = 10\n[[rope]]\nname = "main"\npath = [ { tie = "load" }, { pulley = "S", on = "P1" }, '
        '{ haul = "team", toward_deg = 90 } ]\n',
        "utf-8",
    )
    planned = PlannedRig(path)
    (row,) = (row for row in part_rows(planned.model(), planned.conditions()) if row.name == "P1")
    assert row.model == pytest.approx(np.hypot(0.9, 1.0)) and row.ideal == pytest.approx(np.sqrt(2))
    assert row.force_N[0] == pytest.approx(row.model * planned.model().haul_force_N)
    assert row.reached_at_N == pytest.approx(1000 / np.sqrt(2))
    warned = plain(top(planned, None, METRIC).split("</ul>")[0])
    assert warned.count("P1: ") == 1, warned
