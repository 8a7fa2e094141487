"""A rig from a request is checked beside the writer thread: rows go on, whatever the check takes."""

from __future__ import annotations

import threading
import time
from itertools import pairwise

import pytest
from support.rigs import BLOCKS_HEAD as HEAD
from support.rigs import blocks
from support.waiting import patience, until
from support.yard import Yard, recording

from analysis.mechanics.model import model
from analysis.rig_file.load import parse_rig
from logger import clock
from logger.errors import RigFault
from logger.recorder import rig_check, writer_thread
from logger.recorder.request_inbox import ask, ask_rig, ask_rig_text
from logger.session.reader import read_all
from logger.transports.simulated import PtyDevice


def answer(yard: Yard, request: str, within_s: float = 30.0):
    return until(lambda: next((e for e in yard.events() if e.id == request), None), within_s)


def test_while_a_rig_is_checked_rows_are_written_and_requests_answered(
    yard: Yard, counting_device: PtyDevice
) -> None:
    """The check lasts until the test lets it go on: no clock of the machine judges it."""
    go_on = threading.Event()

    def check(text: str, name: str) -> str | None:
        if name != str(yard.rig):
            assert go_on.wait(600)
        return None

    with recording(yard, check_rig=check):
        rig = ask_rig_text(yard.out, HEAD)
        until(lambda: not list((yard.out / "inbox").iterdir()))  # it was taken up
        counting_device.send(yard.lines(0, 40), 1.0)
        until(lambda: len(yard.values()) == 40)
        assert answer(yard, ask(yard.out, "mark")).kind == "mark"
        second = answer(yard, ask_rig_text(yard.out, HEAD))
        assert (second.kind, "another rig" in second.text) == ("refused", True)
        assert "rig" not in yard.kinds()
        go_on.set()
        assert answer(yard, rig).kind == "rig"
    assert [e.text for e in yard.events() if e.kind == "rig"] == ["rig-2.toml"]


def test_a_check_beyond_its_time_is_refused_and_so_is_one_that_the_end_overtakes(
    yard: Yard, counting_device: PtyDevice, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()

    def check(text: str, name: str) -> object:
        return go_on.wait(600) and () if name != str(yard.rig) else None

    with recording(yard, check_rig=check) as running:
        monkeypatch.setattr(rig_check, "MOST_CHECK_S", 0.3)
        late = answer(yard, ask_rig_text(yard.out, HEAD))
        assert late.kind == "refused" and "takes longer than" in late.text
        monkeypatch.setattr(rig_check, "MOST_CHECK_S", 60.0)
        overtaken = ask_rig_text(yard.out, HEAD)
        until(lambda: not list((yard.out / "inbox").iterdir()))
        assert running.end().state == "sealed"
    go_on.set()
    row = answer(yard, overtaken)
    assert row.kind == "refused" and "ended before the rig was checked" in row.text
    assert not (yard.out / "rig-2.toml").exists()


def test_a_rig_of_hundreds_of_pulleys_delays_no_row(yard: Yard, counting_device: PtyDevice) -> None:
    """380 pulleys, checked ten times over, take seconds; rows that were sent one after the other are written meanwhile.

    No row waits for as long as half of the check, on however busy a machine: both grow with its load.
    """
    text = blocks(380)
    checked: list[tuple[float, float]] = []

    def check(given: str, name: str) -> None:
        began = time.monotonic()
        for _ in range(10):
            model(parse_rig(given, name))
        checked.append((began, time.monotonic()))

    yard.rig.write_text(blocks(2))
    file = yard.folder / "big.toml"
    file.write_text(text)
    written = [time.monotonic()]
    with recording(yard, check_rig=check):
        before = len(checked)
        request = ask_rig(yard.out, file)
        size = (yard.out / "readings.csv").stat().st_size
        for number in range(100_000):
            counting_device.send(yard.lines(number, 1))
            until(lambda size=size: (yard.out / "readings.csv").stat().st_size > size)
            size = (yard.out / "readings.csv").stat().st_size
            written.append(time.monotonic())
            if len(checked) > before:
                break
        assert answer(yard, request).kind == "rig"
    began, ended = checked[-1]
    waits = [min(two, ended) - max(one, began) for one, two in pairwise(written)]
    assert max(waits) < 0.5 * (ended - began)


def test_a_hostile_rig_is_refused_and_costs_the_rows_nothing(
    yard: Yard, counting_device: PtyDevice
) -> None:
    hostile = yard.folder / "hostile.toml"
    hostile.write_text(".".join("a" * 30_000) + " = 1\n")

    def check(given: str, name: str) -> None:
        if name != str(yard.rig):
            parse_rig(given, name)

    with recording(yard, check_rig=check):
        row = answer(yard, ask_rig(yard.out, hostile), 5.0)
        assert row.kind == "refused" and "a key of more than 8 parts" in row.text
    with pytest.raises(RigFault):
        parse_rig(hostile.read_text(), "hostile.toml")
    assert read_all(yard.out).clock[-1].time_s >= 0


def test_a_rig_is_answered_in_the_turn_after_its_check_and_not_when_the_inbox_is_looked_at(
    yard: Yard, counting_device: PtyDevice, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Interface section 4: an answer within 0.1 s.  The inbox is looked at each 2 s here, so that a busy
    machine does not hide the difference; judged by the times in the record."""
    monkeypatch.setattr(writer_thread, "INBOX_S", 2.0)
    ended: list[float] = []

    def check(text: str, name: str) -> tuple[()]:
        ended.append(clock.now())
        return ()

    start = time.monotonic()
    with recording(yard, check_rig=check) as running:
        row = answer(yard, ask_rig_text(yard.out, HEAD))
        assert row.kind == "rig"
        offset = clock.now() - time.monotonic()
        zero_moment = min(moment - status.time_s for moment, status in running.statuses) + offset
        assert row.time_s + zero_moment - ended[-1] < min(1.9, 0.3 * patience(start))
