"""What hands and far eyes need on the live page: the bar, the far view, the tab's title, alarms, the result."""

import pytest
from support.processes import RecordedHaul, Watched
from support.screens import SCREENS
from support.waiting import until

OTHER = "nine to one, for steep ground"


@pytest.fixture(scope="module")
def haul(tmp_path_factory):
    with RecordedHaul(tmp_path_factory.mktemp("hands")) as running:
        rig = (running.out.parent / "rig.toml").read_text("utf-8")
        first = rig.splitlines()[0]
        assert first.startswith("title")
        other = running.out.parent / "steep ground.toml"
        other.write_text(rig.replace(first, f'title = "{OTHER}"', 1), "utf-8")
        (running.out.parent / "<b>.toml").write_text(rig, "utf-8")
        yield running


@pytest.fixture(scope="module")
def serving(haul):
    with Watched(haul.out.parent) as page:
        yield page


@pytest.fixture
def page(browser, haul, serving):
    """The live page of the folder's session on a phone, open for its operator."""
    haul.device.silent.clear()
    haul.device.force_N, haul.device.speed_m_s = 1.0, 0.0
    browser.size(390, 844)
    browser.open(serving.link)
    until(lambda: browser.js("return location.hash") == "", 8, "let in")
    browser.open(f"{serving.url}s/{haul.out.name}/")
    until(lambda: browser.js("return !!document.getElementById('bar-mark')"), 15, "the bar")
    until(lambda: browser.js("return document.documentElement.dataset.role") == "operator", 8, "in")
    yield browser
    browser.driver.get("about:blank")


def tap(browser, name):
    """A touch in the middle of a control, where it stands."""
    x, y = browser.steady(
        "const b = document.getElementById(arguments[0]).getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2]",
        name,
    )
    for kind in ("mousePressed", "mouseReleased"):
        browser._cdp("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)


def box(browser, name):
    return browser.js(
        "const b = document.getElementById(arguments[0]).getBoundingClientRect();"
        "return [b.left, b.top, b.right, b.bottom]",
        name,
    )


@pytest.mark.parametrize(
    ("width", "height"), [(390, 844), pytest.param(1280, 800, marks=pytest.mark.many)]
)
def test_the_bar_is_in_reach_and_its_buttons_fit_gloves(page, width, height):
    page.size(width, height)
    sizes = page.steady(
        "return [...document.querySelectorAll('#bar .hands button')].map(n => { const b ="
        " n.getBoundingClientRect(); return [n.id, b.width, b.height, b.left, b.right, b.bottom,"
        " n.scrollWidth <= n.clientWidth]; })"
    )
    assert [one[0] for one in sizes] == ["bar-mark", "rig-changed", "bar-ack", "zero", "end"]
    assert all(w >= 48 and h >= 48 for _, w, h, *_ in sizes), sizes
    assert all(left >= 0 and right <= width and fits for *_, left, right, _, fits in sizes), sizes
    page.js("window.scrollTo(0, document.body.scrollHeight)")
    assert all(height - 90 < one[5] <= height for one in sizes), sizes
    assert page.js("return document.documentElement.scrollWidth") <= width
    # the foot of the page is not hidden behind the bar
    last = page.js("const m = [...document.querySelectorAll('main > *')].filter(n => n.offsetParent);"
                   "return Math.max(...m.map(n => n.getBoundingClientRect().bottom))")  # fmt: skip
    assert last <= page.js("return document.getElementById('bar').getBoundingClientRect().top") + 1


def test_a_mark_is_one_touch(page, haul):
    before = len(haul.events("mark"))
    tap(page, "bar-mark")
    until(lambda: page.text("hands-said") == "mark: taken", 3, "taken")
    assert len(haul.events("mark")) == before + 1


def test_the_rigs_of_the_folder_are_offered_and_one_is_taken(page, haul, shots):
    tap(page, "rig-changed")
    until(lambda: OTHER in page.text("bar"), 5, "the list")
    assert "<b>" not in page.text("bar") and "sensors.toml" not in page.text("bar")
    page.shot(shots / "bar-rigs-390.png")
    page.js(
        "[...document.querySelectorAll('.question button')]"
        ".find(n => n.textContent.includes(arguments[0])).click()",
        OTHER,
    )
    until(lambda: "Is the rig on the ground now" in page.text("bar"), 3, "the question")
    tap(page, "sure")
    until(lambda: page.text("hands-said") == "rig changed: taken", 8, "taken")
    assert (haul.out / "rig-2.toml").read_text("utf-8").startswith(f'title = "{OTHER}"')


def test_a_rig_changed_without_its_file_is_an_event_that_says_so(page, haul):
    tap(page, "rig-changed")
    until(lambda: page.js("return !!document.getElementById('rig-later')"), 5, "the choice")
    tap(page, "rig-later")
    until(lambda: page.text("hands-said").endswith("taken"), 3, "taken")
    assert "rig changed, details later" in haul.events("mark")[-1]


@pytest.mark.parametrize(
    ("width", "height"),
    [
        (390, 844),
        *(pytest.param(*size, marks=pytest.mark.many) for size in ((844, 390), (1280, 800))),
    ],
)
def test_the_far_view_is_one_touch_and_its_digits_are_seen_from_afar(
    page, haul, shots, width, height
):
    page.size(width, height)
    haul.device.force_N, haul.device.speed_m_s = 420.0, 0.2
    until(lambda: "HAULING" in page.text("state"), 8, "hauling")
    page.js("document.getElementById('far').scrollIntoView({block: 'center'})")
    tap(page, "far")
    until(lambda: page.js("return !!document.getElementById('far-number')"), 3, "the far view")
    page.updated()
    drawn = page.steady(
        "const b = document.getElementById('far-number').getBoundingClientRect();"
        "return [document.getElementById('far-number').textContent.length > 0, b.left, b.top, b.right, b.bottom]"
    )
    high = page.js("return Number(document.getElementById('far-number').dataset.high)")
    long, short = max(width, height), min(width, height)
    assert high >= min(0.32 * long, 0.69 * short), (high, drawn)
    # along the longer side nothing is cut; across it the box has the font's own room
    low, top = (drawn[2], drawn[4]) if height > width else (drawn[1], drawn[3])
    assert drawn[0] and low >= -1 and top <= long + 1, drawn
    for name in ("far-state", "far-share", "far-back"):
        left, top, right, bottom = box(page, name)
        assert left >= -1 and top >= -1 and right <= width + 1 and bottom <= height + 1, name
    assert "of the stop level" in page.text("far-share") and "N" in page.text("far-share")
    assert "HAULING" in page.text("far-state") or "STOP" in page.text("far-state")
    page.shot(shots / f"far-{width}.png")
    tap(page, "far-back")
    assert not page.js("return !!document.getElementById('far-view')")
    assert page.js("return document.activeElement.id") in ("far", "")


def test_the_tab_says_state_and_tension(page, haul):
    haul.device.force_N, haul.device.speed_m_s = 420.0, 0.2
    until(lambda: "420 N · " in page.driver.title and "HAULING" in page.driver.title, 8, "the tab")
    haul.device.silent.set()
    until(lambda: "NO DATA" in page.driver.title and "420" not in page.driver.title, 8, "no number")
    haul.device.silent.clear()


@pytest.mark.parametrize(
    ("width", "height", "scheme"),
    [*SCREENS, pytest.param(768, 1024, "light", marks=pytest.mark.many)],
)
def test_an_alarm_leaves_the_tension_on_the_first_screen(page, haul, shots, width, height, scheme):
    page.size(width, height, scheme)
    haul.device.force_N, haul.device.speed_m_s = 900.0, 0.2
    until(lambda: "STOP" in page.text("alarms"), 8, "the alarm")
    page.js("window.scrollTo(0, 0)")
    page.updated()
    bar = page.steady("return document.getElementById('bar').getBoundingClientRect().top")
    left, top, right, bottom = box(page, "tension")
    assert left >= 0 and right <= width and top >= 0 and bottom <= bar, (top, bottom, bar)
    head = page.js("const b = document.querySelector('#alarms .one b').getBoundingClientRect();"
                   "const n = document.querySelector('#alarms .one b');"
                   "return [b.left, b.right, b.bottom, n.scrollWidth <= n.clientWidth + 1]")  # fmt: skip
    assert head[0] >= 0 and head[1] <= width and head[2] <= bar and head[3], (head, bar)
    assert "STOP" in page.driver.title
    assert page.js("return document.documentElement.scrollWidth") <= width
    page.shot(shots / f"alarm-{width}-{scheme}.png")
    haul.device.force_N, haul.device.speed_m_s = 1.0, 0.0
    page.updated()
    tap(page, "bar-ack")
    until(lambda: page.js("return document.getElementById('alarm').hidden"), 5, "it is gone")


@pytest.mark.many
def test_a_viewer_has_no_bar(browser, haul, serving):
    browser.size(390, 844)
    browser.driver.delete_all_cookies()
    with Watched(haul.out) as other:
        browser.open(other.url)
        until(lambda: browser.text("tension").strip(), 8, "a tension or a word")
        until(
            lambda: browser.js("return document.documentElement.dataset.role") == "viewer",
            8,
            "a viewer",
        )
        assert browser.js("return document.getElementById('bar').offsetHeight") == 0


@pytest.mark.many
def test_at_the_end_the_result_stands_where_the_tension_stood(browser, tmp_path, shots):
    with RecordedHaul(tmp_path / "short") as haul:
        haul.device.force_N, haul.device.speed_m_s = 300.0, 0.3
        browser.size(390, 844, "light")
        browser.open(haul.link)
        until(lambda: "HAULING" in browser.text("state"), 15, "hauling")
        until(
            lambda: browser.js("return document.documentElement.dataset.role") == "operator",
            8,
            "in",
        )
        tap(browser, "end")
        until(lambda: browser.js("return !!document.getElementById('sure')"), 3, "the question")
        tap(browser, "sure")
        until(lambda: browser.text("tension-title") == "Result", 20, "the result")
        assert browser.js("return document.getElementById('tension').offsetHeight") == 0
        assert ": 1" in browser.text("result") and "±" in browser.text("result")
        assert "peak 300 N" in browser.text("tension-note")
        assert browser.js("return document.getElementById('to-result').offsetHeight") >= 44
        assert browser.js("return document.getElementById('bar').offsetHeight") == 0
        browser.shot(shots / "ended-390.png")
        assert browser.console() == []
