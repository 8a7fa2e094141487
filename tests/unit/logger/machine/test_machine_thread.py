"""A machine that does not answer: the recording shows its state, answers and is sealed all the same."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import Running, Yard, force, recording

from logger.machine import machine_thread
from logger.machine.keep_awake import SleepInhibitor
from logger.machine.machine_watch import MachineWatch
from logger.machine.power_supply import PowerState
from logger.recorder.request_inbox import ask
from logger.session.verify import verify

pytestmark = pseudo_terminals


class NoInhibitor(SleepInhibitor):
    """Runs no command of the system."""

    def hold(self) -> None:
        pass


def said(running: Running, text: str) -> bool:
    """Whether the recorder passed on a line with this text."""
    return any(text in line for _, status in running.statuses for line in status.news)


@pytest.fixture
def answers() -> Iterator[threading.Event]:
    """The system answers from the moment that this is set."""
    event = threading.Event()
    yield event
    event.set()


@pytest.mark.parametrize("question", ["free_bytes", "read_power"])
def test_a_question_without_an_answer_holds_up_no_status_and_no_seal(
    yard: Yard, answers: threading.Event, question: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `statvfs` on a network drive whose server is gone."""
    monkeypatch.setattr(machine_thread, "NO_ANSWER_S", 0.2)
    asked = threading.Event()

    def silent(*of: object) -> object:
        asked.set()
        assert answers.wait(600)
        return 50_000_000_000 if question == "free_bytes" else PowerState("mains")

    device = yard.pty()
    yard.write(force(device.url))
    machine = MachineWatch(yard.out, sleep_inhibitor=NoInhibitor(), **{question: silent})
    with recording(yard, machine=machine) as running:
        assert asked.wait(600)
        shown = len(running.statuses)
        until(lambda: len(running.statuses) > shown + 5, 30, "further statuses")
        until(lambda: said(running, "the system has not answered"), 30)
        device.send(yard.lines(0, 10), 1.0)
        until(lambda: len(yard.values()) == 10, 30)
        ask(yard.out, "end")
        assert running.wait().state == "sealed"  # the answer is still out
        assert not answers.is_set()
    assert verify(yard.out).state == "complete"


def test_an_answer_that_comes_late_is_taken_and_said(
    yard: Yard, answers: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(machine_thread, "NO_ANSWER_S", 0.2)
    yard.write(force(yard.pty().url))

    def late(folder: object) -> int:
        assert answers.wait(600)
        return 5_000_000

    machine = MachineWatch(
        yard.out,
        free_bytes=late,
        read_power=lambda: PowerState("mains"),
        sleep_inhibitor=NoInhibitor(),
    )
    with recording(yard, machine=machine) as running:
        until(lambda: said(running, "the system has not answered"), 30)
        answers.set()
        until(lambda: said(running, "the system answers again"), 30)
        until(lambda: "disk" in yard.kinds(), 30)
