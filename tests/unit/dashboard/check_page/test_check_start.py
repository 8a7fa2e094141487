"""From the check to the recording, with a device on a pseudo-terminal: overruled, started, found again after a kill."""

from __future__ import annotations

import json
import os
import re
import signal
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest
from support.desk_server import OpenDesk, callback_body, gathered_touches
from support.http_server import assert_refused, sent_to
from support.processes import (
    RIG,
    SENSORS,
    CommandedDevice,
    PageProcess,
    ended,
    exit_status,
    start_haul,
)
from support.tiers import every
from support.waiting import until

from dashboard.check_page.recorder_start import RecorderStart
from dashboard.desk.folder import running
from dashboard.web.touches import TOUCHES
from logger.session.reader import read_all

CHECK = "/check/"
UPDATED = "/check/_dash-update-component"


@pytest.fixture
def device():
    found = CommandedDevice()
    yield found
    found.close()


@pytest.fixture
def folder(tmp_path, device):
    (tmp_path / "launch.toml").write_text(RIG, "utf-8")
    (tmp_path / "loggers.toml").write_text(SENSORS.replace("{port}", device.port), "utf-8")
    yield tmp_path
    if running(tmp_path) is not None:
        os.kill(recorder_of(tmp_path), signal.SIGTERM)
        until(lambda: running(tmp_path) is None, 20, "the recorder's end")


def recorder_of(folder) -> int:
    """The process id of the recorder, as it printed it."""
    log = folder / ".desk" / "recorder.log"
    said = until(lambda: re.search(r"kill ([0-9]+)", log.read_text("utf-8")), 20, "its first line")
    return int(said[1])


class CheckCaller:
    """What a page of the check sends, with the cookie of a role.  port: of the desk; link: with the code."""

    def __init__(self, link: str) -> None:
        url, _, code = link.partition("#")
        self.port = int(url.rpartition(":")[2].strip("/"))
        self.host = f"127.0.0.1:{self.port}"
        body = json.dumps({"code": code}).encode()
        answer = sent_to(self.port, "/enter", "POST", {"Content-Type": "application/json"}, body)
        self.cookie = answer[2]["Set-Cookie"].split(";")[0]
        told = sent_to(self.port, f"{CHECK}_dash-dependencies", headers={"Cookie": self.cookie})
        rows = {row["output"]: row for row in json.loads(told[1])}
        self.looking = next(row for key, row in rows.items() if "@" not in key and "lines" in key)
        self.changing = next(row for key, row in rows.items() if "@" in key)

    def send(self, body) -> dict:
        """The answer to a callback's request."""
        head = {
            "Content-Type": "application/json",
            "Origin": f"http://{self.host}",
            "Cookie": self.cookie,
        }
        status, data, _ = sent_to(self.port, UPDATED, "POST", head, json.dumps(body).encode())
        assert status == 200, data
        return json.loads(data)["response"]

    def look(self) -> dict:
        """The page as it is now."""
        return self.send(callback_body(self.looking, {}))

    def touch(self, *act: str, note: str = "", asked: str = "") -> dict:
        """The page after a touch."""
        values = {"note.value": note, "asked.data": asked, "started.data": ""}
        trigger = ({"type": "do", "act": json.dumps(act)}, "n_clicks", 1)
        return self.send(callback_body(self.changing, values, trigger))

    def touch_both(self, *acts: list) -> dict:
        """The page after touches that come in one call."""
        body = callback_body(self.changing, {"asked.data": "", "started.data": ""})
        ids = [{"type": "do", "act": json.dumps(act)} for act in acts]
        body["inputs"][0]["value"] = gathered_touches(*((one, "n_clicks", 1) for one in ids))
        body["changedPropIds"] = [f"{TOUCHES}.data"]
        return self.send(body)


def touchable(part, verb: str) -> list[str]:
    """The values of all buttons with an act of this verb, in components as they are sent."""
    if isinstance(part, list):
        return [one for each in part for one in touchable(each, verb)]
    if not isinstance(part, dict):
        return []
    found = []
    control = part.get("props", {}).get("id")
    if isinstance(control, dict) and control.get("type") == "do":
        values = json.loads(control["act"])
        found = [values[1]] if values[0] == verb else []
    return found + touchable(part.get("props", {}).get("children"), verb)


def answered(caller: CheckCaller) -> dict:
    """The list once no line waits for a device or the machine."""

    def there():
        response = caller.look()
        text = json.dumps(response["lines"]["children"])
        return None if "wait" in text or "confirm" not in text else response

    return until(there, 20, "every line")


def settle(caller: CheckCaller, reason: str = "seen to by hand") -> None:
    """Confirm and overrule whatever is asked, all confirmations in one call, until nothing is left.

    On a busy machine a device may be silent for a moment, which is one line more.
    """

    def settled() -> bool:
        shown = answered(caller)["lines"]["children"]
        if marks := touchable(shown, "confirm"):
            caller.touch_both(*(["confirm", mark] for mark in marks))
        for mark in touchable(shown, "over"):
            caller.touch("over", mark)
            caller.touch("reason", "note", note=reason, asked=mark)
        return str(caller.look()["left"]["children"]).startswith("Nothing is left")

    until(settled, 20, "nothing is left")


def test_the_recorder_goes_on_after_the_desk_is_killed_and_the_next_desk_finds_it(folder):
    with PageProcess("desk", folder) as desk:
        caller = CheckCaller(desk.link)
        refused = caller.touch("start")
        assert "not yet" in refused["said"]["children"] and running(folder) is None
        settle(caller, reason='by hand, "Ada"\n<b>')
        started = caller.touch("start")
        assert started["said"]["children"] == "", started["said"]
        name = until(lambda: running(folder), 20, "the session")
        assert started["started"]["data"] == name
        # a second start is refused in one line
        again = caller.touch("start")["said"]["children"]
        assert "already" in again and "\n" not in again
        desk.process.kill()
        exit_status(desk.process)
    before = len(read_all(folder / name).clock)
    until(lambda: len(read_all(folder / name).clock) > before + 4, 10, "more rows without a desk")
    with PageProcess("desk", folder) as desk:
        caller = CheckCaller(desk.link)
        assert f"{name} is being recorded" in caller.look()["left"]["children"]
        status, data, _ = sent_to(caller.port, "/haul/", headers={"Cookie": caller.cookie})
        assert status == 200 and name.encode() in data
        assert "already" in caller.touch("start")["said"]["children"]
    os.kill(recorder_of(folder), signal.SIGTERM)
    until(lambda: running(folder) is None, 20, "the seal")
    events = read_all(folder / name).events
    texts = [one.text for one in events if one.kind == "override"]
    assert any(
        t.startswith("Zero of haul_force: the zero was not taken; overruled: by hand")
        for t in texts
    )
    assert len(texts) == len(set(texts)) and all("\n" not in one for one in texts)
    out, _ = ended(start_haul("verify", folder / name))
    assert "complete" in out
    # what was said held for that haul alone
    said = json.loads((folder / ".desk" / "check.json").read_text("utf-8"))
    assert said["started"] in ("", name)


def test_two_starts_at_once_make_one_session(folder):
    with PageProcess("desk", folder) as desk:
        caller = CheckCaller(desk.link)
        settle(caller)
        with ThreadPoolExecutor(2) as pool:
            both = [pool.submit(caller.touch, "start") for _ in range(2)]
            said = sorted(one.result()["said"]["children"] for one in both)
        assert said[0] == "" and "already" in said[1]
        until(lambda: running(folder), 20, "the session")
        assert len([one for one in folder.iterdir() if one.is_dir() and one.name != ".desk"]) == 1


def test_a_start_that_fails_is_told_and_what_was_said_stays(folder):
    with PageProcess("desk", folder) as desk:
        caller = CheckCaller(desk.link)
        settle(caller)
        name = caller.look()["suggested"]["children"]
        control = {"type": "field", "act": "name"}
        (folder / "taken").mkdir()
        body = callback_body(caller.changing, {})
        body["inputs"][0]["value"] = gathered_touches((control, "value", "taken"))
        body["changedPropIds"] = [f"{TOUCHES}.data"]
        assert caller.send(body)["suggested"]["children"] == "taken"
        assert "is there already" in caller.touch("start")["said"]["children"]
        body["inputs"][0]["value"] = gathered_touches((control, "value", ""))
        assert caller.send(body)["suggested"]["children"] == name
        assert caller.look()["left"]["children"].startswith("Nothing is left")
        # the recorder itself refuses: its line stands on the page, and nothing has to be said again
        (folder / ".desk" / "recorder.log").unlink(missing_ok=True)
        (folder / ".desk" / "recorder.log").mkdir()
        assert "cannot be started" in caller.touch("start")["said"]["children"]
        (folder / ".desk" / "recorder.log").rmdir()
        assert running(folder) is None


@pytest.fixture
def open_desk(folder):
    with closing(OpenDesk(folder)) as serving:
        yield serving


def test_a_viewer_says_nothing_to_the_check_and_opens_no_port(open_desk, folder):
    looking = open_desk.callback(CHECK, changes=False)
    changing = open_desk.callback(CHECK, changes=True)
    status, data, _ = open_desk.call(CHECK, callback_body(looking, {}), "viewer")
    shown = json.loads(data)["response"]
    assert status == 200 and "not listened to" in json.dumps(shown["lines"])
    assert '"type": "do"' not in json.dumps(shown["lines"]) and shown["foot"]["hidden"] is True
    marks = touchable(
        json.loads(open_desk.call(CHECK, callback_body(looking, {}))[1])["response"]["lines"],
        "confirm",
    )
    for act in (
        ["start"],
        ["confirm", "0" * 16],
        ["rig", "launch"],
        ["takes", "3600"],
        *(["confirm", m] for m in marks),
    ):
        trigger = ({"type": "do", "act": json.dumps(act)}, "n_clicks", 1)
        assert_refused(open_desk.call(CHECK, callback_body(changing, {}, trigger), "viewer"), 403)
    assert not (folder / ".desk" / "check.json").exists() and running(folder) is None


@pytest.mark.parametrize(
    "act",
    every(4, ['["start", "x"]', '["confirm", "../../etc"]', '["rig", "../launch"]', '["rig", "nothing"]', '["takes", "1e9"]',
     '["takes", "7"]', '["sensors", ".desk"]', '["reason", "0"]', "[]", "{}", "null", '["no"]', "[" * 400, '["over", 3]',
     '["back", ["a"]]', '["confirm", "ffffffffffffffff"]']),
)  # fmt: skip
def test_what_is_no_act_of_the_check_changes_nothing(open_desk, folder, act):
    changing = open_desk.callback(CHECK, changes=True)
    trigger = ({"type": "do", "act": act}, "n_clicks", 1)
    status, data, _ = open_desk.call(
        CHECK, callback_body(changing, {"asked.data": "zz", "note.value": 3}, trigger)
    )
    said = json.loads(data)["response"]["said"]["children"]
    assert status == 200 and said and "Traceback" not in said
    assert not (folder / ".desk" / "check.json").exists() and running(folder) is None


@pytest.mark.parametrize("name", ["../out", "a/b", ".hidden", "x" * 70, "two\nlines"])
def test_a_session_gets_no_name_that_leads_out(open_desk, folder, name):
    changing = open_desk.callback(CHECK, changes=True)
    body = callback_body(changing, {})
    control = {"type": "field", "act": "name"}
    body["inputs"][0]["value"] = gathered_touches((control, "value", name))
    body["changedPropIds"] = [f"{TOUCHES}.data"]
    said = json.loads(open_desk.call(CHECK, body)[1])["response"]["said"]["children"]
    assert "a name has letters" in said


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"confirmed": 3, "overruled": [], "takes_s": "x", "name": "../x"}',
        "[" * 9000,
    ],
)
def test_a_kept_check_that_is_not_ours_is_no_fault(folder, text):
    (folder / ".desk").mkdir()
    (folder / ".desk" / "check.json").write_text(text, "utf-8")
    serving = OpenDesk(folder)
    try:
        looking = serving.callback(CHECK, changes=False)
        assert serving.call(CHECK, callback_body(looking, {}))[0] == 200
    finally:
        serving.close()


def test_a_look_while_the_recorder_starts_takes_no_port_from_it(folder, monkeypatch):
    """Every page that is open looks twice a second: also between the closing of the ports and the first line of the recorder."""
    begin, looks, refused = RecorderStart.start, [], []

    def looked_at(recorder, *given, **more):
        looks.append(caller.look())
        # nor may the sensors page open one then
        refused.append(desk.server.sensors.listeners.blocked({"/dev/null"}))
        begin(recorder, *given, **more)

    monkeypatch.setattr(RecorderStart, "start", looked_at)
    desk = OpenDesk(folder)
    try:
        caller = CheckCaller(
            f"http://127.0.0.1:{desk.server.port}/#{desk.server.sharing.codes['operator']}"
        )
        settle(caller)
        assert caller.touch("start")["said"]["children"] == "" and len(looks) == 1
        until(lambda: running(folder), 20, "the session")
        assert "the recording needs it" in refused[0]
    finally:
        desk.close()
