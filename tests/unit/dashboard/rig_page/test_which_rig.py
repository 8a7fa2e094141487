"""Which rig does the job: asked with the page's own values, and put into the draft as long as the job allows."""

from __future__ import annotations

import json
import tomllib
from importlib import resources

import pytest
from support.rigs import three_to_one

from analysis.prediction.choose_rig import Need, choose
from analysis.prediction.predict import predict
from analysis.rig.rig import Load
from analysis.rig_edit.draft import opened
from dashboard.rig_page.acts import made
from dashboard.rig_page.menu import WHICH, menu
from dashboard.rig_page.touches import chosen
from dashboard.rig_page.which_rig import job_need
from logger.errors import CallFault, UserFault

ASK = {"ask": "which"}
JOB = three_to_one(
    "resistance_N = 3000.0\nresistance_u_N = 300.0\npull_distance_m = 15.0",
    rope="length_m = 80.0\ndiameter_mm = 11.0\n",
    more="[team]\npull_N = 600.0\n",
)


def asked(text: str):
    """The menu that answers which rig does the job of this draft."""
    document = tomllib.loads(text)
    return menu(document, chosen(ASK, document, None))


def test_the_answer_is_that_of_choose():
    expected = choose(
        Need(Load(resistance_N=3000.0, resistance_u_N=300.0, pull_distance_m=15.0), 80.0, 600.0)
    )
    shown = asked(JOB)
    assert shown.title == WHICH
    names = [json.loads(one.act)[1] for one in shown.questions[0].choices]
    assert names == [one.name for one in expected if not one.why_not] and names
    assert len(shown.questions[2].about.sources) == len(expected) - len(names)
    assert " : 1 (" in shown.questions[0].choices[0].label
    assert "±" in shown.questions[0].choices[0].label


@pytest.mark.parametrize(
    ("gone", "said"),
    [("length_m = 80.0\n", "how long the rope is"), ("pull_distance_m = 15.0", "how far"),
     ("pull_N = 600.0", "what the people pull"), ("resistance_N = 3000.0\n", "resistance")],
)  # fmt: skip
def test_what_is_missing_is_asked_for_where_it_is_said(gone, said):
    shown = asked(JOB.replace(gone, ""))
    assert said in shown.questions[0].about.notes[0]
    fields = [entry.act for group in shown.questions for entry in group.entries]
    assert '["set", "rope.0", "length_m"]' in fields and '["set", "team", "pull_N"]' in fields


def test_a_rig_that_is_taken_does_the_job_with_the_jobs_rope():
    best = json.loads(asked(JOB).questions[0].choices[0].act)
    draft = made(opened(JOB, "r.toml"), best)
    rig = draft.outcome().rig
    assert rig is not None, draft.outcome().fault
    before, after = tomllib.loads(JOB), tomllib.loads(draft.text)
    assert after["load"] == before["load"] and after["team"] == before["team"]
    assert after["rope"][0]["length_m"] == 80.0 and after["rope"][0]["diameter_mm"] == 11.0
    job = predict(rig)["job"]["each"]
    assert job["strokes"] >= 1
    assert predict(rig)["haul_force_N"] <= 600.0
    assert draft.undo().text == JOB


def test_ground_and_people_from_presets_are_a_job():
    text = JOB.replace("resistance_N = 3000.0\nresistance_u_N = 300.0",
                       'kind = "dragging"\nmass_kg = 600\nsurface = "sledge-on-grass"')  # fmt: skip
    text = text.replace("pull_N = 600.0", 'people = 4\nfooting = "good"')
    need, missing = job_need(tomllib.loads(text))
    assert missing == () and need is not None
    assert (need.team_N, need.haulers) == (450.0, 4)  # 4 x 0.75 x 150 N
    assert need.resistance.force_N == pytest.approx(0.40 * 600 * 9.80665)
    assert asked(text).questions[0].choices


@pytest.mark.parametrize("name", ["nothing", "../3", 3, ""])
def test_another_rig_than_the_shelfs_is_refused(name):
    with pytest.raises(CallFault, match="no such rig"):
        made(opened(JOB, "r"), ["fit", name])


@pytest.mark.parametrize(
    "name", sorted(f.name for f in (resources.files("analysis") / "rigs").iterdir())
)
def test_every_rig_of_the_shelf_is_taken_with_the_job_and_its_rope(name):
    if not name.endswith(".toml"):
        return
    for act in (["shelf", name], ["fit", name.removesuffix(".toml")]):
        draft = made(opened(JOB, "r"), act)
        after = tomllib.loads(draft.text)
        assert after["load"] == tomllib.loads(JOB)["load"]
        assert after["rope"][0]["length_m"] == 80.0
        outcome = draft.outcome()
        assert outcome.rig is not None or isinstance(outcome.fault, UserFault)
