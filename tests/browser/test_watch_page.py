"""The page that one looks at with a loaded rope in front: alarms, sound, hands, silence, access."""

import hashlib
import json
import re
import time
from pathlib import Path

import pytest
from support.processes import RecordedHaul, Watched
from support.screens import SCREENS
from support.waiting import long_enough, patience, until

# axe-core 4.14.1, from its package as published; licence MPL 2.0, in its first lines
AXE = Path(__file__).parent / "axe-core-4.14.1.min.js"
AXE_SHA256 = "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c"


@pytest.fixture(scope="module")
def haul(tmp_path_factory):
    with RecordedHaul(tmp_path_factory.mktemp("haul")) as running:
        yield running


@pytest.fixture
def page(browser, haul):
    """The page open at the start of a pull, with nothing on the rope."""
    haul.device.silent.clear()
    haul.device.force_N, haul.device.speed_m_s = 1.0, 0.0
    browser.size(1280, 800)
    if browser.driver.current_url != haul.url:
        browser.open(haul.link)
        until(lambda: browser.js(RUNS, 3), 15, "it runs")
    return browser


RUNS = "return Boolean(window.haulTest && haulTest.stats.updates > arguments[0])"


def touch(browser, name):
    """A real touch on a control: what a script calls does not count as one for a browser's sound."""

    there = "return document.getElementById(arguments[0]) !== null"
    until(lambda: browser.js(there, name), 3, f"the control {name}")
    x, y = browser.steady(  # a page that was just opened still moves its controls
        "const n = document.getElementById(arguments[0]); n.scrollIntoView({block: 'center'});"
        "const b = n.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]",
        name,
    )
    for kind in ("mousePressed", "mouseReleased"):
        browser._cdp("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)


def key(browser, letter):
    text = {"text": letter} if len(letter) == 1 else {}
    browser._cdp("Input.dispatchKeyEvent", type="keyDown", key=letter, **text)
    browser._cdp("Input.dispatchKeyEvent", type="keyUp", key=letter)


def sounded(browser):
    return browser.js("return haulTest.sounded")


def acknowledged(browser, haul):
    haul.device.force_N, haul.device.speed_m_s = 1.0, 0.0
    browser.updated()
    if browser.js("return !document.getElementById('alarm').hidden"):
        key(browser, "a")
        until(lambda: browser.js("return document.getElementById('alarm').hidden"), 5, "no alarm")


def test_over_the_limit_it_trips_latches_and_is_let_go_by_hand_alone(page, haul):
    assert page.js("return document.getElementById('alarm').hidden")
    haul.device.speed_m_s, haul.device.force_N = 0.3, 900.0
    until(lambda: "STOP: haul_force" in page.text("alarms"), 15, "the alarm")
    haul.device.speed_m_s, haul.device.force_N = 0.0, 300.0
    until(lambda: "below again" in page.text("alarms"), 5, "it says that it is over")
    page.updated(8)
    assert "STOP: haul_force" in page.text("alarms") and "not acknowledged" in page.text("alarms")
    # shape, word and colour, from the page as it is drawn: red with an eight-sided sign
    sign = page.js(
        "const s = getComputedStyle(document.querySelector('#alarms .one.stop .sign'));"
        "const r = getComputedStyle(document.querySelector('#alarms .one.stop'));"
        "return [s.clipPath.split(',').length, r.backgroundColor]"
    )
    assert sign[0] == 8
    red, green, blue = map(int, re.findall(r"\d+", sign[1])[:3])
    assert red > 2 * green and red > 2 * blue
    page.open(haul.url)  # another viewer, or the page loaded again, sees it as well
    until(lambda: "STOP: haul_force" in page.text("alarms"), 8, "the latched alarm")
    touch(page, "ack")
    until(lambda: page.js("return document.getElementById('alarm').hidden"), 3, "it is gone")
    until(lambda: page.text("hands-said") == "acknowledge: taken", 3, "taken")
    assert haul.events("ack")
    assert "last alarm" in page.text("peak-note")


def test_one_wild_reading_is_no_alarm_and_the_peak_still_shows_it(page, haul):
    before = len(haul.events("alarm"))
    haul.device.force_N = 2.0
    haul.device.once.append(1400.0)  # one reading, fewer than an alarm takes
    until(lambda: "1.4kN" in page.text("peak").replace("\n", "").replace(" ", ""), 3, "the peak")
    page.updated()
    assert len(haul.events("alarm")) == before


def test_sound_is_asked_for_after_a_touch_and_by_nothing_else(page, haul):
    haul.device.speed_m_s, haul.device.force_N = 0.3, 900.0
    until(lambda: "STOP" in page.text("alarms"), 3, "the alarm")
    page.updated()
    assert page.text("sound") == "SOUND OFF" and not [s for s in sounded(page) if "stop" in s]
    touch(page, "sound")
    until(lambda: page.text("sound") == "SOUND ON", 3, "the browser lets it sound")
    asked = until(lambda: [s for s in sounded(page) if s == "tone stop"], 3, "the tone of stop")
    assert asked and sounded(page).index("tone test") < sounded(page).index("tone stop")
    until(lambda: sounded(page).count("tone stop") >= 2, 5, "again until acknowledged")
    acknowledged(page, haul)
    count = sounded(page).count("tone stop")
    time.sleep(2.2)  # for longer than the pause between two tones nothing sounds
    assert sounded(page).count("tone stop") == count
    touch(page, "sound")
    assert page.text("sound") == "SOUND OFF"


def test_a_crew_that_looks_at_the_rope_hears_set_and_two_blocked(page, haul):
    touch(page, "sound")
    until(lambda: page.text("sound") == "SOUND ON", 3, "sound")
    haul.device.force_N, haul.device.speed_m_s = 330.0, 3.0
    until(lambda: "tone half" in sounded(page), 12, "half a metre to two-blocked")
    haul.device.force_N, haul.device.speed_m_s = 0.5, 0.0
    until(lambda: "tone set" in sounded(page), 4, "set")
    until(lambda: "HELD on C1" in page.text("state"), 3, "held, in words")
    touch(page, "sound")


def test_a_pulled_device_is_no_data_within_a_second_and_a_half(page, haul):
    took, start = [], time.monotonic()
    # the machine is shared: the best of three
    while len(took) < 3 and min(took, default=1e9) >= 1.5 * patience(start):
        haul.device.silent.clear()
        until(lambda: "NO DATA" not in page.text("state"), 5, "data")
        haul.device.silent.set()
        pulled = time.monotonic()
        until(lambda: "NO DATA" in page.text("state"), 4, "NO DATA")
        took.append(time.monotonic() - pulled)
    haul.device.silent.clear()
    assert min(took) < 1.5 * patience(start), took
    assert not re.search(r"[0-9]\s*k?N", page.text("tension"))


def test_a_mark_and_a_zero_land_as_events_and_are_shown_as_taken(page, haul):
    key(page, "n")
    page._cdp("Input.insertText", text="at the fender")
    touch(page, "mark")
    until(lambda: page.text("hands-said") == "mark: taken", 3, "taken")
    assert haul.events("mark")[-1].endswith("at the fender")
    until(
        lambda: page.js(
            "return Object.values(haulTest.page.parts).some(p => Array.isArray(p) && p[2] === 'mark')"
        ),
        3,
        "on the graph",
    )
    haul.device.force_N = 3.0
    # the cell rests for longer than the 1 s that a zero takes, as the recorder reads it
    time.sleep(1.0 + long_enough(0.2))  # the rest itself
    touch(page, "zero")
    assert "slack" in page.text("hands") and not haul.events("zero")
    key(page, "Escape")
    assert "slack" not in page.text("hands")
    touch(page, "zero")
    touch(page, "sure")
    until(lambda: page.text("hands-said") == "zero haul_force: taken", 3, "taken")
    row = haul.events("zero")[-1].split(",")
    assert float(row[4]) == pytest.approx(3.0, abs=0.1)
    key(page, "u")
    until(lambda: page.text("hands-said") == "undo: taken", 3, "taken back")
    haul.device.force_N, haul.device.speed_m_s = 300.0, 0.2
    until(lambda: "HAULING" in page.text("state"), 5, "hauling")
    touch(page, "zero")
    touch(page, "sure")
    until(lambda: "REFUSED" in page.text("hands-said"), 3, "not with tension on")
    assert len(haul.events("zero")) == 1


def test_a_recorder_that_does_not_answer_is_not_taken_within_a_second(page, haul):
    haul.recorder.send_signal(19)  # SIGSTOP
    try:
        key(page, "m")
        until(lambda: page.text("hands-said").startswith("mark: NOT TAKEN"), 1.6, "NOT TAKEN")
        until(lambda: "RECORDER STALLED" in page.text("state"), 2.5, "stalled")
    finally:
        haul.recorder.send_signal(18)  # SIGCONT
    until(lambda: page.text("hands-said") == "mark: taken", 3, "taken after all")


def test_the_view_is_paused_and_lengthened_while_recording_goes_on(page, haul):
    haul.device.force_N, haul.device.speed_m_s = 250.0, 0.1
    page.updated()
    touch(page, "pause")
    until(lambda: "VIEW PAUSED" in page.text("paused"), 2, "paused")
    paused_at = page.js(
        "return document.querySelector('#live-graph .js-plotly-plot').layout.xaxis.range[1]"
    )
    rows = page.text("channels")
    key(page, "2")
    until(lambda: "(5 min)" in page.text("in-view"), 3, "five minutes")
    until(lambda: page.text("channels") != rows, 5, "rows that are recorded meanwhile")
    range_ = page.js(
        "return document.querySelector('#live-graph .js-plotly-plot').layout.xaxis.range"
    )
    assert range_[1] - range_[0] == 300_000
    assert page.text("channels") != rows and re.search(
        r"peak .*N .*min .*N .*mean over time .*N", page.text("in-view")
    )
    key(page, "p")
    key(page, "1")
    until(lambda: page.js("return document.getElementById('paused').hidden"), 2, "it goes on")
    later = until(
        lambda: page.js(
            "return document.querySelector('#live-graph .js-plotly-plot').layout.xaxis.range[1]"
        ),
        2,
        "x",
    )
    assert later >= paused_at


def test_the_rig_carries_its_tensions_and_says_what_is_not_rated(page, haul):
    haul.device.force_N, haul.device.speed_m_s = 300.0, 0.2
    until(lambda: "HAULING" in page.text("state"), 5, "hauling")
    labels = "return Object.fromEntries([...document.querySelectorAll('#rig [data-tension]')].map(" \
             "n => [n.getAttribute('data-tension'), n.textContent]))"  # fmt: skip
    # 3:1 without friction, by hand: the strand at the load carries three times the haul
    until(lambda: page.js(labels).get("load>G1") in ("890 N", "900 N", "910 N"), 5, "tensions")
    assert page.js(labels)["T1>team"] in ("290 N", "300 N", "310 N")
    assert re.search(
        r"[0-9]+ of [0-9]+ are rated; the other [0-9]+ are not judged", page.text("rig-note")
    )
    assert "load>G1" in page.text("nearest") and "28 kN" not in page.text("nearest")
    everything = page.js("return document.body.innerText").lower()
    assert "safe" not in everything


def test_a_dead_server_is_no_link_within_a_second_and_a_half(page, haul):
    took, start = [], time.monotonic()
    while len(took) < 2 and min(took, default=1e9) >= 1.5 * patience(start):
        with Watched(haul.out) as serving:
            page.open(serving.url)
            until(lambda: page.js(RUNS, 8), 10, "it runs")
            serving.process.kill()
            killed = time.monotonic()
            until(lambda: "NO LINK" in page.text("state"), 4, "NO LINK")
            took.append(time.monotonic() - killed)
    assert min(took) < 1.5 * patience(start), took
    for name in ("tension", "left", "travel", "peak"):
        assert "NO LINK" in page.text(name) and not re.search(r"[0-9]", page.text(name))
    assert not re.search(
        r"[0-9] ?(N|kN)\b", page.text("channels") + page.text("rig") + page.text("nearest")
    )


def test_the_first_drawing_however_slow_shows_no_lost_link(browser, haul):
    browser.size(1280, 800)
    browser._cdp("Emulation.setCPUThrottlingRate", rate=4)
    try:
        browser._cdp(
            "Page.addScriptToEvaluateOnNewDocument",
            source="window.seen = []; setInterval(() => { const n = document.getElementById('state');"
            "if (n && /NO LINK/.test(n.textContent)) window.seen.push(n.textContent); }, 20);",
        )
        browser.open(haul.url)
        until(lambda: browser.js(RUNS, 5), 30, "it runs")
        assert browser.js("return window.seen") == []
    finally:
        browser._cdp("Emulation.setCPUThrottlingRate", rate=1)


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_axe_finds_nothing_serious(page, haul, width, height, scheme):
    source = AXE.read_bytes()
    assert hashlib.sha256(source).hexdigest() == AXE_SHA256
    haul.device.force_N, haul.device.speed_m_s = 900.0, 0.2  # with an alarm shown
    page.size(width, height, scheme)
    until(lambda: "STOP" in page.text("alarms"), 4, "the alarm")
    touch(page, "end")  # and a question
    page.js(source.decode("utf-8") + "; window.axe = axe;")
    page.driver.set_script_timeout(60)
    found = page.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
        ".then(r => done(r.violations.map(v => [v.impact, v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 150))])))"
    )
    key(page, "Escape")
    acknowledged(page, haul)
    assert [v for v in found if v[0] in ("serious", "critical")] == [], json.dumps(found, indent=1)


def test_the_theme_is_switched_by_hand_and_forgotten_with_the_page(page):
    page.size(1280, 800, "light")
    ground = "return getComputedStyle(document.body).backgroundColor"
    light = page.js(ground)
    key(page, "d")
    dark = until(lambda: page.js(ground) != light and page.js(ground), 2, "dark")
    page.driver.refresh()
    until(lambda: page.js(RUNS, 2), 10, "it runs")
    assert page.js(ground) == dark
    assert page.js("return document.cookie") == ""
    key(page, "d")


@pytest.mark.parametrize(
    ("width", "height"),
    [(390, 844), pytest.param(768, 1024, marks=pytest.mark.many), (1280, 800), (1920, 1080)],
)
def test_nothing_is_cut_and_the_glance_is_on_the_first_screen(page, haul, width, height):
    haul.device.force_N, haul.device.speed_m_s = 300.0, 0.2
    page.size(width, height, "light")
    page.updated()
    page.steady(
        "return [document.documentElement.scrollWidth, document.documentElement.scrollHeight]"
    )
    assert page.js("return document.documentElement.scrollWidth") <= width
    for name in ("state", "link", "tension", "left", "travel", "peak"):
        box = page.js("const b = document.getElementById(arguments[0]).getBoundingClientRect();"
                      "return [b.left, b.right, b.top, b.bottom]", name)  # fmt: skip
        assert box[0] >= 0 and box[1] <= width and box[2] >= 0 and box[3] <= height, (name, box)
    small = page.js(
        "return [...document.querySelectorAll('button, input, a')].filter(n => n.offsetParent)"
        ".map(n => [n.textContent || n.id, n.getBoundingClientRect().width, n.getBoundingClientRect().height])"
        ".filter(n => n[1] < 44 || n[2] < 44)"
    )
    assert small == []


def test_less_motion_is_none(page):
    page._cdp(
        "Emulation.setEmulatedMedia",
        features=[{"name": "prefers-reduced-motion", "value": "reduce"}],
    )
    moving = page.js(
        "return [...document.querySelectorAll('*')].map(n => getComputedStyle(n)).filter("
        "s => s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0).length"
    )
    assert moving == 0
