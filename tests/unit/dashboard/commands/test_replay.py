"""A replay: the same rows in the same order at the pace asked for, marked, the original untouched."""

from __future__ import annotations

import json
import signal
import time
import tomllib
import urllib.request

import pytest
from support.growing_session import Page
from support.places import SAMPLES
from support.processes import ended, start_haul
from support.sealed_sessions import made
from support.waiting import patience, until

from analysis.review.review import review_session
from analysis.rig_file.load import parse_rig
from dashboard.live.watcher import Watch
from dashboard.watch.replay_copy import Replay, marked
from logger.session.reader import read_all, session_state
from logger.session.verify import verify


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def played(session, folder, speed, until=None):
    """A replay driven tick by tick, up to `until` seconds of wall time."""
    folder.mkdir()
    clock = Clock()
    replay = Replay(session, folder, speed, clock)
    while replay.tick() and (until is None or clock.now < until):
        clock.now += 0.04
    return replay, clock


def test_all_rows_are_played_and_the_review_is_the_same(tmp_path):
    session = made(tmp_path / "s", marks=3)
    replay, clock = played(session, tmp_path / "r", 20.0)
    rows = (replay.path / "readings.csv").read_bytes()
    assert rows == (session / "readings.csv").read_bytes()
    assert verify(replay.path).state == "complete"
    was, now = review_session(session), review_session(replay.path)
    for key in ("measured", "predicted", "strokes", "resets", "peaks", "duration_s"):
        assert now[key] == was[key], key
    assert [e for e in now["events"] if e["kind"] == "mark"] == [
        e for e in was["events"] if e["kind"] == "mark"
    ]
    # 23 s of session at 20 times its pace
    assert clock.now == pytest.approx(was["duration_s"] / 20, abs=0.1)


@pytest.mark.parametrize("session", SAMPLES, ids=lambda p: p.name)
def test_what_the_live_page_shows_at_the_end_is_what_the_review_says(session, tmp_path):
    clock = Clock()
    replay = Replay(session, tmp_path, 20.0, clock)
    watch = Watch(replay.path, clock=clock)
    while replay.tick():
        watch.tick()
        clock.now += 0.08
    clock.now += 2.0
    watch.tick()
    page = Page(watch)
    page.ask()
    review = review_session(session)
    for key in ("actual_ma", "efficiency", "load_force_N"):
        measured = {name: review["measured"][key][name] for name in ("value", "U95", "n")}
        assert page.parts[key] == pytest.approx(measured, rel=4e-3), key  # three digits are shown
    assert page.parts["load_force_method"] == review["measured"]["load_force_method"]
    assert page.parts["verdict"] == review["agreement"]["verdict"]
    hauls = [s for s in review["strokes"] if s["direction"] == "haul"]
    assert (page.parts["strokes"]["haul_strokes"], page.parts["strokes"]["resets"]) == (
        len(hauls),
        review["resets"],
    )


@pytest.mark.parametrize("speed", [1.0, 5.0, 20.0])
def test_after_a_second_of_wall_time_that_many_seconds_were_played(tmp_path, speed):
    session = made(tmp_path / "s", strokes=3)
    replay, _ = played(session, tmp_path / "r", speed, until=1.0)
    block = read_all(replay.path)
    assert block.readings["haul_force"].time_s[-1] == pytest.approx(speed, abs=0.06 * speed)
    assert block.clock[-1].time_s == pytest.approx(speed, abs=0.06 * speed)
    assert session_state(replay.path) == "growing"
    replay.stop()


def test_it_is_marked_and_the_original_is_not_touched(tmp_path):
    session = made(tmp_path / "s")
    before = {
        p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in session.iterdir() if p.is_file()
    }
    replay, _ = played(session, tmp_path / "r", 4.0)
    assert replay.path.name == "REPLAY-4x-s"
    assert review_session(replay.path)["title"] == "REPLAY 4x: Launch, 3:1"
    after = {
        p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in session.iterdir() if p.is_file()
    }
    assert after == before


@pytest.mark.parametrize("title", [
    'title = "plain"', "title = 'one quote \\'", 'title = """two\nlines"""', "", 'title="no spaces" # note',
    'note = """\ntitle = "not this"\n"""\ntitle = "this"',
])  # fmt: skip
def test_only_the_title_of_the_rig_changes(title):
    rest = 'anchor_to_load_m = 40.0\n[[rope]]\nname = "r"\npath = [ { tie = "load" }, { pulley = "A", on = "anchor" }, { haul = "team" } ]\n'
    text = f"{title}\n{rest}"
    was = tomllib.loads(text)
    now = tomllib.loads(marked(text, "rig.toml", "REPLAY 2x: "))
    assert now["title"].startswith("REPLAY 2x:")
    assert (
        parse_rig(marked(text, "rig.toml", "x"), "rig.toml").stations
        == parse_rig(text, "rig.toml").stations
    )
    assert now["anchor_to_load_m"] == was["anchor_to_load_m"]


def test_the_live_page_watches_it_and_ctrl_c_ends_it_without_a_trace(tmp_path):
    session = made(tmp_path / "s", strokes=4)
    process = start_haul("replay", session, "--speed", "20", "--http", "0")
    try:
        url, _, code = process.stdout.readline().strip().partition("#")
        assert url.startswith("http://127.0.0.1:") and len(code) == 22

        def since() -> dict:
            with urllib.request.urlopen(f"{url}since?seq=0&v=0&span=60", timeout=600) as answer:
                return json.load(answer)

        until(lambda: "REPLAY 20x" in json.dumps(since()["parts"]), 10, "the mark on the page")
        until(lambda: "RECORDING STOPPED" in json.dumps(since()), 10, "the end of the replay")
    finally:
        process.send_signal(signal.SIGINT)
        out, err = ended(process)
    assert (process.returncode, out, err) == (0, "", "")


def test_wrong_calls(haul, tmp_path):
    session = made(tmp_path / "s", hz=2.0)
    (tmp_path / "empty").mkdir()
    for argv, word in (
        (["replay"], "SESSION"), (["replay", session, "--speed", "0.5"], "1 to 20"),
        (["replay", session, "--speed", "fast"], "fast"), (["replay", session, "--speed", "nan"], "nan"),
        (["replay", tmp_path / "nothing"], "nothing"), (["replay", tmp_path / "empty"], "not a session folder"),
        (["replay", session, "--http", "70000"], "65535"),
    ):  # fmt: skip
        said = haul(*argv)
        assert said.status == 2 and said.err.count("\n") == 1 and word in said.err, said
    nothing = made(tmp_path / "n")
    (nothing / "readings.csv").write_text("time_s,channel,reading\n", "utf-8")
    said = haul("replay", nothing)
    assert said.status == 2 and "nothing to play" in said.err


def test_a_thread_stops_at_once(tmp_path):
    session = made(tmp_path / "s")
    replay = Replay(session, tmp_path, 1.0)
    replay.start()
    began = time.monotonic()
    until(lambda: session_state(replay.path) == "growing", 5, "the copy grows")
    replay.stop()
    assert time.monotonic() - began < 2.0 * patience(began)
    assert session_state(replay.path) == "cut short"
