"""The home page while a haul is recorded: what it reads now stands beside the way to it."""

from __future__ import annotations

import json
from dataclasses import replace

from support.sensors_desk import texts_in

from dashboard.desk_server.home_layout import home_body
from dashboard.desk_server.home_view import ChannelLine, HomeView, SessionLine
from dashboard.desk_server.next_step import NextStep, WayOn

HAUL = SessionLine(
    name="launch haul", title="Launch", started="2026-05-04 12:00:00 +02:00", state="growing",
    advantage="being recorded", worst="being recorded", over=False, growing=True, live="/s/launch%20haul/",
    review="/result/launch%20haul/",
)  # fmt: skip
VIEW = HomeView(
    folder="yard", step=NextStep("launch haul is being recorded.", (WayOn("Look at the haul", HAUL.live),)),
    now=(ChannelLine("haul_force", "force at haul", "342 N"),), rigs=(), sensors=(), sessions=(HAUL,),
    more_sessions=0, odd=(),
)  # fmt: skip


def parts(view: HomeView) -> list[dict]:
    """The sections of the page as a browser gets them."""
    from plotly.utils import PlotlyJSONEncoder

    return [json.loads(json.dumps(one, cls=PlotlyJSONEncoder)) for one in home_body(view, True)]


def test_the_number_of_the_haul_stands_between_the_sentence_and_the_button():
    said = " ".join(texts_in(parts(VIEW)[0]))
    assert said.index("is being recorded") < said.index("342 N") < said.index("Look at the haul")


def test_a_haul_without_an_end_has_no_result_to_look_at():
    last = json.dumps(parts(VIEW)[-1])
    assert "its figures come when it is over" in last and HAUL.review not in last
    over = replace(HAUL, growing=False, state="sealed", advantage="2.7 : 1")
    assert HAUL.review in json.dumps(parts(replace(VIEW, sessions=(over,)))[-1])
