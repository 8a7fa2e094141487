"""The rig page's menu at the finger, which rig does the job, two rigs side by side, second ropes: by touch, counted."""

from __future__ import annotations

import shutil
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from browser.test_rig_page import AXE, MENU, Hand
from support.processes import PageProcess
from support.screens import SCREENS
from support.waiting import until

from analysis.prediction.predict import predict
from analysis.rig_file.load import load_rig

pytestmark = pytest.mark.many  # further ways through pages that other tests open

RIGS = Path(str(resources.files("analysis") / "rigs"))
JOB = '[load]\nresistance_N = 3000.0\npull_distance_m = 15.0\n[team]\npull_N = 600.0\n'  # fmt: skip
PHONE, DESK = 390, 1280  # px
# touches; chosen by us: half of what the same takes without the question
MOST_WHICH, MOST_SPLIT, MOST_PRESETS = 3, 4, 8
QUIET = "!document.querySelector('[data-dash-is-loading]')"
TABLE = "document.querySelector('#beside table')"


class CalmHand(Hand):
    """Touches when the page has answered the last touch, as a person does who looks first."""

    def tap(self, then: str, script: str, *args) -> None:
        """Tap as `Hand` does, once nothing is being answered and nothing moves."""
        until(lambda: self.browser.js(f"return {QUIET}"), 40, "the answer to the last touch")
        self.browser.steady("return [document.body.innerHTML.length, window.scrollY]")
        super().tap(then, script, *args)

    def boxes(self, name: str) -> tuple[dict, dict]:
        """Where the menu and a part of the drawing stand in the window, px."""
        return tuple(self.browser.steady(
            "return [document.getElementById('menu'), document.querySelector(arguments[0])]"
            ".map(n => n.getBoundingClientRect().toJSON())", f"#drawing [data-element='{name}']"
        ))  # fmt: skip

    def close(self) -> None:
        """Close the menu."""
        self.button("Close", f"{MENU} === ''")

    def type_into(self, label: str, text: str, then: str) -> None:
        """Tap a field of the job, and type into it."""
        find = (
            "[...document.querySelectorAll('#job .field')]"
            ".find(n => n.innerText.startsWith(arguments[0])).querySelector('input')"
        )
        self.tap(f"document.activeElement === {find.replace('arguments[0]', repr(label))}", f"return {find}", label)  # fmt: skip
        self.browser.driver.switch_to.active_element.send_keys(text + "\n")
        until(lambda: self.browser.js(f"return {then}"), 40, then)

    def unfold(self, title: str) -> None:
        """Tap what hides a long list."""
        find = (
            "[...document.querySelectorAll('#job summary')]"
            ".find(n => n.innerText.startsWith(arguments[0]))"
        )
        self.tap(f"{find.replace('arguments[0]', repr(title))}.parentElement.open", f"return {find}", title)  # fmt: skip


@pytest.fixture
def launch(tmp_path) -> Path:
    """A rig file with a job, and another beside it."""
    shutil.copy(RIGS / "3.toml", tmp_path / "three.toml")
    text = (RIGS / "3-on-4.toml").read_text("utf-8")
    text = text.replace('name = "main"', 'name = "main"\nlength_m = 80.0\nmbs_kN = 30.0')
    path = tmp_path / "launch.toml"
    path.write_text(text + JOB, "utf-8")
    return path


def test_at_a_desk_the_menu_stands_beside_the_finger_and_on_the_screen(browser, launch):
    browser.size(DESK, 900)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        for part in ("A1", "L1", "T1", "G1"):
            hand.part(part)
            menu, touched = hand.boxes(part)
            middle = (
                touched["left"] + touched["width"] / 2,
                touched["top"] + touched["height"] / 2,
            )
            assert menu["left"] >= 0 and menu["right"] <= DESK
            assert menu["top"] >= 0 and menu["bottom"] <= 900
            near = max(menu["left"] - middle[0], middle[0] - menu["right"])
            assert 0 < near < 60, part  # beside it, and not over it
            hand.close()


def test_on_a_phone_the_menu_is_at_the_thumb_and_the_touched_place_stays_in_view(browser, launch):
    browser.size(PHONE, 844)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        for part in ("A1", "T1"):
            hand.part(part)
            menu, touched = hand.boxes(part)
            assert menu["bottom"] == 844 and menu["left"] == 0 and menu["right"] == PHONE
            assert menu["height"] <= 844 / 2
            assert touched["top"] >= 0 and touched["bottom"] <= menu["top"]
            hand.close()


def test_which_rig_does_the_job_is_asked_answered_and_taken(browser, launch, shots):
    browser.size(PHONE, 844)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.button("Which rig does the job?", f"{MENU}.includes('These do it')")
        browser.shot(shots / "rig-page-which-390.png")
        hand.button(
            "5:1 on 2:1", f"{MENU} === '' && document.getElementById('title').innerText === '5:1 on 2:1'"
        )  # fmt: skip
        hand.save()
    assert hand.touches <= MOST_WHICH
    rig = load_rig(launch)
    assert predict(rig)["ideal_ma"] == pytest.approx(10.0)
    assert (rig.load.resistance_N, rig.ropes[0].length_m, rig.team_pull_N) == (3000.0, 80.0, 600.0)
    assert predict(rig)["job"]["each"]["strokes"] >= 1


def test_a_viewer_may_ask_and_compare(browser, launch):
    """The address without its code is a viewer's."""
    browser.size(DESK, 900)
    with PageProcess("plan", launch) as serving:
        before = launch.read_bytes()
        hand = CalmHand(browser, serving.url + "#")
        hand.button("Which rig does the job?", f"{MENU}.includes('These do it')")
        hand.button("three.toml", f"!!{TABLE}", "Beside")
        assert "three.toml" in browser.js(f"return {TABLE}.innerText")
        assert launch.read_bytes() == before


def test_the_draft_stands_beside_the_file_and_beside_another_rig(browser, launch, shots):
    browser.size(DESK, 900)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.button("the file as it is on disk", f"!!{TABLE}", "Beside")
        assert browser.js("return document.querySelectorAll('#beside .differs').length") == 0
        hand.put("L1>C1", "Grab", "On the strand itself", "G2")
        hand.part("L2")
        hand.button("G2", f"{TABLE}?.innerText.includes('18.0 : 1 without')", "Hangs on")
        differing = browser.js(
            "return [...document.querySelectorAll('#beside .differs th')].map(n => n.innerText)"
        )
        assert {"Ratio with friction", "Haul force", "Rope"} <= set(differing)
        hand.close()
        hand.button("three.toml", f"{TABLE}?.innerText.includes('3.00 : 1 without')", "Beside")
        browser.js("document.getElementById('beside').scrollIntoView()")
        browser.shot(shots / "rig-page-beside-1280.png")


def test_a_second_rope_is_split_off_and_joined_again_by_touch(browser, launch):
    browser.size(PHONE, 844)
    before = tomllib.loads(launch.read_text("utf-8"))
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.strand("L2>G1")
        hand.button(
            "joined here by a plate",
            "!!document.querySelector(\"#drawing [data-element='B1']\")",
            "Split off a new rope",
        )
        assert browser.js("return document.querySelectorAll('#ropes h3').length") == 2
        hand.save()
        assert [rope.name for rope in load_rig(launch).ropes] == ["main", "rope 2"]
        assert hand.touches < MOST_SPLIT
        hand.tap(f"{MENU}.split('\\n')[0] === 'B1'",
                 "return document.querySelector(\"#drawing [data-element='B1']\")")  # fmt: skip
        hand.button(
            "Make one rope of its two", "document.querySelectorAll('#ropes h3').length === 1"
        )
        hand.save()
    assert tomllib.loads(launch.read_text("utf-8")) == before


def test_ground_and_people_are_chosen_from_what_is_assumed(browser, launch, shots):
    """Only the mass and the number of people are typed."""
    browser.size(PHONE, 844)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.button("dragging", f"{answer('Haul force')} === 'not known'", "How the load resists")
        hand.type_into("Mass of the load", "600", f"{answer('Haul force')} === 'not known'")
        hand.unfold("The ground")
        hand.button("sledge on grass", "document.getElementById('job').innerText.includes('Assumed: sledge on grass')")  # fmt: skip
        hand.type_into("How many people haul", "4", "document.getElementById('job').innerText.includes('4')")  # fmt: skip
        hand.button("good footing", "document.getElementById('job').innerText.includes('together 450')")  # fmt: skip
        browser.js("document.getElementById('job').scrollIntoView()")
        browser.shot(shots / "rig-page-job-390.png")
        hand.save()
    assert hand.touches <= MOST_PRESETS
    document = tomllib.loads(launch.read_text("utf-8"))
    assert document["load"]["surface"] == "sledge-on-grass"
    assert document["team"] == {"people": 4, "footing": "good"}


def answer(name: str) -> str:
    """Script for the value of an answer."""
    return (
        "([...document.querySelectorAll('#answers .answer')]"
        f".find(n => n.querySelector('dt').innerText === '{name}')?.querySelector('b').innerText)"
    )


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_axe_finds_nothing_serious_with_menu_table_and_fault(
    browser, launch, width, height, scheme, shots
):
    browser.size(width, height, scheme)
    with PageProcess("plan", launch) as serving:
        hand = CalmHand(browser, serving.link)
        hand.button("three.toml", f"!!{TABLE}", "Beside")
        found = serious(browser)
        hand.part("G1")
        hand.button(
            "One place toward the rope's first end", "!!document.querySelector('.what-is-wrong')"
        )
        wrong = browser.js("return document.querySelector('.what-is-wrong').innerText")
        assert browser.js("return document.querySelector('#answers .fault').innerText").endswith(
            wrong
        )
        browser.js("document.querySelector('.what-is-wrong').scrollIntoView({block: 'center'})")
        browser.shot(shots / f"rig-page-fault-{width}-{scheme}.png")
        found += serious(browser)
        hand.button("Which rig does the job?", f"{MENU}.includes('These do it')")
        browser.shot(shots / f"rig-page-which-{width}-{scheme}.png")
        found += serious(browser)
        assert browser.js("return document.documentElement.scrollWidth") <= width
        assert browser.console() == []
    assert found == []


def serious(browser) -> list[str]:
    """What axe finds serious or worse on the page as it is."""
    browser.js(AXE.read_text("utf-8") + "; window.axe = axe;")
    return browser.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']})"
        ".then(r => done(r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
        ".map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | '))))"
    )
