"""Within 2 s of its connection a port that is not understood is told: how much comes, and why it may be."""

from __future__ import annotations

import random
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.waiting import patience
from support.yard import Yard, force, recording, serve_pty, serve_tcp, silent_wire, travel, until

from logger.session.records import Event
from logger.transports.simulated import Device

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no pseudo-terminals")
COLUMNS = """
[[channel]]
name = "force"
quantity = "force"
at = "haul"
format = "columns"
column = {column}
unit = "N"
port = "{port}"
baud = 9600
"""


@contextmanager
def sending(device: Device, line: Callable[[], bytes]) -> Iterator[list[float]]:
    """A device that sends ten lines a second, on a busy machine fewer; when each was sent, s."""
    halt = threading.Event()
    sent: list[float] = []

    def run() -> None:
        while not halt.wait(0.1):
            device.send(line())
            sent.append(time.monotonic())

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield sent
    finally:
        halt.set()
        thread.join()


def told(yard: Yard, url: str) -> list[Event]:
    return [
        e for e in yard.events() if e.kind == "gap" and "understood" in e.text and url in e.text
    ]


def noise() -> bytes:
    return random.Random(7).randbytes(30)


CASES = {
    "baud": (COLUMNS.format(column=1, port="{}"), noise, "wrong baud rate: 9600 is set"),
    "column": (COLUMNS.format(column=1, port="{}"), lambda: b"ST, 12.5\r\n", "wrong column: force looks in column 1; columns that hold a number: 2"),
    "few": (COLUMNS.format(column=4, port="{}"), lambda: b"1, 12.5\r\n", "wrong column: force looks in column 4; columns that hold a number: 1, 2"),
    "no end": (force("{}"), lambda: b"12.5;", "no line has ended yet: write ends"),
    "other end": (force("{}") + 'ends = "|"\n', lambda: b"12.5;", 'no line has ended by ends = "|"'),
    "silent": (force("{}"), lambda: b"", "must be asked"),
    "format": (force("{}"), lambda: b"+ 0012.5 N\r\n", "no sentence"),
}  # fmt: skip


@pytest.mark.parametrize("case", list(CASES))
def test_a_port_that_nobody_understands_is_told_within_two_seconds(
    tmp_path: Path, case: str
) -> None:
    text, line, cause = CASES[case]
    device = serve_pty()
    yard = Yard(tmp_path, text.replace("{}", device.url))
    with recording(yard) as running, sending(device, line) as sent:
        opened = time.monotonic()
        (event,) = until(lambda: told(yard, device.url))
        assert time.monotonic() - opened < 2.5 * patience(opened)
        assert cause in event.text and event.channel == "force"
        status = until(
            lambda: next(
                (s for _, s in running.statuses if any(device.url in n for n in s.news)), None
            )
        )
        assert any(cause in news for news in status.news)
        assert cause in until(lambda: running.statuses[-1][1].ports[device.url])
        running.end()
    device.close()
    assert "of" in event.text and len(told(yard, device.url)) == 1
    connected = next(e for e in yard.events() if e.kind == "connect")
    assert event.time_s - connected.time_s < 2.0 * patience(opened)
    sample = line().decode("latin-1").strip()
    if sample.isascii() and sample:
        assert f'the first: "{sample}' in event.text
        rate = float(event.text.split(": ")[1].split()[0])
        sent_rate = (len(sent) - 1) / (sent[-1] - sent[0])
        assert (rate == 0.0) if case in ("no end", "other end") else (0.5 * sent_rate < rate < 12)


def test_ports_that_are_understood_are_not_told(tmp_path: Path) -> None:
    one, two = serve_pty(), serve_tcp()
    yard = Yard(tmp_path, force(one.url) + travel(two.url))
    count = iter(range(10_000))
    with recording(yard) as running, sending(one, lambda: yard.lines(next(count), 1)):
        with sending(two, lambda: yard.lines(next(count), 1, "travel") + b"$GPGGA,1*4B\r\n"):
            time.sleep(3.5)  # longer than it takes to judge a port twice
        running.end()
    one.close()
    two.close()
    assert [e for e in yard.events() if "understood" in e.text] == []


def test_a_device_that_is_put_right_is_not_shown_any_more(tmp_path: Path) -> None:
    device = serve_pty()
    yard = Yard(tmp_path, force(device.url))
    lines = [b"hello\r\n"]
    with recording(yard) as running, sending(device, lambda: lines[0]):
        until(lambda: running.statuses and running.statuses[-1][1].ports[device.url])
        lines[0] = yard.lines(1, 1)
        until(lambda: not running.statuses[-1][1].ports[device.url])
        running.end()
    device.close()


def test_a_port_that_learns_other_columns_says_so(tmp_path: Path) -> None:
    """A device comes back with a column more: which number is the force now is not for the program to
    know."""
    device = serve_tcp()
    yard = Yard(tmp_path, COLUMNS.format(column=2, port=device.url))
    with recording(yard) as running:
        until(lambda: device.wait_client(0.1))
        silent_wire()
        for _ in range(3):
            device.send(b"1; 2\r\n".replace(b";", b","))
        until(lambda: len(yard.values()) >= 2)
        device.drop_clients()
        until(lambda: yard.kinds().count("connect") == 2 and device.wait_client(0.1))
        silent_wire()
        for _ in range(8):
            device.send(b"7, 1, 2\r\n")
        (event,) = until(lambda: [e for e in yard.events() if "3 numbers now, 2 before" in e.text])
        until(lambda: any("3 numbers now" in n for _, s in running.statuses for n in s.news))
        running.end()
    device.close()
    assert (
        event.channel == "force" and device.url in event.text and "force = column 2" in event.text
    )
