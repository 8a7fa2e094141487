"""A recorder that is stopped for seconds: what waited is dated, what the kernel dropped joins no lines."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from support.processes import ended
from support.waiting import patience
from support.yard import Counter, Yard, count_into, force, serve_pty, serve_tcp, travel, until

from logger.session.reader import read_all
from logger.session.records import Event
from logger.session.verify import verify

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no SIGSTOP")
STOP_S = 3.0
COLUMNS = """
[[channel]]
name = "force"
quantity = "force"
at = "haul"
format = "columns"
column = 1
count = 1
separator = ";"
unit = "N"
port = "{port}"
baud = 115200
"""


@contextmanager
def recorder(yard: Yard, ports: int) -> Iterator[subprocess.Popen[str]]:
    """A recorder in a process of its own, with all ports open; sealed at the end."""
    process = yard.start()
    try:
        until(lambda: yard.kinds().count("connect") == ports)
        yield process
        process.send_signal(signal.SIGTERM)
        out, _ = ended(process)
        assert out.strip() == "sealed"
    finally:
        process.kill()
        process.communicate()


def stop(process: subprocess.Popen[str], stop_s: float = STOP_S) -> None:
    """Stop a process as Ctrl-Z does, for so long."""
    process.send_signal(signal.SIGSTOP)
    time.sleep(stop_s)  # the stop itself
    process.send_signal(signal.SIGCONT)


def stalls(yard: Yard) -> list[Event]:
    """The events of the stops; a busy machine may hold a reader up in between, which is told too."""
    return [e for e in yard.events() if e.kind == "stall" and (e.value or 0.0) > STOP_S - 0.5]


def may_be_off(sent: list[float], rate: float, since: float) -> float:
    """How far a time may be off, s: 0.4 on a quiet machine. On a busy one more, as far as that kept the
    sending thread waiting and may have kept the reader; never as far as one time for all of a stop would be."""
    held_up_s = max((two - one for one, two in pairwise(sent)), default=0.0) - 1.0 / rate
    return min(0.4 * patience(since) + 2 * held_up_s, STOP_S / 2)


def errors(yard: Yard, sent: list[float], name: str) -> np.ndarray:
    """How far each row's time is off from when its number was sent, s, less the usual delay."""
    rows = read_all(yard.out).readings[name]
    off = rows.time_s - np.array(sent)[rows.reading.astype(int)]
    return np.asarray(off - np.median(off))


@pytest.mark.parametrize("rate", [10.0, pytest.param(50.0, marks=pytest.mark.many)])
def test_what_waited_during_a_stop_is_dated_by_its_own_rate(tmp_path: Path, rate: float) -> None:
    """Less than the kernel's buffer: every reading is there, about when it was sent."""
    start = time.monotonic()
    pty, tcp = serve_pty(), serve_tcp()
    yard = Yard(tmp_path, force(pty.url) + travel(tcp.url))
    with recorder(yard, 2) as process:
        until(lambda: tcp.wait_client(0.1))
        counter = Counter([count_into(pty, yard), count_into(tcp, yard, "travel")], rate)
        until(lambda: len(yard.values()) > 2 * rate)
        for turn in range(2):
            stop(process)
            now = len(counter.sent)
            until(lambda n=now: len(yard.values()) > n and len(yard.values("travel")) > n)
            until(lambda n=turn: len(stalls(yard)) >= 2 * (n + 1), what="a stall of each port")
            assert len(stalls(yard)) == 2 * (turn + 1)
        counter.stop()
    pty.close()
    tcp.close()
    for name in ("force", "travel"):
        values = yard.values(name)
        assert values == [float(k) for k in range(int(values[0]), len(counter.sent))]
        late_s = may_be_off(counter.sent, rate, start)
        assert np.abs(errors(yard, counter.sent, name)).max() < late_s, name
    told = [event for event in stalls(yard) if event.channel == "force"]
    for event in told:
        assert STOP_S - 0.5 < (event.value or 0.0) < STOP_S + 0.5 * patience(start)
        count = int(event.text.split(" s; ")[1].split()[0])
        # all that was sent while it was stopped, which on a busy machine may be less or longer
        more = 0.5 * (patience(start) - 1.0)
        assert 0.85 * STOP_S * rate - 2 - more * rate < count
        assert count < (1.15 * STOP_S + more) * rate + 2
        assert "readings of force" in event.text and pty.url in event.text
    assert "gap" not in yard.kinds()
    assert verify(yard.out).state == "complete"


@pytest.mark.many
def test_a_buffer_that_was_full_and_lost_nothing_costs_a_few_lines(tmp_path: Path) -> None:
    """The program cannot tell it from one that lost something: the lines about its end are dropped and
    counted."""
    start = time.monotonic()
    pty = serve_pty()
    yard = Yard(tmp_path, force(pty.url))
    with recorder(yard, 1) as process:
        counter = Counter([count_into(pty, yard)], 100.0)
        until(lambda: len(yard.values()) > 200)
        stop(process)
        now = len(counter.sent)
        until(lambda: yard.values()[-1] > now + 50)
        counter.stop()
    pty.close()
    dropped = len(counter.sent) - len(yard.values())
    assert 1 <= dropped <= 40 and read_all(yard.out).clock[-1].drops["force"] == dropped
    late_s = may_be_off(counter.sent, 100.0, start)
    assert np.abs(errors(yard, counter.sent, "force")).max() < late_s


def test_bytes_that_the_kernel_dropped_join_no_two_lines(tmp_path: Path) -> None:
    """A number alone on its line has no other mark by which a joined one would be seen.  All numbers sent
    have nine digits and count up, so any joined, torn or repeated one is found."""
    start = time.monotonic()
    pty = serve_pty()
    yard = Yard(tmp_path, COLUMNS.format(port=pty.url))
    first, rate = 100_000_000, 1000.0
    began, held_s = time.monotonic(), 0.02
    lines = [0]

    def send(k: int) -> None:
        # as a wire that carries no more than this a second: a busy machine's burst is no device's
        lines[0] = max(lines[0], int((time.monotonic() - began - held_s) * rate))
        if lines[0] < (time.monotonic() - began) * rate:
            lines[0] += 1
            pty.send(b"%d\r\n" % (first + k))

    with recorder(yard, 1) as process:
        counter = Counter([send], rate)
        until(lambda: len(yard.values()) > 1000)
        for _ in range(3):
            stop(process)
            now = len(counter.sent)
            until(lambda n=now: yard.values()[-1] > first + n + 500)
        counter.stop()
    pty.close()
    values = np.array(yard.values()) - first
    assert (values >= 0).all() and (values < len(counter.sent)).all()
    assert (values % 1 == 0).all() and (np.diff(values) > 0).all()
    rejects = (yard.out / "rejects.csv").read_text()
    assert "across an overflow of the system's buffer" in rejects
    told = stalls(yard)
    assert len(told) == 3 and all("the system's buffer was full" in e.text for e in told)
    # the kernel keeps some 20 kB, 1.8 s of these lines; those are dated from the beginning of the stop on
    kept = [int(e.text.split(" s; ")[1].split()[0]) for e in told]
    assert min(kept) > 1000 / patience(start)
    rows = read_all(yard.out).readings["force"]
    late = rows.time_s - np.array(counter.sent)[values.astype(int)]
    assert np.abs(late - np.median(late)).max() < may_be_off(counter.sent, rate, start)
