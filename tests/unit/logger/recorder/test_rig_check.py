"""A rig from a request is checked beside the writer thread: rows go on, whatever the check takes."""

from __future__ import annotations

import threading
import time
from itertools import pairwise

import pytest
from support.waiting import until
from support.yard import Yard, recording

from analysis.mechanics.model import model
from analysis.rig_file.load import parse_rig
from logger.errors import RigFault
from logger.recorder import rig_check
from logger.recorder.request_inbox import ask, ask_rig, ask_rig_text
from logger.session.reader import read_all
from logger.transports.simulated import PtyDevice

HEAD = 'title = "blocks"\nanchor_to_load_m = 12.0\n[defaults]\npulley_efficiency = 0.95\n'


def blocks(pulleys: int) -> str:
    """A rig of one rope that runs to and fro between the anchor and the load."""
    path = ['{ tie = "anchor" }'] + [
        f'{{ pulley = "P{k}", on = "{"anchor" if k % 2 else "load"}" }}' for k in range(pulleys)
    ]
    inner = ",\n".join([*path, '{ haul = "team" }'])
    return f'{HEAD}[[rope]]\nname = "main"\npath = [\n{inner}\n]\n'


def answer(yard: Yard, request: str, within_s: float = 30.0):
    return until(lambda: next((e for e in yard.events() if e.id == request), None), within_s)


def test_while_a_rig_is_checked_rows_are_written_and_requests_answered(
    yard: Yard, counting_device: PtyDevice
) -> None:
    """The check lasts until the test lets it go on: no clock of the machine judges it."""
    go_on = threading.Event()

    def check(text: str, name: str) -> str | None:
        if name != str(yard.rig):
            assert go_on.wait(60)
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
        return go_on.wait(60) and () if name != str(yard.rig) else None

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
    """380 pulleys take seconds; rows that were sent one after the other are written meanwhile."""
    text = blocks(380)
    checked: list[float] = []

    def check(given: str, name: str) -> None:
        model(parse_rig(given, name))
        checked.append(time.monotonic())

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
            if len(checked) > before and number > 20:
                break
        assert answer(yard, request).kind == "rig"
    during = [two - one for one, two in pairwise(written) if one <= checked[-1]]
    assert sorted(during)[int(0.9 * len(during))] < 0.3  # 50 ms, six times that on a busy machine


def test_a_hostile_rig_is_refused_and_costs_the_rows_nothing(
    yard: Yard, counting_device: PtyDevice
) -> None:
    hostile = yard.folder / "hostile.toml"
    hostile.write_text(".".join("a" * 30_000) + " = 1\n")

    def check(given: str, name: str) -> None:
        if name != str(yard.rig):
            parse_rig(given, name)

    with recording(yard, check_rig=check):
        row = answer(yard, ask_rig(yard.out, hostile), 3.0)
        assert row.kind == "refused" and "a key of more than 8 parts" in row.text
    with pytest.raises(RigFault):
        parse_rig(hostile.read_text(), "hostile.toml")
    assert read_all(yard.out).clock[-1].time_s >= 0
