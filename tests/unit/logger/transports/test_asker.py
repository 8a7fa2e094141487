"""Devices that must be asked, on real pseudo-terminals and sockets."""

from __future__ import annotations

import csv
import socket
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from support.asked_devices import Answer, AskedDevice
from support.channels import channel
from support.systems import pseudo_terminals
from support.waiting import patience, until
from support.yard import Yard, force, in_order, recording, serve_pty, serve_tcp, silent_wire, travel

from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.session.verify import verify

pytestmark = pseudo_terminals
READ = b"READ?\r\n"
Make = Callable[..., AskedDevice]


def asked(port: str, ask: bytes = READ, name: str = "force", **more: float | str) -> str:
    """A force channel whose device sends a number for each question, and on a busy machine may be slow."""
    keys = {
        "format": "columns",
        "column": 1,
        "count": 1,
        "separator": ";",
        "unit": "N",
        "every_s": 0.05,
        "answer_s": 5.0,
        **more,
    }
    return channel(name, "force", ask=ask.decode("latin-1"), port=port, baud=9600, **keys)  # type: ignore[arg-type]


def counting(base: int = 0) -> Answer:
    return lambda count: f"{base + count}\r\n".encode()


def rejects(yard: Yard) -> list[tuple[str, str]]:
    """Cause and line of each row of rejects.csv."""
    with (yard.out / "rejects.csv").open(encoding="utf-8", newline="") as file:
        return [(row["cause"], row["line"]) for row in csv.DictReader(file)]


@pytest.fixture
def bus() -> Iterator[Make]:
    made: list[AskedDevice] = []

    def make(answers: dict[bytes, Answer], kind: str = "pty") -> AskedDevice:
        made.append(AskedDevice(answers, kind))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.mark.parametrize("kind", ["pty", "tcp"])
def test_a_device_is_asked_every_so_often_and_its_answers_are_the_readings(
    tmp_path: Path, bus: Make, kind: str
) -> None:
    device = bus({READ: counting()}, kind)
    yard = Yard(tmp_path, asked(device.url, every_s=0.1))
    began = time.monotonic()
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 15)
        outcome = running.end()
    assert in_order(yard.values()) and yard.values()[0] == 0.0
    assert outcome.drops == {"force": 0} and verify(yard.out).state == "complete"
    assert device.inbox == READ * (len(device.inbox) // len(READ))
    steps = [later - earlier for (earlier, _), (later, _) in pairwise(device.asked)]
    assert 0.07 < sum(steps) / len(steps) < 0.2 * patience(began)
    assert rejects(yard) == []


def test_a_device_that_connects_by_itself_is_asked_too(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        number = int(free.getsockname()[1])
    yard = Yard(tmp_path, asked(f"listen://127.0.0.1:{number}"))
    with (
        recording(yard) as running,
        socket.create_connection(("127.0.0.1", number), timeout=600) as device,
    ):
        for turn in range(3):
            while not device.recv(100).endswith(READ):
                pass
            device.sendall(b"%d\r\n" % turn)
        until(lambda: len(yard.values()) == 3)
        running.end()
    assert in_order(yard.values())


@pytest.mark.parametrize("echo", [False, True])
def test_stations_of_one_bus_that_answer_alike_are_told_apart_by_their_questions(
    tmp_path: Path, bus: Make, echo: bool
) -> None:
    device = bus({b"#01\r": counting(1000), b"#02\r": counting(2000), b"#03\r": counting(3000)})
    device.echo, device.delay_s = echo, 0.01
    names = {b"#01\r": "one", b"#02\r": "two", b"#03\r": "three"}
    yard = Yard(tmp_path, "".join(asked(device.url, q, name) for q, name in names.items()))
    with recording(yard) as running:
        until(lambda: all(len(yard.values(name)) >= 10 for name in names.values()), 20.0)
        outcome = running.end()
    for place, name in enumerate(names.values(), 1):
        values = yard.values(name)
        assert in_order(values) and values[0] == 1000.0 * place
    assert set(outcome.drops.values()) == {0}
    assert len({device.counts[q] for q in names}) <= 2  # each in its turn


def test_an_answer_of_several_slow_pieces_belongs_to_its_question(
    tmp_path: Path, bus: Make
) -> None:
    """The next station is not asked while a line is begun."""
    device = bus({b"A\r": b"", b"B\r": counting(500)})
    yard = Yard(
        tmp_path, asked(device.url, b"A\r", "a", answer_s=20.0) + asked(device.url, b"B\r", "b")
    )
    with recording(yard) as running:
        for turn in range(3):
            until(lambda n=turn: device.counts[b"A\r"] == n + 1)
            for piece in (b"12", b"34", b"\r\n"):
                silent_wire()
                device.say(piece)
            until(lambda n=turn: len(yard.values("a")) == n + 1)
        running.end()
    assert yard.values("a") == [1234.0] * 3
    assert in_order(yard.values("b"))


def test_equal_questions_are_asked_once_and_one_answer_serves_both(
    tmp_path: Path, bus: Make
) -> None:
    device = bus({READ: lambda count: b"%d;%d\r\n" % (count, 100 + count)})
    two = {"count": 2}
    yard = Yard(
        tmp_path, asked(device.url, name="a", **two) + asked(device.url, name="b", column=2, **two)
    )
    with recording(yard) as running:
        until(lambda: len(yard.values("b")) >= 5)
        running.end()
    assert in_order(yard.values("a")) and in_order(yard.values("b"))
    assert device.counts[READ] <= len(yard.values("a")) + 1


def test_no_answer_is_a_cause_of_its_own_and_no_drop_and_told_by_name(
    tmp_path: Path, bus: Make
) -> None:
    device = bus({b"#01\r": counting(), b"#02\r": b""})
    yard = Yard(
        tmp_path,
        asked(device.url, b"#01\r", "one") + asked(device.url, b"#02\r", "two", answer_s=1.0),
    )
    with recording(yard) as running:
        until(lambda: any("two does not answer" in e.text for e in yard.events()))
        status = until(lambda: next((s for _, s in running.statuses if s.ports[device.url]), None))
        assert 'two does not answer "#02\\r"' in status.ports[device.url]
        assert "one" not in status.ports[device.url].split('"')[0]
        device.answers[b"#02\r"] = counting(50)
        until(lambda: len(yard.values("two")) >= 3)
        until(lambda: not running.statuses[-1][1].ports[device.url])
        outcome = running.end()
    assert outcome.drops == {"one": 0, "two": 0}
    assert ("no answer from two", "#02\\r") in rejects(yard)
    assert {cause for cause, _ in rejects(yard)} == {"no answer from two"}
    (told,) = [e for e in yard.events() if "does not answer" in e.text]
    assert (told.kind, told.channel) == ("gap", "two") and device.url in told.text
    assert in_order(yard.values("one")) and in_order(yard.values("two"))


def test_after_no_answer_the_port_is_silent_for_as_long_and_what_comes_is_late(
    tmp_path: Path, bus: Make
) -> None:
    """A late answer never becomes the reading of another station, nor of the next question."""
    device = bus({b"#01\r": counting(1000), b"#02\r": counting(2000)})
    answer_s = 1.0
    slow: list[float] = []

    def late(count: int) -> bytes:
        if count == 1:  # once
            device._halt.wait(1.5 * answer_s)
            slow.append(float(count))
        return b"%d\r\n" % (1000 + count)

    device.answers[b"#01\r"] = late
    keys = {"answer_s": answer_s, "every_s": 0.1}
    yard = Yard(
        tmp_path,
        asked(device.url, b"#01\r", "one", **keys) + asked(device.url, b"#02\r", "two", **keys),
    )
    with recording(yard) as running:
        until(lambda: slow and 1003.0 in yard.values("one") and len(yard.values("two")) >= 4)
        outcome = running.end()
    assert 1001.0 not in yard.values("one") and all(v < 2000.0 for v in yard.values("one"))
    assert in_order(yard.values("two")) and yard.values("two")[0] == 2000.0
    assert outcome.drops == {"one": 1, "two": 0}
    causes = [cause for cause, _ in rejects(yard)]
    assert causes[0] == "no answer from one" and causes[1].startswith("late")
    at = [moment for moment, question in device.asked if question == b"#01\r"][1]
    after = min(moment for moment, _ in device.asked if moment > at)
    assert after - at >= 2 * answer_s - 0.01


def test_a_lost_device_is_asked_again_when_it_is_back(tmp_path: Path, bus: Make) -> None:
    first = bus({READ: counting()})
    link = tmp_path / "cell"
    link.symlink_to(first.url)
    yard = Yard(tmp_path / "yard", asked(str(link)))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 5)
        first.close()
        link.unlink()
        until(lambda: "disconnect" in yard.kinds())
        second = bus({READ: counting(100)})
        link.symlink_to(second.url)
        until(lambda: 104.0 in yard.values())
        running.end()
    first._halt.set()
    assert in_order([v for v in yard.values() if v >= 100.0])
    first.close = lambda: None  # type: ignore[method-assign]  # it is closed already


def test_what_a_device_sends_before_the_first_question_is_no_reading(
    tmp_path: Path, bus: Make
) -> None:
    device = bus({READ: counting()}, "tcp")
    yard = Yard(tmp_path, asked(device.url, every_s=0.1))
    device.echo = True
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 3)
        outcome = running.end()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}


def test_a_wrong_answer_is_a_dropped_line_and_no_missing_one(tmp_path: Path, bus: Make) -> None:
    device = bus({READ: b"ERR 5\r\n"})
    yard = Yard(tmp_path, asked(device.url))
    with recording(yard) as running:
        until(lambda: running.statuses and running.statuses[-1][1].drops["force"] >= 3)
        running.end()
    assert not any(cause.startswith("no answer") for cause, _ in rejects(yard))


def test_a_reading_is_too_old_after_three_questions(force: str) -> None:
    for every_s, stale_s in ((0.1, 1.0), (0.5, 1.5), (10.0, 30.0)):
        (only,) = parse_sensors(
            asked("/dev/ttyUSB0", every_s=every_s).replace("answer_s = 5.0\n", ""), "s"
        ).channels
        assert only.stale_after_s == pytest.approx(stale_s)
        assert only.answer_s == pytest.approx(max(0.05, every_s))
    (only,) = parse_sensors(asked("/dev/ttyUSB0", stale_after_s=7.0), "s").channels
    assert only.stale_after_s == 7.0
    assert parse_sensors(force, "s").channels[0].stale_after_s == 1.0


@pytest.mark.parametrize(
    ("ends", "end"), [("cr", b"\r"), ("etx", b"\x03"), ("pause", b""), (";", b";")]
)
def test_an_answer_may_end_in_any_way_and_its_end_is_seen_on_a_bus(
    tmp_path: Path, bus: Make, ends: str, end: bytes
) -> None:
    answer = lambda base: lambda count: b"%d" % (base + count) + end  # noqa: E731
    device = bus({b"#01\r": answer(1000), b"#02\r": answer(2000)})
    yard = Yard(
        tmp_path,
        asked(device.url, b"#01\r", "one", ends=ends)
        + asked(device.url, b"#02\r", "two", ends=ends),
    )
    with recording(yard) as running:
        until(lambda: len(yard.values("one")) >= 4 and len(yard.values("two")) >= 4)
        running.end()
    assert in_order(yard.values("one")) and in_order(yard.values("two"))
    assert yard.values("one")[0] == 1000.0 and yard.values("two")[0] == 2000.0


PORT = "/dev/ttyUSB0"


@pytest.mark.parametrize(
    ("text", "said"),
    [(asked(PORT) + asked(PORT, b"x", "other").replace('ask = "x"\n', "").replace("answer_s = 5.0\n", "").replace("every_s = 0.05\n", ""),
      "force is asked and other is not, on the same port"),
     (asked(PORT).replace("every_s = 0.05\n", ""), "every_s: is missing"),
     (asked(PORT).replace('ask = "READ?\\r\\n"\n', ""), "there is no ask"),
     (asked(PORT, every_s=0), "is not above 0"), (asked(PORT, answer_s=0.01), "out of range"),
     (asked(PORT, b""), "is empty"), (asked(PORT).replace("READ?", "\u2126"), "is no byte"),
     (asked("udp://127.0.0.1:7001"), "nothing can be asked on udp"),
     (asked("stdin:"), "nothing can be asked on stdin"),
     (asked(PORT, count=2) + asked(PORT, name="b", column=2, count=2, every_s=0.2), "every_s differs from channel force's"),
     (asked(PORT) + asked(PORT, name="b"), "reads the same column")],
)  # fmt: skip
def test_questions_that_cannot_be_asked_are_refused(text: str, said: str) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s")
    assert said in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("ask", [b"\x02R\x03", b"\x05", b"\xff\x01", b"R\r"])
def test_a_question_is_sent_byte_by_byte_as_it_stands(
    tmp_path: Path, bus: Make, ask: bytes
) -> None:
    device = bus({ask: counting()})
    yard = Yard(tmp_path, asked(device.url, ask))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 2)
        running.end()
    assert device.inbox == ask * device.counts[ask]


def test_the_recorder_sends_no_byte_without_a_question(tmp_path: Path) -> None:
    """Neither at opening, nor while it reads, nor where nothing is understood, nor at the end."""
    import os
    import select

    serial, tcp = serve_pty(), serve_tcp()
    yard = Yard(tmp_path, force(serial.url) + travel(tcp.url))
    with recording(yard) as running:
        until(lambda: tcp.wait_client(0.1))
        client = tcp._clients[0]
        serial.send(yard.lines(0, 5) + b"READ?\r\n*IDN?\r\n" * 5)
        tcp.send(yard.lines(0, 5, "travel") + b"garbage\r\n" * 50)
        until(lambda: len(yard.values()) >= 4 and len(yard.values("travel")) >= 4)
        until(
            lambda: running.statuses and running.statuses[-1][1].time_s > 2.0
        )  # warnings are told by then
        running.end()
    assert not select.select([serial._master], [], [], 0)[0], os.read(serial._master, 100)
    client.settimeout(600)
    assert client.recv(100) == b""  # its end, and no byte before
    serial.close()
    tcp.close()
