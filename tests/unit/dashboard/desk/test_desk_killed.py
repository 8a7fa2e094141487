"""The desk killed while a recording runs: the recorder goes on, no edit is lost, the next desk shows the session."""

from __future__ import annotations

import json
from urllib.parse import quote

import pytest
from support.desk_server import DeskCalls, DeskProcess, acts_in
from support.processes import RIG, SENSORS, CommandedDevice
from support.systems import pseudo_terminals
from support.waiting import until

from dashboard.desk.folder import running
from dashboard.desk_server.server import DeskServer
from logger.errors import CallFault
from logger.session.reader import session_state

CHECK, RIG_PAGE = "/check/", "/rig/launch/"
WITHIN_S = 40
ALL = {"seen.data": None, "started.data": "", "asked.data": "", "note.value": ""}


@pytest.fixture
def device():
    speaking = CommandedDevice()
    yield speaking
    speaking.close()


def seen_to(desk: DeskCalls) -> bool:
    """Confirm or overrule what is open on the check page now, then start; whether that was allowed."""
    for act in acts_in(desk.look(CHECK)["lines"]):
        if act[0] == "confirm":
            desk.touch(CHECK, act, ALL)
        if act[0] == "over":
            desk.touch(CHECK, ["reason", "0"], {**ALL, "asked.data": act[1]})
    answer = json.loads(desk.touch(CHECK, ["start"], ALL)[1])["response"]
    return not answer["said"]["children"]


def started(desk: DeskCalls, folder) -> str:
    """The session that the check page starts once everything open was seen to."""
    until(lambda: seen_to(desk), WITHIN_S, "the start")
    until(lambda: running(folder), WITHIN_S, "a recording")
    return running(folder)


@pseudo_terminals
def test_a_killed_desk_costs_no_reading_and_no_edit(tmp_path, device):
    (tmp_path / "launch.toml").write_text(RIG, "utf-8")
    (tmp_path / "loggers.toml").write_text(SENSORS.replace("{port}", device.port), "utf-8")
    first = DeskProcess(tmp_path)
    try:
        name = started(first, tmp_path)
        readings = tmp_path / name / "readings.csv"
        until(readings.exists, WITHIN_S, "readings")
        values = {"version.data": 1, "width.data": 400, "touched.data": None}
        assert first.touch(RIG_PAGE, ["put", "pulley", 0, 4, "anchor"], values)[0] == 200
    finally:
        first.kill()  # at once: what the page has answered is on the disk
    assert "A2" in (tmp_path / ".desk" / "launch.toml.draft").read_text("utf-8")
    size = readings.stat().st_size
    until(lambda: readings.stat().st_size > size, WITHIN_S, "further readings after the kill")
    assert running(tmp_path) == name

    again = DeskProcess(tmp_path)  # the lock went with the process
    try:
        with pytest.raises(CallFault, match="another desk serves this folder"):
            DeskServer(tmp_path)
        strip = {item["name"]: item for item in json.loads(again.get("/desk/strip")[1])}
        assert (strip["Haul"]["word"], strip["Haul"]["address"]) == (
            "recording",
            f"/s/{quote(name)}/",
        )
        assert again.get(f"/s/{quote(name)}/")[0] == 200
        assert "is being recorded" in json.dumps(again.look("/desk/home/"))
        assert (
            "draft of an earlier time"
            in again.look(RIG_PAGE, width__data=400)["status"]["children"]
        )
    finally:
        ended = again.act("end", name)[0]
        until(lambda: session_state(tmp_path / name) == "sealed", WITHIN_S, "the sealed session")
        again.process.__exit__()
    assert ended == 202
