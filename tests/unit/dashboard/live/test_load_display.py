"""The live page's "load moved" without a counter at the load: the review's sum, at every moment."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.channels import force, json_channel, rope
from support.growing_session import Growing, Page
from support.rigs import nine_to_one, three_to_one

import dashboard
from analysis.review.review import review_session
from analysis.strokes.analyser import Analyser
from dashboard.live.watcher import Watch
from logger.session.reader import Follower

PULL_M = 10.0
RIG = three_to_one(
    'kind = "slope"\nmass_kg = 620.0\nslope_deg = 6.0\nresistance_coefficient = 0.03\n'
    f"pull_distance_m = {PULL_M}",
    rope="length_m = 50.0\n",
    more="[capture.C1]\nsetback_m = 0.05\n",
)
NINE_TO_ONE = nine_to_one("resistance_N = 900.0")
CELL = force("u = 1.0", "capacity = 3000.0")
SENSORS = CELL + rope()
HAULED_N, EASED_N = 350.0, 0.3


class Crew:
    """A rope hauled, fed back and lowered, with a page looking on every 0.1 s.  shown: what the
    page said of the load's way, m, since the start."""

    def __init__(self, out, rig: str = RIG, sensors: str = SENSORS, step_s: float = 0.1) -> None:
        self.out, self.step_s = out, step_s
        self.session = Growing(out, rig, sensors)
        self.t = self.rope = 0.0
        self.shown: list[float | None] = []
        self.mono = 100.0
        self.watch = Watch(out, clock=lambda: self.mono)
        self.page = Page(self.watch)
        self.rest(4.0)

    def go(self, for_s: float, force_N: float, rope_m: float) -> list[float | None]:
        """What was shown while it went on."""
        rate, began = rope_m / for_s, len(self.shown)
        for _ in range(round(for_s / self.step_s)):
            t = self.t + np.arange(0, self.step_s - 1e-9, 0.02)
            for name, values in (
                ("haul_force", np.full(len(t), force_N)), ("rope_out", self.rope + rate * (t - self.t)),
            ):  # fmt: skip
                if name in self.session.names:
                    self.session.rows(name, t, values)
            self.t += self.step_s
            self.rope += rate * self.step_s
            self.session.clock(self.t)
            self.look()
        return self.shown[began:]

    def look(self, later_s: float = 0.0) -> dict:
        self.mono = 100.0 + self.t + later_s
        self.watch.tick()
        self.page.ask()
        self.shown.append(self.page.now["moved_m"])
        return self.page.now

    def haul(self, rope_m: float, for_s: float = 4.0):
        return self.go(for_s, HAULED_N, rope_m)

    def rest(self, for_s: float = 2.0):
        return self.go(for_s, EASED_N, 0.0)

    def feed_back(self, rope_m: float, for_s: float = 2.0):
        return self.go(for_s, EASED_N, -rope_m)

    def lower(self, rope_m: float, for_s: float = 4.0):
        return self.go(for_s, 0.75 * HAULED_N, -rope_m)

    def another_rig(self, text: str) -> None:
        self.session.writer.copy("rig-2.toml", text.encode())
        self.session.event(self.t, "rig", "", None, "rig-2.toml")

    def end(self) -> dict:
        """The session sealed; what its review says."""
        self.session.seal()
        self.look(0.3)
        assert self.watch.finished
        return review_session(self.out)


def net_of(review: dict, ratio: float = 3.0) -> float:
    """The load's way by a review's list of strokes: hauled less lowered, m."""
    sign = {"haul": 1, "lower": -1}
    return sum(sign[s["direction"]] * s["haul_travel_m"] for s in review["strokes"]) / ratio


def goes_down(shown, by: float = 0.005) -> float:
    """By how much a later number is below an earlier one, at most, where more than `by`; m."""
    known = [x for x in shown if x is not None]
    most = max((a - b for a, b in itertools.pairwise(known)), default=0.0)
    fell = max(known, default=0.0) - (known[-1] if known else 0.0)
    return max(most, fell) if max(most, fell) > by else 0.0


def test_three_strokes_with_rope_fed_back_between_are_three_strokes_of_load(tmp_path):
    crew = Crew(tmp_path / "s")
    for k in range(3):
        crew.haul(2.0)
        crew.rest()
        if k < 2:
            assert goes_down(crew.feed_back(2.0)) == 0
            assert goes_down(crew.rest(1.0)) == 0
    assert crew.page.now["moved_m"] == pytest.approx(2.0, abs=0.03)
    assert crew.page.now["to_go_m"] == pytest.approx(PULL_M - 2.0, abs=0.03)
    review = crew.end()
    assert len(review["strokes"]) == 3 and review["resets"] == 2
    assert crew.page.now["moved_m"] == round(review["measured"]["load_travel_m"], 3)
    assert review["measured"]["load_travel_method"] == "model"


def test_while_hauling_the_page_is_at_most_half_a_second_of_rope_behind(tmp_path):
    crew = Crew(tmp_path / "s")
    crew.haul(2.0)
    crew.rest()
    crew.feed_back(2.0)
    before = crew.page.now["moved_m"]
    shown = crew.haul(3.0, 6.0)  # 0.5 m of rope a second
    for k, now in enumerate(shown):
        true = before + 0.5 * 0.1 * (k + 1) / 3
        assert true - 0.5 * 0.5 / 3 - 0.01 <= now <= true + 0.01, k


def test_rope_lowered_under_tension_takes_the_load_back_and_the_hauled_sum_stays_the_reviews(
    tmp_path,
):
    crew = Crew(tmp_path / "s")
    crew.haul(6.0, 8.0)
    crew.go(1.5, HAULED_N, 0.0)
    crew.lower(1.5)
    crew.go(1.5, HAULED_N, 0.0)
    assert crew.page.now["moved_m"] == pytest.approx(1.5, abs=0.03)
    assert crew.page.now["to_go_m"] == pytest.approx(PULL_M - 1.5, abs=0.03)
    crew.haul(1.5)
    crew.rest()
    review = crew.end()
    assert [s["direction"] for s in review["strokes"]] == ["haul", "lower", "haul"]
    hauled_m, lowered_m = (
        crew.page.parts["moved"]["hauled_m"],
        crew.page.parts["moved"]["lowered_m"],
    )
    assert hauled_m == round(review["measured"]["load_travel_m"], 3)
    assert hauled_m == pytest.approx(2.5, abs=0.03) and lowered_m == pytest.approx(0.5, abs=0.03)
    assert crew.page.now["moved_m"] == round(net_of(review), 3)


def test_each_part_of_the_session_counts_by_the_ratio_of_its_own_rig(tmp_path):
    crew = Crew(tmp_path / "s")
    crew.haul(3.0)
    crew.rest()
    crew.another_rig(NINE_TO_ONE)
    assert goes_down(crew.rest(3.0)) == 0
    assert goes_down(crew.feed_back(2.5)) == 0
    crew.haul(4.5)
    crew.rest()
    assert crew.page.now["moved_m"] == pytest.approx(3.0 / 3 + 4.5 / 9, abs=0.02)
    assert crew.page.parts["moved"]["rigs"] == 2
    # what is to go is of the first rig's file, in which the whole way is counted from the start
    assert crew.page.now["to_go_m"] == pytest.approx(PULL_M - 1.5, abs=0.02)
    assert crew.page.parts["head"]["pull_distance_m"] == PULL_M
    review = crew.end()
    strokes = [s["haul_travel_m"] for s in review["strokes"]]
    assert crew.page.now["moved_m"] == round(strokes[0] / 3 + strokes[1] / 9, 3)


def test_a_counter_elsewhere_in_the_rig_counts_rope_by_the_gain_of_the_rig_that_held(tmp_path):
    # the strand that pulls the load runs over A1: as much as the load's way, a third of what comes out at
    # the haul of the 3:1 and a ninth in the 9:1
    at_a1 = CELL + json_channel("rope_out", "length", "r", "u = 0.005", at="A1")
    crew = Crew(tmp_path / "s", sensors=at_a1)
    crew.haul(1.0)
    crew.rest()
    assert crew.page.now["rope_out_m"] == pytest.approx(3.0, abs=0.03)
    crew.another_rig(NINE_TO_ONE)
    crew.rest(3.0)
    assert crew.page.now["rope_out_m"] == pytest.approx(3.0, abs=0.03)
    crew.haul(1.0)
    assert crew.page.now["rope_out_m"] == pytest.approx(3.0 + 9.0, abs=0.05)
    crew.rest()
    assert crew.page.now["moved_m"] == pytest.approx(2.0, abs=0.02)


def test_without_a_cell_rope_fed_back_is_not_told_from_lowering_and_no_way_is_claimed(tmp_path):
    crew = Crew(tmp_path / "s", sensors=rope())
    crew.haul(2.0)
    crew.feed_back(2.0)
    assert crew.page.now["moved_m"] is None and crew.page.now["to_go_m"] is None
    assert "no cell at the haul" in crew.page.parts["moved"]["why"]
    assert review_session(crew.out)["measured"]["load_travel_m"] is None


def test_bodies_are_not_drawn_back_while_rope_is_fed_back_on_the_capture(tmp_path):
    crew = Crew(tmp_path / "s")
    crew.haul(6.0, 8.0)
    crew.rest()
    stood = crew.watch.live.in_use.stands_m.copy()
    crew.feed_back(5.0)
    assert np.abs(crew.watch.live.in_use.stands_m - stood).max() < 0.05


def test_no_script_of_the_page_works_out_the_loads_way(tmp_path):
    for script in (Path(dashboard.__file__).parent / "assets").rglob("*.js"):
        text = script.read_text("utf-8")
        way = r"(?:head\.pull_distance_m|now\.(?:moved|rope_out|to_go)_m)"
        assert not re.search(rf"{way}\s*[-+*/]|[-+*/]\s*{way}\b(?!\))", text), script.name


act = st.one_of(
    st.tuples(st.just("haul"), st.floats(1.0, 4.0)),
    st.tuples(st.just("stroke"), st.floats(1.0, 4.0)),  # hauled, set on the capture, fed back
    st.tuples(st.just("lower"), st.floats(0.6, 2.0)),
    st.tuples(st.just("rest"), st.floats(0.0, 1.0)),
)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(acts=st.lists(act, min_size=1, max_size=5))
@pytest.mark.many
def test_after_any_strokes_live_is_the_review(acts, tmp_path_factory):
    crew = Crew(tmp_path_factory.mktemp("crew") / "s", step_s=0.2)
    crew.haul(3.0)
    for what, metres in acts:
        if what in ("haul", "stroke"):
            assert goes_down(crew.haul(metres)) == 0
        if what == "stroke":
            assert goes_down(crew.rest() + crew.feed_back(metres)) == 0
        if what == "lower":
            crew.go(1.0, HAULED_N, 0.0)
            crew.lower(metres)
            crew.go(1.0, HAULED_N, 0.0)
        if what == "rest":
            assert goes_down(crew.rest()) == 0
    crew.rest()
    review = crew.end()
    assert crew.page.parts["moved"]["hauled_m"] == round(review["measured"]["load_travel_m"], 3)
    assert crew.page.now["moved_m"] == round(net_of(review), 3)


def test_the_sum_asks_for_no_estimate(tmp_path):
    """What the page shows is the analyser's strokes alone, so it may be looked at often."""
    from analysis.strokes.load_travel import by_rope

    crew = Crew(tmp_path / "s")
    crew.haul(3.0)
    analyser = Analyser(roles=crew.watch.live.roles)
    for block in Follower(crew.out).blocks():
        analyser.push(block, crew.t)
    way = by_rope(analyser.result())
    assert way.net_m == pytest.approx(1.0, abs=0.02) and way.why_not is None
