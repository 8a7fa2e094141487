"""Devices that send datagrams or connect by themselves: real sockets on this machine."""

from __future__ import annotations

import socket
import threading
import tracemalloc
from pathlib import Path

import pytest
from support.channels import channel
from support.waiting import until
from support.yard import Yard, force, in_order, recording, silent_wire

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import PortFault, SensorsFault
from logger.recorder.recorder import record
from logger.session.verify import repair, verify
from logger.transports.listen import ListenTransport

KINDS = {"udp": socket.SOCK_DGRAM, "listen": socket.SOCK_STREAM}


def free_port(kind: int = socket.SOCK_STREAM) -> int:
    with socket.socket(socket.AF_INET, kind) as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def number() -> int:
    """A port number that is free for TCP and UDP."""
    while True:
        found = free_port()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.bind(("127.0.0.1", found))
            except OSError:
                continue
        return found


def columns(port: str) -> str:
    return channel("force", "force", format="columns", column=1, unit="N", port=port)


def udp_sender(number: int) -> socket.socket:
    sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sender.connect(("127.0.0.1", number))
    return sender


def client(number: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", number), timeout=600)


def test_a_datagram_is_one_or_more_lines_with_or_without_an_end(
    tmp_path: Path, number: int
) -> None:
    """The first one counts too: a datagram begins with a line."""
    yard = Yard(tmp_path, columns(f"udp://127.0.0.1:{number}"))
    with recording(yard) as running, udp_sender(number) as sender:
        for datagram in (b"1", b"2\r\n3\r\n", b"4\n5", b"", b"6\n"):
            sender.send(datagram)
        until(lambda: len(yard.values()) == 6)
        outcome = running.end()
    assert yard.values() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    assert outcome.drops == {"force": 0} and verify(yard.out).state == "complete"


@pytest.mark.parametrize("ends", ["lf", "cr", "crlf", "etx", "pause", ";"])
def test_a_datagram_needs_no_end_whatever_ends_a_line(
    tmp_path: Path, number: int, ends: str
) -> None:
    keys = {"column": 1, "separator": " ", "unit": "N", "ends": ends}
    text = channel("force", "force", format="columns", port=f"udp://127.0.0.1:{number}", **keys)
    yard = Yard(tmp_path, text)
    with recording(yard) as running, udp_sender(number) as sender:
        for k in range(3):
            sender.send(b"%d" % k)
            until(lambda n=k: len(yard.values()) == n + 1)
        running.end()
    assert in_order(yard.values())


@pytest.mark.parametrize(
    ("ends", "datagrams"),
    [
        ("lf", [b"1", b"2\n3", b"4\r\n", b"5\n6\n7"]),
        ("cr", [b"1", b"2\r3", b"4\r\n", b"5\r6\r7\r"]),
        ("crlf", [b"1", b"2\r\n3", b"4\r\n", b"5\r\n6\r\n7"]),
        ("etx", [b"1", b"\x022\x03\x023\x03", b"\x024\x03Q\r\n", b"\x025\x03A\x026\x03A\x027\x03A"]),
        ("pause", [b"1", b"2", b"3", b"4\r\n", b"5", b"6", b"7"]),
        ("END", [b"1", b"2END3", b"4END", b"5END6END7"]),
        (None, [b"1", b"2\r3", b"\x024\x03", b"\x025\x03\r\n", b"\x026\x03\x027\x03"]),
    ],
)  # fmt: skip
def test_datagrams_that_come_together_stay_lines_of_their_own(
    tmp_path: Path, number: int, ends: str | None, datagrams: list[bytes]
) -> None:
    keys = {"column": 1, "separator": " ", "unit": "N", **({} if ends is None else {"ends": ends})}
    text = channel("force", "force", format="columns", port=f"udp://127.0.0.1:{number}", **keys)
    yard = Yard(tmp_path, text)
    with recording(yard) as running, udp_sender(number) as sender:
        for datagram in datagrams:
            sender.send(datagram)
        until(lambda: len(yard.values()) == 7)
        outcome = running.end()
    assert yard.values() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0] and outcome.drops == {"force": 0}


def test_datagrams_of_two_senders_are_not_joined(tmp_path: Path, number: int) -> None:
    yard = Yard(tmp_path, force(f"udp://127.0.0.1:{number}"))
    with (
        recording(yard) as running,
        udp_sender(number) as one,
        udp_sender(number) as two,
    ):
        one.send(b"$YXXDR,N,1")
        two.send(yard.lines(0, 3))
        until(lambda: len(yard.values()) == 3)
        outcome = running.end()
    assert yard.values() == [0.0, 1.0, 2.0] and outcome.drops["force"] == 1


def test_silence_of_a_sender_is_a_gap(tmp_path: Path, number: int) -> None:
    yard = Yard(tmp_path, force(f"udp://127.0.0.1:{number}", "stale_after_s = 0.2\n"))
    with recording(yard) as running, udp_sender(number) as sender:
        sender.send(yard.lines(0, 1))
        until(lambda: len(yard.values()) == 1)
        until(lambda: running.statuses and running.statuses[-1][1].time_s > 0.8)  # the silence
        sender.send(yard.lines(1, 1))
        until(lambda: len(yard.values()) == 2)
        until(lambda: any(e.kind == "gap" and e.channel == "force" for e in yard.events()))
        running.end()
    assert in_order(yard.values())


def test_a_port_number_that_another_program_has_is_taken_when_it_is_free(
    tmp_path: Path, number: int
) -> None:
    """The recorder opens it by itself."""
    other = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    other.bind(("127.0.0.1", number))
    yard = Yard(tmp_path, force(f"udp://127.0.0.1:{number}"))
    with recording(yard, wait=True) as running, udp_sender(number) as sender:
        until(lambda: "disconnect" in yard.kinds())
        other.close()
        until(lambda: "connect" in yard.kinds())
        sender.send(yard.lines(0, 4))
        until(lambda: len(yard.values()) == 4)
        running.end()


def test_a_client_that_connects_is_read_and_again_after_it_hung_up(
    tmp_path: Path, number: int
) -> None:
    yard = Yard(tmp_path, force(f"listen://127.0.0.1:{number}"))
    with recording(yard) as running:
        for turn in range(3):
            with client(number) as device:
                device.sendall(yard.lines(10 * turn, 10))
                device.shutdown(socket.SHUT_WR)
                until(lambda n=turn: len(yard.values()) == 10 * (n + 1))
            until(lambda n=turn: yard.kinds().count("connect") == n + 2)
        outcome = running.end()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}
    lost = [e for e in yard.events() if e.kind == "disconnect"]
    assert len(lost) == 3 and all(f"listen://127.0.0.1:{number}" in e.text for e in lost)
    with pytest.raises(ConnectionRefusedError):  # nothing stays open behind the recording
        client(number)


def test_a_client_that_comes_back_at_once_is_not_refused(tmp_path: Path, number: int) -> None:
    yard = Yard(tmp_path, force(f"listen://127.0.0.1:{number}"))
    with recording(yard) as running:
        for turn in range(10):
            with client(number) as device:
                device.sendall(yard.lines(turn, 1))
        until(lambda: len(yard.values()) == 10, 10.0)
        running.end()
    assert in_order(yard.values())


def test_a_second_client_is_refused_and_nothing_of_it_is_taken(tmp_path: Path, number: int) -> None:
    yard = Yard(tmp_path, force(f"listen://127.0.0.1:{number}"))
    with recording(yard) as running, client(number) as first:
        first.sendall(yard.lines(0, 1))
        until(lambda: len(yard.values()) == 1)
        with client(number) as second, pytest.raises(ConnectionError):
            second.sendall(yard.lines(7, 1))
            if second.recv(1) == b"":
                raise ConnectionResetError
        first.sendall(yard.lines(1, 2))
        until(lambda: len(yard.values()) == 3)
        outcome = running.end()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}
    assert "disconnect" not in yard.kinds()


def test_a_first_line_right_after_a_client_came_may_be_torn(tmp_path: Path, number: int) -> None:
    """A line server passes on what its device is sending; columns cannot tell a torn number."""
    yard = Yard(tmp_path, columns(f"listen://127.0.0.1:{number}"))
    with recording(yard) as running:
        with client(number) as device:
            device.sendall(b"34\n1234\n")
            until(lambda: yard.values() == [1234.0])
        until(lambda: yard.kinds().count("connect") == 2)
        with client(number) as device:
            silent_wire()
            silent_wire()
            device.sendall(b"5678\n")
            until(lambda: yard.values() == [1234.0, 5678.0])
        running.end()


def test_a_reader_that_is_held_up_takes_no_torn_line_for_a_whole_one(
    tmp_path: Path, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first bytes waited for longer than a silence; that the wire was silent nobody saw."""
    accept, sent = ListenTransport._accept, threading.Event()

    def held_up(transport: ListenTransport, server: socket.socket) -> None:
        accept(transport, server)
        sent.wait(600)
        silent_wire()

    monkeypatch.setattr(ListenTransport, "_accept", held_up)
    yard = Yard(tmp_path, columns(f"listen://127.0.0.1:{number}"))
    with recording(yard) as running, client(number) as device:
        device.sendall(b"34\n1234\n")
        sent.set()
        until(lambda: yard.values()[-1:] == [1234.0])
        running.end()
    assert yard.values() == [1234.0]


@pytest.mark.parametrize("kind", KINDS)
def test_what_never_ends_is_dropped_in_bounded_memory(
    tmp_path: Path, number: int, kind: str
) -> None:
    yard = Yard(tmp_path, force(f"{kind}://127.0.0.1:{number}"))
    with recording(yard) as running, socket.socket(socket.AF_INET, KINDS[kind]) as sender:
        sender.connect(("127.0.0.1", number))
        sender.sendall(yard.lines(0, 5))
        until(lambda: len(yard.values()) == 5)
        tracemalloc.start()
        for _ in range(300):
            sender.sendall(b"\xff7" * 4000)
        # of datagrams the system drops some; the last lines are sent until they are there
        sender.sendall(b"\n")
        until(lambda: running.statuses and running.statuses[-1][1].drops["force"])
        grown = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()

        def last() -> bool:
            if 5.0 not in yard.values():
                sender.sendall(yard.lines(5, 1))
            return 5.0 in yard.values()

        until(last, 20.0)
        outcome = running.end()
    assert grown < 2_000_000
    assert outcome.drops["force"] >= 1 and verify(yard.out).state == "complete"


@pytest.mark.parametrize("kind", KINDS)
def test_a_killed_recorder_keeps_what_it_had_read_and_leaves_the_port_free(
    tmp_path: Path, number: int, kind: str
) -> None:
    yard = Yard(tmp_path / "first", force(f"{kind}://127.0.0.1:{number}"))
    process = yard.start()
    until(lambda: "connect" in yard.kinds())
    with socket.socket(socket.AF_INET, KINDS[kind]) as sender:
        sender.connect(("127.0.0.1", number))
        sender.sendall(yard.lines(0, 20))
        until(lambda: len(yard.values()) == 20)
        process.kill()
        process.communicate()
    assert verify(yard.out).state == "cut short"
    repair(yard.out)
    assert verify(yard.out).state == "complete" and in_order(yard.values())
    again = Yard(tmp_path / "second", force(f"{kind}://127.0.0.1:{number}"))
    with recording(again) as running:
        running.end()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "address",
    ["0.0.0.0:7001", "[::]:7001", "[::ffff:0.0.0.0]:7001", "224.0.0.1:7001", "255.255.255.255:7001", "host:7001",
     ":7001", "127.0.0.1", "127.0.0.1:0", "127.0.0.1:70000", "127.0.0.1:7001/x", "a@127.0.0.1:7001", ""],
)  # fmt: skip
def test_an_address_that_is_not_one_of_a_machine_is_refused_when_the_file_is_read(
    kind: str, address: str
) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(columns(f"{kind}://{address}"), "s")
    assert f"{kind}://127.0.0.1:7001" in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
def test_an_address_of_another_machine_is_refused_when_the_port_opens(
    tmp_path: Path, kind: str
) -> None:
    """192.0.2.0/24 is no machine's (RFC 5737)."""
    yard = Yard(tmp_path, columns(f"{kind}://192.0.2.7:7001"))
    with pytest.raises(PortFault, match=r"192\.0\.2\.7 is no address of this machine"):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    assert not yard.out.exists()


@pytest.mark.parametrize("kind", KINDS)
def test_these_ports_need_no_baud_rate(kind: str) -> None:
    for_recording(parse_sensors(columns(f"{kind}://127.0.0.1:7001"), "s"))
