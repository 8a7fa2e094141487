"""Under US units nobody reads a metric quantity, and what a person wrote stays as it was written."""

import json
import re
import threading
import urllib.request
from contextlib import contextmanager
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import force
from support.growing_session import DemoPull, Page
from support.places import ROOT, SAMPLES, SHELF
from support.waiting import joined

from analysis.messages.message import message
from analysis.prediction.alarm_headlines import PartAtRisk
from analysis.review.review import review_session, reviewed
from dashboard.commands.record import StatusLine
from dashboard.live.session_hub import Hub
from dashboard.live.watcher import Watch
from dashboard.plan.job_step import frame_answer
from dashboard.plan.planned_rig import PlannedRig
from dashboard.plan.tables import tables, top
from dashboard.text.alarm_headline import AlarmWords
from dashboard.text.units import METRIC, US
from dashboard.watch.server import FaultLog, Server
from logger.channels.sensors_file import parse_sensors
from logger.recorder.disk_retry import EventRow
from logger.session.records import Event

# a number and a metric unit, whatever stands between and around; written here anew, apart from the program's
METRIC_SEEN = re.compile(
    r"\d[\s\u00a0\u202f]*(?:kN|N|mm|cm|m|kg|kJ|J|kW|W)(?:/(?:m|s|min)2?)?(?![\w\u00b0])"
)
# NIST SP 811 (2008), B.8 and B.9: what one of the SI unit is in the unit of the trade
REFERENCE = {
    "N": ("lbf", 1 / 4.4482216152605),
    "kN": ("lbf", 1000 / 4.4482216152605),
    "m": ("ft", 1 / 0.3048),
    "cm": ("in", 1 / 2.54),
    "mm": ("in", 1 / 25.4),
    "m/s": ("ft/s", 1 / 0.3048),
    "m/min": ("ft/min", 1 / 0.3048),
    "N/m": ("lbf/ft", 0.3048 / 4.4482216152605),
    "kg": ("lb", 1 / 0.45359237),
    "J": ("ft lbf", 1 / 1.3558179483314),
    "kJ": ("ft lbf", 1000 / 1.3558179483314),
    "W": ("hp", 1 / 745.69987),
    "kW": ("hp", 1000 / 745.69987),
}
NAMED = """
title = "Sill on a 12 m skid"
anchor_to_load_m = 12.0
[load]
resistance_N = 900.0
pull_distance_m = 6.0
[[rope]]
name = "20 m rope"
length_m = 22.0
mbs_kN = 20.0
path = [
  { tie = "load", strength = 1.0 },
  { grab = "2 kN grab", at_m = 9.0 },
  { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" },
  { pulley = "T1", on = "2 kN grab" },
  { haul = "team" },
]
[grab."2 kN grab"]
slips_at_kN = 0.6
[gear."5 m strap"]
carries = ["A1", "C1"]
kind = "10 kN sling"
mbs_kN = 9.0
"""


def seen(text, own=()):
    """Metric quantities in a text, names that a person gave left out."""
    for name in own:
        text = text.replace(name, "NAME")
    return [line for line in text.splitlines() if METRIC_SEEN.search(line)]


# -- one message ----------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("value", "form", "unit", "us"),
    [
        (980.0, ".0f", "N", "220 lbf"),
        (12.0, ".0f", "N", "2.70 lbf"),  # a whole number may be exact: three digits
        (36.0, "g", "kN", "8090 lbf"),
        (0.6, "g", "kN", "135 lbf"),
        (-0.25, ".2f", "m", "-0.82 ft"),
        (2.5, "+.1f", "m", "+8.2 ft"),
        (1234567.0, ",.0f", "N", "277,500 lbf"),
        (0.0, ".2f", "m", "0.00 ft"),
        (0.5, ".1f", "m/s", "1.6 ft/s"),
        (12.0, ".0f", "s", "12 s"),
    ],
)
def test_a_message_s_quantity_in_us_units(value, form, unit, us):
    assert " ".join(US.written(value, form, unit)) == us
    assert METRIC.written(value, form, unit) == (format(value, form), unit)


@given(
    st.floats(-1e7, 1e7),
    st.sampled_from([".0f", ".2f", ",.1f", ".3g", "g"]),
    st.sampled_from(sorted(REFERENCE)),
)
def test_a_message_s_quantity_is_the_reference_factors_to_the_digits_shown(value, form, unit):
    shown, factor = REFERENCE[unit]
    number, told = US.written(value, form, unit)
    assert told == shown and "e" not in number
    digits = len(re.sub(r"e.*|\D", "", format(value, form)).lstrip("0"))
    step = 10.0 ** -len(format(value, form).partition("e")[0].partition(".")[2]) * max(1.0, factor)
    half = 0.55 * 10 ** (1 - min(4, max(2, digits)))
    assert float(number.replace(",", "")) == pytest.approx(
        value * factor, rel=half, abs=0.51 * step
    )


@given(st.text(), st.floats(1.0, 1e6))
def test_what_a_person_wrote_stays_and_the_quantity_beside_it_does_not(name, force_N):
    said = message("limit_of_a_part", name=name, why=message("begins_to_slip", limit_N=force_N))
    before, after = said.text(METRIC), said.text(US)
    assert before.startswith(f"{name}: begins") and after.startswith(f"{name}: begins")
    assert before.endswith(" kN") and after.endswith(" lbf")


def test_recorded_texts_stay_as_they_were_recorded_but_a_part_s_alarm():
    """The rig's own label is found again, whichever channel it was told of."""
    whole = reviewed(SAMPLES[0])
    own = (Event(1.0, "r1", "mark", "", None, "moved 5 m back at 3 N"),
           Event(2.0, "r2", "zero", "haul_force", 3.0, "3 N"),
           Event(3.0, "r3", "alarm", "haul_force", 9.0, "stop: P9: 36 kN breaking strength / 7"))  # fmt: skip
    alarm = Event(4.0, "r4", "alarm", "haul_force", 9.0, "stop: A1: 36 kN breaking strength / 7")
    told = replace(whole, result=replace(whole.result, derived_events=(), events=(*own, alarm)))
    assert [e["text"] for e in told.json["events"]] == [e.text for e in (*own, alarm)]
    assert [e["text"] for e in told.shown(US)["events"]] == [
        *(e.text for e in own[:2]), f"{own[2].text} (2.02 lbf)",
        "stop: A1: 8090 lbf breaking strength / 7 (2.02 lbf)",
    ]  # fmt: skip


# -- every command ---------------------------------------------------------------------------------
@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_a_review_shows_no_metric_quantity(haul, path):
    said = haul("review", path, "--units", "us")
    assert (said.status, seen(said.out + said.err)) == (0, [])
    assert "lbf" in said.out


def test_json_and_the_events_table_are_the_same_in_both_units(haul, tmp_path):
    path = SAMPLES[0]
    told = []
    for name in ("metric", "us"):
        table = tmp_path / f"{name}.csv"
        said = haul("review", path, "--units", name, "--json", "--events-csv", table)
        told.append((json.loads(said.out), table.read_text("utf-8")))
    assert told[0] == told[1]
    assert " N" in told[0][1]  # and it is SI
    assert told[0][0] == json.loads(json.dumps(review_session(path)))


@pytest.mark.parametrize("path", SHELF, ids=lambda p: p.stem)
@pytest.mark.parametrize("view", [(), ("--steps",), ("--conditions",), ("--job",)])
def test_a_prediction_shows_no_metric_quantity(haul, path, view):
    said = haul("predict", path, *view, "--units", "us")
    assert seen(said.out + said.err) == []


@pytest.mark.parametrize("view", [(), ("--steps",), ("--conditions",), ("--job",)])
def test_a_prediction_with_everything_over_its_limit(haul, tmp_path, view):
    path = tmp_path / "rig.toml"
    path.write_text(NAMED, "utf-8")
    metric = haul("predict", path, *view, "--haul-force", "5000")
    said = haul("predict", path, *view, "--haul-force", "5000", "--units", "us")
    assert said.status == 1 and "breaking strength" in said.out
    own = ("Sill on a 12 m skid", "20 m rope", "2 kN grab", "5 m strap", "10 kN sling")
    assert seen(said.out + said.err, own) == []
    assert seen(metric.out, own) != []
    for name in own:  # as often as in metric units, and as they were written
        assert said.out.count(name) == metric.out.count(name)
    # whatever the view, what is over its limit is named, and the title; a kind of gear is in no table
    assert [name for name in own if name in said.out] == list(own[:4])


def test_choosing_comparing_and_listing_show_no_metric_quantity(haul, tmp_path):
    rows = [
        haul("choose", "--load-N", "6000", "--distance-m", "8", "--rope-m", "60", "--team-N", "400",
             "--rope-mbs-kN", "20", "--grab-slips-kN", "4", "--units", "us"),
        haul("choose", "--mass-kg", "900", "--kind", "hanging", "--distance-m", "8", "--rope-m", "20",
             "--team-N", "400", "--units", "us"),
        haul("compare", *SAMPLES, "--units", "us"),
        haul("gear", ROOT / "sample_logs", "--units", "us"),
        haul("library", ROOT / "sample_logs", "--units", "us"),
    ]  # fmt: skip
    assert [seen(said.out + said.err) for said in rows] == [[]] * 5
    assert ["lbf" in said.out for said in rows] == [
        True,
        True,
        True,
        False,
        True,
    ]  # no item is marked


def test_what_a_recording_tells_on_the_terminal(capsys):
    sensors = parse_sensors(force(), "sensors.toml")
    label = "2 kN grab: begins to slip at 0.6 kN"
    made = message(
        "limit_of_a_part", name="2 kN grab", why=message("begins_to_slip", limit_N=600.0)
    )
    assert made.text() == label
    what = message("part_at_risk", kind="grab", name="2 kN grab")
    words = AlarmWords(sensors, US, {label: made}, {label: PartAtRisk(what, 600.0)})
    line = StatusLine(sensors, words, US)
    for told in (
        EventRow(1.0, "alarm", channel="haul_force", value=612.0, text=f"stop: {label}"),
        EventRow(2.0, "ack", channel="haul_force", text=label),
    ):
        line._alarm(told)
    assert line.printer.flush(5)
    said = capsys.readouterr().err
    assert (
        "STOP: grab 2 kN grab, 138 of 135 lbf, at 1.0 s (2 kN grab: begins to slip at 135 lbf)"
        in said
    )
    assert "acknowledged at 2.0 s: grab 2 kN grab\n" in said
    assert seen(said, ("2 kN grab",)) == []


# -- pages -----------------------------------------------------------------------------------------
class Shown(HTMLParser):
    """The texts of an HTML page, those of its style left out."""

    def __init__(self, page):
        super().__init__()
        self.texts, self.hidden = [], 0
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.hidden += tag in ("style", "script")

    def handle_endtag(self, tag):
        self.hidden -= tag in ("style", "script")

    def handle_data(self, data):
        if not self.hidden:
            self.texts.append(data)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_a_report_shows_no_metric_quantity(haul, tmp_path, path):
    page = tmp_path / "report.html"
    haul("review", path, "--units", "us", "--html", page)
    texts = Shown(page.read_text("utf-8")).texts
    # the one column that tells how a device's number became SI, under that heading
    assert "from reading to SI" in texts
    texts = [t for t in texts if not re.match(r"zero \S+ \S+; (scale|calibration) ", t)]
    assert seen("\n".join(texts)) == []


@contextmanager
def asked_of(path):
    """Asks a server of pages in US units; its answers as text."""
    hub = Hub(path, FaultLog(), shown=US)
    server = Server(hub)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()

    def ask(address):
        with urllib.request.urlopen(server.url.rstrip("/") + address, timeout=600) as answer:
            return answer.read().decode("utf-8")

    try:
        yield ask
    finally:
        server.close()
        hub.close()
        joined(thread)


def every_text(value):
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        value = list(value.values())
    return [text for part in value for text in every_text(part)] if isinstance(value, list) else []


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_a_review_page_shows_no_metric_quantity_and_begins_in_the_servers_units(path):
    with asked_of(path) as ask:
        assert 'data-shown="us"' in ask("/review")
        for address in ("/review-data?units=us", "/review-data?units=us&e=0.80", "/window?units=us",
                        "/loop?units=us&stroke=1"):  # fmt: skip
            assert seen("\n".join(every_text(json.loads(ask(address))))) == [], address


def test_the_plan_page_tells_ratings_reasons_and_warnings_in_us_units(tmp_path):
    path = tmp_path / "rig.toml"
    text = NAMED.replace("resistance_N = 900.0", "resistance_N = 9000.0")
    path.write_text(text.replace("length_m = 22.0", "length_m = 9.0"), "utf-8")
    planned = PlannedRig(path)
    own = ("Sill on a 12 m skid", "20 m rope", "2 kN grab", "5 m strap", "10 kN sling")
    told = {}
    for shown in (METRIC, US):
        page = Shown(top(planned, None, shown) + tables(planned, None, shown))
        told[shown.name] = "\n".join(page.texts)
    frames = planned.job_frames("each").frames
    steps = [frame_answer(planned, "each", k, None, US, "force", 900) for k in range(len(frames))]
    assert seen(told["us"] + "\n".join(t for s in steps for t in every_text(s)), own) == []
    assert "9 kN breaking strength" in told["metric"] and "2020 lbf breaking strength" in told["us"]
    assert "begins to slip at 135 lbf" in told["us"]
    assert '<li class="stop">rope 20 m rope: ' in top(planned, None, METRIC)
    assert "rope 20 m rope:" in told["us"] and re.search(
        r"ft needed, 29\.5 ft in the bag", told["us"]
    )
    for name in own:
        assert told["us"].count(name) == told["metric"].count(name)


def live_texts(page):
    return every_text({k: v for k, v in page.parts.items() if k != "head"}) + every_text(page.now) + [
        page.parts["head"]["because"], *(row["because"] for row in page.parts["head"]["stop_levels"])
    ]  # fmt: skip


def test_a_live_page_tells_its_sentences_in_us_units_all_through_a_haul(tmp_path):
    pull = DemoPull(tmp_path / "s", 2, 50.0)
    now = [0.0]
    watch = Watch(tmp_path / "s", clock=lambda: now[0], shown=US)
    page, told = Page(watch), set()
    for k in range(1, 101):
        now[0] = k / 2
        pull.feed(k / 2)
        if k == 40:
            pull.session.event(20.0, "mark", "", None, "stood 2 m from the edge")
            pull.session.event(
                20.0, "alarm", "haul_force", 990.0, "stop: A1: 36 kN breaking strength / 7"
            )
        watch.tick()
        page.ask()
        told.update(live_texts(page))
    assert page.parts["head"]["units"] == "us"
    assert seen("\n".join(told)) == ["stood 2 m from the edge"]
    assert any(
        re.fullmatch(r"the force fell and \S+ ft of rope came out .*", text) for text in told
    )
    assert "A1: 8090 lbf breaking strength / 7" in told


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_a_live_page_over_a_sample_shows_no_metric_quantity(path):
    watch = Watch(path, shown=US)
    watch.tick()
    page = Page(watch)
    page.ask()
    assert seen("\n".join(live_texts(page))) == []
