"""Random touches: never an exception, never a lost draft, never a saved rig that predict refuses."""

from __future__ import annotations

import json
import shutil
import tempfile
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from support.every_rig import of_the_tests, shipped

from analysis.prediction.predict import predict
from analysis.rig_edit.edits import kind_of
from analysis.rig_file.load import load_rig
from dashboard.rig_page.acts import act_values, made
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.menu_parts import MenuGroup
from dashboard.rig_page.places.cells import ForceChannel, RigCells
from dashboard.rig_page.places.surroundings import Surroundings
from dashboard.rig_page.view import RigView, view
from dashboard.text.units import METRIC
from logger.errors import UserFault

RIGS = [text for text in {**shipped(), **of_the_tests()}.values() if len(text) < 4000]
DAILY_RUNS, LONG_RUNS, TOUCHES_A_RUN = 12, 420, 20
MANY = 5000  # touches; required of this page
NAMES = ("A1", "A2", "G1", "G2", "T1", "L1", "C1", "P1", "K1", "B1", "load", "anchor", "nobody")
TOUCHED = st.one_of(
    st.builds(lambda n: {"strand": n}, st.integers(-1, 12)),
    st.builds(lambda r, s: {"place": [r, s]}, st.integers(0, 2), st.integers(-1, 12)),
    st.builds(lambda r, s: {"gap": [r, s]}, st.integers(0, 2), st.integers(0, 12)),
    st.builds(lambda n: {"element": n}, st.sampled_from(NAMES)),
    st.just({"ask": "which"}),
    st.just({"ask": "grabs"}),
    st.sampled_from([None, 3, [], {"strand": "a"}, {"place": [0]}, {"place": ["a", 1]}, {"element": 4}]),
)  # fmt: skip
TYPED = st.sampled_from(
    ["", "1", "0", "0.9", "12", "9000", "-3", "1,5", "3 lb", "40 ft", "5 kN", "ten", "nan", "1e99",
     "A1", "main", "bowline", 'a"b', "</svg><script>", "x" * 300, "\n"]
)  # fmt: skip
ALWAYS = (["undo"], ["redo"], ["begin", "load"], ["begin", "anchor"], ["shelf", "3-on-4.toml"], ["rope"],
          ["take", 0, 1], ["move", 0, 1, 3], ["put", "edge", 1, 1, ""], ["drop", "plate", "B1"],
          ["cut", 0, 2], ["cut", 1, 1], ["join", "B1"], ["pull on", 0, 1], ["fit", "3-on-4"])  # fmt: skip


# a cell at a place that most of the rigs have; no search of grabs' places, which takes a minute
BESIDE = Surroundings(cells=RigCells("loggers.toml", (ForceChannel("haul_cell", "L1"),), mark="1"))


def of_the_page(page: RigView) -> tuple[list[str], list[str]]:
    """The acts of every button of a page, and of every field."""
    groups: list[MenuGroup] = [*(page.menu.questions if page.menu else ()), *page.job]
    return (
        [choice.act for group in groups for choice in group.choices],
        [entry.act for group in groups for entry in group.entries],
    )


class Touches(RuleBasedStateMachine):
    """One person at the page of one rig file."""

    counted = 0  # touches made by all runs

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "rig.toml"
        self.touched: object = None
        self.saves = 0

    @initialize(text=st.sampled_from(RIGS))
    def open_a_rig(self, text: str) -> None:
        """Begin with any rig."""
        self.path.write_bytes(text.encode())
        self.store = DraftStore(self.path)

    @rule(what=TOUCHED)
    def touch(self, what: object) -> None:
        """Touch something, or nothing; only the page changes."""
        Touches.counted += 1
        text = self.store.state().draft.text
        self.touched = what
        self.page()
        assert self.store.state().draft.text == text

    @rule(what=TOUCHED, data=st.data())
    def press(self, what: object, data: st.DataObject) -> None:
        """Press any button that the page then shows."""
        Touches.counted += 1
        self.touched = what
        buttons, _ = of_the_page(self.page())
        chosen_act = data.draw(st.sampled_from([*buttons, *(json.dumps(one) for one in ALWAYS)]))
        self.do(act_values(chosen_act), None)

    @rule(what=TOUCHED, typed=TYPED, data=st.data())
    def type_in(self, what: object, typed: str, data: st.DataObject) -> None:
        """Type into any field that the page then shows."""
        Touches.counted += 1
        self.touched = what
        _, fields = of_the_page(self.page())
        self.do(act_values(data.draw(st.sampled_from(fields))), typed)

    @rule()
    def save(self) -> None:
        """Save; refused where the rig can't work, and then nothing is written."""
        Touches.counted += 1
        before = self.path.read_bytes()
        works = self.store.state().draft.outcome().rig is not None
        try:
            self.store.save()
            assert works
            assert self.path.read_text("utf-8") == self.store.state().draft.text
        except UserFault:
            assert not works
            assert self.path.read_bytes() == before

    @rule()
    def save_as(self) -> None:
        """Save under a name that is free."""
        Touches.counted += 1
        self.saves += 1
        try:
            self.store.save(f"copy {self.saves}")
        except UserFault:
            assert self.store.state().draft.outcome().rig is None

    @rule()
    def start_again(self) -> None:
        """The program is killed and started anew: the draft is offered, and taken up."""
        Touches.counted += 1
        text, saved = self.store.state().draft.text, self.store.state().saved
        self.store = DraftStore(self.path)
        assert self.store.state().offered is not saved
        self.store.take_offered(True)
        assert self.store.state().draft.text == text

    @invariant()
    def the_draft_is_on_disk_and_the_files_work(self) -> None:
        """What was made is in a file, and what haul reads works."""
        if not hasattr(self, "store"):
            return
        state = self.store.state()
        kept = self.path if state.saved else self.store.draft_path
        assert kept.read_text("utf-8") == state.draft.text
        for file in self.folder.glob("*.toml"):
            assert predict(load_rig(file))

    def do(self, values: list, typed: str | None) -> None:
        """Make an act at the draft's version, or be refused in one line with the draft unchanged."""
        before = self.store.state()
        try:
            assert self.store.change(before.version, lambda d: made(d, values, typed))
        except UserFault as fault:
            assert "\n" not in str(fault)
            assert self.store.state() == before
        self.page()

    def page(self) -> RigView:
        """The page, checked: list and drawing agree, and it says either what the rig does or what is wrong."""
        state = self.store.state()
        page = view(state, self.touched, METRIC, 900, BESIDE)
        assert bool(page.fault) != bool(page.answers)
        outcome = state.draft.outcome()
        listed = [row.text for rope in page.ropes for row in rope.stations]
        written = [
            s for rope in tomllib.loads(state.draft.text).get("rope", []) for s in rope["path"]
        ]
        assert len(listed) == len(written)
        if outcome.drawn is not None:
            agree(page, outcome.drawn, written)
        return page

    def teardown(self) -> None:
        """Remove the files."""
        shutil.rmtree(self.folder)


def agree(page: RigView, drawn, written: list[dict]) -> None:
    """Each strand and part of the list is on the drawing, and no other."""
    svg = ElementTree.fromstring(page.svg)
    strands = {n.get("data-number") for n in svg.iter() if n.get("data-number") is not None}
    assert strands == {str(k) for k in range(len(drawn.strands))}
    named = {n.get("data-element") for n in svg.iter() if n.get("data-element") is not None}
    parts = {
        str(s[kind_of(s)]) for s in written if kind_of(s) in ("pulley", "grab", "capture", "edge")
    }
    assert parts <= named, (parts, named)
    bodies = {body.name for body in drawn.bodies}
    assert named <= parts | bodies | set(drawn.ratings) | {g.name for g in drawn.gears} | {"team"} | {
        str(s["haul"]) for s in written if "haul" in s}  # fmt: skip
    labels = [row.strand for rope in page.ropes for row in rope.stations[1:]]
    assert len(labels) == len(drawn.strands)


def run(runs: int) -> int:
    """Run this many series of touches; the number of touches made."""
    Touches.counted = 0
    run_state_machine_as_test(
        Touches,
        settings=settings(max_examples=runs, stateful_step_count=TOUCHES_A_RUN, deadline=None),
    )
    return Touches.counted


def test_any_touches_leave_a_page_a_draft_and_files_that_work():
    assert run(DAILY_RUNS) > DAILY_RUNS


@pytest.mark.many
def test_five_thousand_touches_leave_a_page_a_draft_and_files_that_work():
    assert run(LONG_RUNS) >= MANY
