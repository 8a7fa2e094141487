"""Wires that come off, stand swapped, or bring what no device should: the memory stays bounded,
the other channel is unharmed, and each leaves an event or a counted drop."""

from __future__ import annotations

import os
import random
import signal
import socket
import struct
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from support.flood import Flood
from support.processes import ended
from support.systems import pseudo_terminals
from support.waiting import patience, until
from support.yard import (
    Counter,
    Yard,
    count_into,
    force,
    in_order,
    recording,
    serve_pty,
    serve_tcp,
    silent_wire,
    travel,
)

from logger.channels.sensors_file import parse_sensors
from logger.formats.base import Decoded
from logger.formats.registry import encode
from logger.recorder.bounded_queue import BoundedQueue
from logger.recorder.port_warnings import PortWarnings
from logger.session.reader import read_all
from logger.session.records import Event
from logger.session.verify import verify
from logger.transports.reader_thread import Arrival

pytestmark = pseudo_terminals
BACK_S = 1.0


class Two:
    """A cell on a port to be tormented, and a rope counter on another that must not notice."""

    def __init__(self, folder: Path, rate: float = 200.0) -> None:
        self.bad, self.good = serve_pty(), serve_tcp()
        self.yard = Yard(
            folder, force(self.bad.url, "stale_after_s = 0.3\n") + travel(self.good.url)
        )
        self.rate = rate

    def __enter__(self) -> Two:
        self._recording = recording(self.yard)
        self.running = self._recording.__enter__()
        until(lambda: self.yard.kinds().count("connect") == 2 and self.good.wait_client(0.1))
        self.counter = Counter([count_into(self.good, self.yard, "travel")], self.rate)
        silent_wire()
        return self

    def __exit__(self, *what: Any) -> None:
        self.counter.stop()
        self.outcome = self.running.end()
        self._recording.__exit__(*what)
        self.bad.close()
        self.good.close()
        if what[0] is None:
            values = self.yard.values("travel")
            assert in_order(values) and len(values) == len(self.counter.sent), "the other channel"
            assert self.outcome.drops["travel"] == 0
            assert verify(self.yard.out).state == "complete"

    def say(self, data: bytes) -> None:
        self.bad.send(data, 5.0)


def test_an_unplugged_socket_gives_its_first_row_within_a_second_of_its_return(
    tmp_path: Path,
) -> None:
    """However long it was away: the wait between two tries does not grow beyond that."""
    device = serve_tcp()
    yard = Yard(tmp_path, force(device.url))
    with recording(yard) as running:
        until(lambda: device.wait_client(0.1))
        device.send(yard.lines(0, 10))
        until(lambda: len(yard.values()) == 10)
        device.close()
        until(lambda: "disconnect" in yard.kinds())
        time.sleep(2.0)  # by then the tries are as far apart as they get
        again = serve_tcp(device.port)

        def comes_back() -> bool:
            again.send(yard.lines(10, 1))
            return len(yard.values()) > 10

        until(comes_back, BACK_S, "the first row after the return")
        running.end()
    again.close()
    lost = next(e for e in yard.events() if e.kind == "disconnect")
    assert lost.channel == "force" and device.url in lost.text


def test_a_terminal_that_is_replugged_under_the_same_name(tmp_path: Path) -> None:
    first = serve_pty()
    link = tmp_path / "cell"
    link.symlink_to(first.url)
    yard = Yard(tmp_path / "yard", force(str(link)))
    with recording(yard) as running:
        for turn in range(3):
            first.send(yard.lines(turn * 10, 10))
            until(lambda n=turn: len(yard.values()) == 10 * (n + 1))
            first.close()
            link.unlink()
            until(lambda n=turn: yard.kinds().count("disconnect") == n + 1)
            time.sleep(0.3)  # unplugged for some tries to open
            first = serve_pty()
            link.symlink_to(first.url)
            back = time.monotonic()
            until(lambda n=turn: yard.kinds().count("connect") == n + 2)
            assert time.monotonic() - back <= BACK_S * patience(back)
        running.end()
    first.close()
    assert in_order(yard.values())


def test_another_device_under_the_name_is_told_and_nothing_of_it_is_taken(tmp_path: Path) -> None:
    with Two(tmp_path) as two:
        two.say(two.yard.lines(0, 10))
        other = parse_sensors(force("x").replace('"CELL"', '"OTHER"'), "s").channels
        until(lambda: len(two.yard.values()) == 10)
        for k in range(60):
            two.say(encode(other, {"force": 7.0 * k}))
            time.sleep(0.015)  # the pace of a device of 67 Hz
        until(lambda: any("another device" in e.text for e in two.yard.events()))
        status = until(
            lambda: next((s for _, s in two.running.statuses if s.ports[two.bad.url]), None)
        )
        assert (
            "another device" in status.ports[two.bad.url] and "OTHER" in status.ports[two.bad.url]
        )
        two.say(two.yard.lines(10, 10))  # the right one is back
        until(lambda: len(two.yard.values()) == 20)
        until(lambda: not two.running.statuses[-1][1].ports[two.bad.url])


def test_the_right_device_is_back_also_for_a_look_that_comes_when_it_is_silent_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A busy machine looks at its ports late; here it does not look at all for a while."""
    looks, check = [True], PortWarnings.check
    monkeypatch.setattr(
        PortWarnings, "check", lambda found, now_s: check(found, now_s) if looks[0] else None
    )
    with Two(tmp_path) as two:
        other = parse_sensors(force("x").replace('"CELL"', '"OTHER"'), "s").channels

        def told() -> bool:
            two.say(encode(other, {"force": 7.0}))
            return any("another device" in e.text for e in two.yard.events())

        two.say(two.yard.lines(0, 10))
        until(lambda: len(two.yard.values()) == 10)
        until(told)
        looks[0] = False
        two.say(two.yard.lines(10, 10))
        until(lambda: len(two.yard.values()) == 20)
        last_s = read_all(two.yard.out).readings["force"].time_s[-1]
        until(lambda: read_all(two.yard.out).clock[-1].time_s > last_s + 0.5)  # stale after 0.3 s
        looks[0] = True
        until(lambda: not two.running.statuses[-1][1].ports[two.bad.url])
    told = [e for e in two.yard.events() if "another device" in e.text]
    assert [(e.kind, e.channel) for e in told] == [("gap", "force")]
    assert "OTHER" in told[0].text and two.bad.url in told[0].text
    assert in_order(two.yard.values())


def test_two_swapped_devices_are_told_and_neither_stands_for_the_other(tmp_path: Path) -> None:
    one, two = serve_pty(), serve_pty()
    yard = Yard(
        tmp_path, force(one.url, "stale_after_s = 0.3\n") + travel(two.url, "stale_after_s = 0.3\n")
    )
    with recording(yard) as running:
        counter = Counter([count_into(one, yard, "travel"), count_into(two, yard)], 100.0)
        until(
            lambda: {e.channel for e in yard.events() if "swapped" in e.text} == {"force", "travel"}
        )
        counter.stop()
        outcome = running.end()
    one.close()
    two.close()
    assert outcome.readings == {"force": 0, "travel": 0}


def test_a_wrong_speed_is_garbage_that_is_counted(tmp_path: Path) -> None:
    """What a cell sent at another speed looks like: bytes of any value, few line feeds."""
    draw = random.Random(2)
    with Two(tmp_path) as two:
        two.say(two.yard.lines(0, 5))
        for _ in range(40):
            two.say(draw.randbytes(500))
            time.sleep(0.01)  # bytes at the pace of a wire
        two.say(b"\n" + two.yard.lines(5, 5))
        until(lambda: len(two.yard.values()) == 10)
    assert in_order(two.yard.values()) and two.outcome.drops["force"] >= 5
    assert read_all(two.yard.out).clock[-1].drops["force"] == two.outcome.drops["force"]
    assert len((two.yard.out / "rejects.csv").read_text("ascii").splitlines()) > 5


def test_a_flood_of_ten_times_the_rate_is_taken_whole(tmp_path: Path) -> None:
    """Ten thousand lines a second on one port beside a thousand on the other."""
    with Two(tmp_path, 1000.0) as two:
        began = time.monotonic()
        sent = 0
        while (passed := time.monotonic() - began) < 0.8:
            due = int(passed * 10_000)
            two.say(two.yard.lines(sent, due - sent))
            sent = due
            time.sleep(0.005)  # fifty lines of a device of 10 kHz
        until(lambda: len(two.yard.values()) == sent)
    assert in_order(two.yard.values()) and two.outcome.drops["force"] == 0


def test_silence_is_a_gap_when_it_ends_and_at_the_end(tmp_path: Path) -> None:
    with Two(tmp_path) as two:
        two.say(two.yard.lines(0, 5))
        began = time.monotonic()
        time.sleep(0.6)  # the silence that is measured
        two.say(two.yard.lines(5, 5))
        silent_s = time.monotonic() - began
        until(lambda: len(two.yard.values()) == 10)
        time.sleep(0.5)  # the silence before the end
    # before the first line the wire of a busy machine is silent for long, too
    first_s = read_all(two.yard.out).readings["force"].time_s[0]
    gaps = [e for e in two.yard.events() if e.kind == "gap" and e.time_s > first_s + 0.1]
    assert [e.channel for e in gaps] == ["force", "force"]
    assert gaps[0].value == pytest.approx(silent_s, abs=0.25 * patience(began))
    assert all(0.4 <= (e.value or 0.0) <= 0.85 * patience(began) for e in gaps)


# bytes; a reader that was held up takes a chunk of 65,536 bytes, and 32,768 empty lines in it cost 3.3 MB
# while they are split, however long they keep coming
MOST_GROWN = 4_000_000


@pytest.mark.parametrize(
    ("what", "piece", "repeat"),
    [("half a line, never ended", b"$YXXDR,N,12", 300), ("NULs", b"\0" * 4000, 100),
     ("a line of a megabyte", b"7" * 10_000, 100), ("dollars", b"$" * 4000, 50),
     ("line feeds", b"\r\n" * 3000, 60)],
)  # fmt: skip
def test_what_never_ends_is_dropped_in_bounded_memory(
    tmp_path: Path, what: str, piece: bytes, repeat: int
) -> None:
    with Two(tmp_path) as two:
        two.say(two.yard.lines(0, 5))
        until(lambda: len(two.yard.values()) == 5)
        tracemalloc.start()
        for _ in range(repeat):
            two.say(piece)
        until(lambda: two.bad.send(b"\n") == 1)
        grown = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        two.say(two.yard.lines(5, 5))
        until(lambda: len(two.yard.values()) == 10)
    assert grown < MOST_GROWN, f"{what}: {grown} bytes"
    assert in_order(two.yard.values())
    if what != "line feeds":
        assert two.outcome.drops["force"] >= 1, what
        assert "force" in {e.channel for e in two.yard.events()} or two.outcome.drops["force"]


def test_a_device_that_accepts_and_hangs_up_at_once_fills_nothing(tmp_path: Path) -> None:
    """One row a try, and a try a fifth of a second at most."""
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.05)
    yard = Yard(tmp_path, force(f"socket://127.0.0.1:{server.getsockname()[1]}"))
    with recording(yard) as running:
        end = time.monotonic() + 0.9
        while time.monotonic() < end:
            try:
                server.accept()[0].close()
            except TimeoutError:
                continue
        running.end()
    server.close()
    assert yard.kinds().count("connect") <= 6
    assert verify(yard.out).state == "complete"


def test_a_reader_whose_decoder_fails_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of our own: told as a disconnection, and the port is opened again."""
    from logger.formats import base as decoder

    real, left = decoder.Decoder.feed, [1]

    def feed(self: Any, chunk: bytes) -> Any:
        if b"N,3,N" in chunk and left[0]:
            left[0] -= 1
            raise RuntimeError("a fault of ours")
        return real(self, chunk)

    monkeypatch.setattr(decoder.Decoder, "feed", feed)
    with Two(tmp_path) as two:
        two.say(two.yard.lines(0, 3))
        until(lambda: len(two.yard.values()) == 3)
        two.say(two.yard.lines(3, 1))
        until(lambda: any("fault in the reader" in e.text for e in two.yard.events()))
        until(lambda: two.yard.kinds().count("connect") == 3)
        two.say(two.yard.lines(4, 3))
        until(lambda: two.yard.values()[-1] == 6)


def rss_bytes(pid: int) -> int:
    """Memory of a process that is resident, in bytes (proc(5), statm)."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def floods(yard: Yard) -> list[Event]:
    """The rows that say that a flood began or is over, in turns."""
    return [event for event in yard.events() if event.kind == "flood"]


@pytest.mark.parametrize("kind", [pytest.param("tcp", marks=pytest.mark.many), "pty"])
def test_a_flood_of_garbage_is_told_and_costs_neither_memory_nor_the_other_port(
    tmp_path: Path, kind: str
) -> None:
    """Random bytes as fast as 20 MB a second: less than 30 MB more memory, and every line of the other
    port is there."""
    for_s = 20.0 if os.environ.get("HAUL_CI") else 6.0
    flood, good = Flood(kind, 20e6, for_s), serve_tcp()
    url = flood.url
    yard = Yard(tmp_path, force(url) + travel(good.url))
    process = yard.start()
    until(lambda: yard.kinds().count("connect") == 2 and good.wait_client(0.1), 30)
    start = time.monotonic()
    first, most = rss_bytes(process.pid), 0
    counter = Counter([count_into(good, yard, "travel")], 100.0)
    flood.begin()
    while flood.goes_on():
        most = max(most, rss_bytes(process.pid))
        time.sleep(0.05)  # the memory is looked at as long as the flood lasts
    sent = flood.sent()
    # a flood that pauses for a second, as on a busy machine, is over and begins again
    until(lambda: (told := floods(yard)) and "over" in told[-1].text, 30, "the end of the flood")
    counter.stop()
    until(lambda: len(yard.values("travel")) == len(counter.sent), 30)  # not a line is lost
    process.send_signal(signal.SIGTERM)
    out, _ = ended(process)
    good.close()
    flood.close()
    assert out.strip() == "sealed" and sent > for_s * 2e6 / patience(start)
    assert most - first < 30e6, f"{(most - first) / 1e6:.0f} MB"
    values = yard.values("travel")
    assert values == [float(k) for k in range(len(counter.sent))]
    assert read_all(yard.out).clock[-1].drops["travel"] == 0
    told = floods(yard)
    begun, over = told[::2], told[1::2]
    assert len(begun) == len(over) >= 1 and {e.channel for e in told} == {"force"}
    assert all(url in e.text and "nobody understands" in e.text for e in begun)
    assert max(e.value or 0.0 for e in begun) > 1e6 / patience(start)
    assert all("over" in e.text and (e.value or 0.0) > 0 for e in over)
    assert read_all(yard.out).clock[-1].drops["force"] > sum(e.value or 0.0 for e in over)
    assert (yard.out / "rejects.csv").stat().st_size <= 1_000_000
    assert verify(yard.out).state == "complete"


def test_samples_of_dropped_lines_count_in_the_queue() -> None:
    """A million readings or samples at most: else a flood fills the memory while the disk refuses."""
    queue = BoundedQueue(most_readings=100)
    for k in range(50):
        decoded = Decoded(samples=[("not ASCII", b"x" * 120)] * 10)
        queue.put(Arrival("port", float(k), float(k), decoded))
    held = sum(len(item.decoded.samples) for item in queue.take(0.0) if isinstance(item, Arrival))
    assert held <= 110


@pytest.mark.parametrize("linger", [False, pytest.param(True, marks=pytest.mark.many)])
def test_what_a_device_sends_before_it_hangs_up_is_there_to_the_last_line(
    tmp_path: Path, linger: bool
) -> None:
    """Each time it is connected it sends ten lines and hangs up at once, with a close or with a reset."""
    server = socket.create_server(("127.0.0.1", 0))
    yard = Yard(tmp_path, force(f"socket://127.0.0.1:{server.getsockname()[1]}"))
    turns = 40
    with recording(yard) as running:
        for turn in range(turns):
            client, _ = server.accept()
            if (
                linger
            ):  # so the end comes while the lines still wait; a reset before they came loses them
                client.sendall(yard.lines(10 * turn, 10))
                time.sleep(0.01)  # so long the lines take to their buffer
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            else:
                client.sendall(yard.lines(10 * turn, 10))
            client.close()
        until(lambda: yard.kinds().count("disconnect") >= turns, 60.0)
        outcome = running.end()
    server.close()
    assert yard.values() == [float(k) for k in range(10 * turns)]
    assert outcome.drops == {"force": 0}
