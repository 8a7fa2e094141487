"""A device of a new kind is one class and one line of a table; so is a new line format."""

from __future__ import annotations

import math
import socket
import struct
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from pkgutil import resolve_name

import pytest
from support.channels import channel
from support.waiting import joined, patience, until
from support.yard import Yard, in_order, recording

from logger import clock
from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.channels.modbus_registers import KEYS as REGISTER_KEYS
from logger.channels.port_schemes import SCHEMES, Scheme, split_port
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import PortFault, SensorsFault
from logger.formats.base import Decoder
from logger.session.reader import read_all
from logger.session.verify import verify
from logger.transports.base import Chunk, Transport, chunk_end
from logger.transports.reader_thread import Arrival, PortEvent, PortReader
from logger.transports.registry import transport_for
from logger.transports.simulated import serve_tcp

BACK_S = 1.0
STALE_S = 0.3


class RegisterTransport(Transport):
    """A device without lines: it answers the number of a register with four bytes."""

    def open(self) -> None:
        host, port = split_port(self.port)[1].split(":")
        self._socket = socket.create_connection((host, int(port)), timeout=600)

    def read(self) -> Chunk:
        began, awake = clock.now(), clock.awake()
        numbers = {}
        for register in self.channels:
            self._socket.sendall(bytes([int(register.id or "")]))
            answer = self._socket.recv(4)
            if len(answer) < 4:
                raise EOFError("the device hung up")
            numbers[register.name] = str(struct.unpack(">f", answer)[0]).encode("ascii")
        return Chunk(began, chunk_end(began, awake), numbers)

    def close(self) -> None:
        self._socket.close()


class MessageTransport(RegisterTransport):
    """A device that sends lines on the same socket; the last bytes come with the loss."""

    def read(self) -> Chunk:
        began, awake = clock.now(), clock.awake()
        data = self._socket.recv(4096)
        return Chunk(began, chunk_end(began, awake), data, None if data else "the device hung up")


class UnpluggedTransport(MessageTransport):
    """A device that is never there."""

    tries = threading.Semaphore(0)

    def open(self) -> None:
        self.tries.release()
        raise OSError("no such device")


class Registers:
    """Answers on TCP: register 1 counts the questions, register 2 holds no number."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self.answered = 0
        self._client: socket.socket | None = None
        self.answers = threading.Event()
        self.answers.set()
        self._halt = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while not self._halt.is_set():
            try:
                self._client, _ = self._server.accept()
                with self._client:
                    while question := self._client.recv(1):
                        self._halt.wait(0.002)
                        self.answers.wait()
                        number = float(self.answered) if question == b"\1" else math.nan
                        self._client.sendall(struct.pack(">f", number))
                        self.answered += question == b"\1"
            except OSError:
                continue

    def hang_up(self) -> None:
        assert self._client is not None
        self._client.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._halt.set()
        self.answers.set()
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        joined(self._thread)


@pytest.fixture
def schemes(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a new kind of device adds to the program beside its class."""
    monkeypatch.setitem(SCHEMES, "toy", Scheme("toy://HOST:PORT", f"{__name__}:RegisterTransport"))
    monkeypatch.setitem(SCHEMES, "said", Scheme("said://HOST:PORT", f"{__name__}:MessageTransport"))
    monkeypatch.setitem(
        SCHEMES, "unplugged", Scheme("unplugged://", f"{__name__}:UnpluggedTransport")
    )


@pytest.fixture
def device() -> Iterator[Registers]:
    served = Registers()
    yield served
    served.close()


def polled(port: str, name: str = "force", register: str = "1", line_format: str = "json") -> str:
    """A force channel on a port that is asked for registers."""
    return channel(
        name, "force", format=line_format, id=register, port=port, unit="N", stale_after_s=STALE_S
    )


def silences(yard: Yard) -> list[float]:
    return [e.value or 0.0 for e in yard.events() if e.kind == "gap"]


posix = pytest.mark.skipif(
    sys.platform == "win32", reason="other system: no shutdown of a listening socket"
)


@posix
def test_a_device_without_lines_is_recorded_and_lost_and_read_again(
    tmp_path: Path, schemes: None, device: Registers
) -> None:
    yard = Yard(tmp_path, polled(f"toy://127.0.0.1:{device.port}"))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 10)
        device.hang_up()
        until(lambda: "disconnect" in yard.kinds())
        lost, before = time.monotonic(), len(yard.values())
        until(lambda: len(yard.values()) > before)
        assert time.monotonic() - lost <= BACK_S * patience(lost)
        outcome = running.end()
    assert [kind for kind in yard.kinds() if kind.endswith("connect")] == [
        "connect",
        "disconnect",
        "connect",
    ]
    (loss,) = (e for e in yard.events() if e.kind == "disconnect")
    assert (
        loss.channel == "force" and "toy://" in loss.text and "fault in the reader" not in loss.text
    )
    # an answer that the loss overtook is the only one that may be missing
    values = yard.values()
    assert values == sorted(set(values)) and len(values) >= device.answered - 2
    assert outcome.drops == {"force": 0} and verify(yard.out).state == "complete"
    assert (read_all(yard.out).readings["force"].time_s[1:] >= 0.0).all()


@posix
def test_silence_of_a_device_without_lines_is_a_gap(
    tmp_path: Path, schemes: None, device: Registers
) -> None:
    yard = Yard(tmp_path, polled(f"toy://127.0.0.1:{device.port}"))
    with recording(yard) as running:
        until(lambda: yard.values())
        device.answers.clear()
        mute = time.monotonic()
        until(lambda: time.monotonic() - mute > 2 * STALE_S)
        device.answers.set()
        until(lambda: any(silent_s > 1.9 * STALE_S for silent_s in silences(yard)))
        told = time.monotonic()
        running.end()
    # the longest one is this; a busy machine may keep the device from answering for other ones
    assert 1.9 * STALE_S < max(silences(yard)) < told - mute + 0.1
    assert "disconnect" not in yard.kinds()


@posix
def test_what_is_no_number_in_a_register_is_dropped_and_counted(
    tmp_path: Path, schemes: None, device: Registers
) -> None:
    port = f"toy://127.0.0.1:{device.port}"
    yard = Yard(tmp_path, polled(port) + polled(port, "spoilt", "2"))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 5)
        outcome = running.end()
    assert outcome.readings["spoilt"] == 0 and outcome.drops["spoilt"] >= 5
    assert outcome.drops["force"] == 0
    assert "not a number,nan" in (yard.out / "rejects.csv").read_text("ascii").replace('"', "")


def test_a_device_that_sends_lines_its_own_way_goes_through_the_formats(
    tmp_path: Path, schemes: None
) -> None:
    served = serve_tcp()
    yard = Yard(tmp_path, polled(f"said://127.0.0.1:{served.port}"))
    with recording(yard) as running:
        for turn in range(2):
            until(lambda n=turn: yard.kinds().count("connect") == n + 1)
            until(lambda: served.wait_client(0.1))
            served.send(yard.lines(turn * 10, 10))
            until(lambda n=turn: len(yard.values()) == 10 * (n + 1))
            served.drop_clients()
        outcome = running.end()
    served.close()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}
    (first, *_) = (e for e in yard.events() if e.kind == "disconnect")
    assert first.text.endswith("the device hung up")


def test_a_device_that_cannot_be_opened_says_so_once_and_is_stopped_at_once(schemes: None) -> None:
    happened: list[Arrival | PortEvent] = []
    (only,) = parse_sensors(polled("unplugged://"), "s").channels
    reader = PortReader(only.port or "", (only,), happened.append)
    reader.start()
    assert all(UnpluggedTransport.tries.acquire(timeout=600) for _ in range(3))
    assert reader.tried.is_set() and not reader.opened and reader.fault == "no such device"
    began = time.monotonic()
    reader.stop()
    assert reader.quiet.wait(600) and time.monotonic() - began < 0.2 * patience(began)
    (event,) = happened
    assert isinstance(event, PortEvent) and event.text == "cannot be opened: no such device"


def test_a_scheme_of_the_table_needs_a_baud_rate_only_where_it_says_so(
    schemes: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    sensors = parse_sensors(polled("toy://127.0.0.1:1"), "s")
    for_recording(sensors)
    monkeypatch.setitem(SCHEMES, "toy", Scheme("toy://", "x:Y", needs_baud=True))
    with pytest.raises(SensorsFault, match="baud is missing"):
        for_recording(sensors)


def test_a_scheme_that_the_table_lacks_is_refused_with_those_that_it_has(schemes: None) -> None:
    cure = (
        "write a device path such as /dev/ttyUSB0 or COM3, hwgrep://, usb:VID:PID[:SERIAL], socket://, "
        "rfc2217://, udp://, modbus://, mqtt://, mqtts://, listen://, stdin:, hand:, toy://HOST:PORT, said://HOST:PORT "
        "or unplugged://"
    )
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(polled("toys://x"), "s")
    assert str(caught.value).endswith(cure)
    with pytest.raises(PortFault, match="no kind of port"):
        transport_for("toys://x", ())


# `from` is a word of Python, so the fields of these keys have other names
FIELDS = {"from": "first_character", "to": "last_character"}


def test_every_line_of_both_tables_leads_to_its_class() -> None:
    for scheme in SCHEMES.values():
        assert issubclass(resolve_name(scheme.transport), Transport)
    for line_format in LINE_FORMATS.values():
        assert issubclass(resolve_name(line_format.decoder), Decoder)
        assert {line_format.address, *line_format.shared} <= {*line_format.takes}
        fields = {FIELDS.get(key, key) for key in line_format.takes}
        # those of registers are in a record of their own, `Channel.modbus`
        assert fields <= {*Channel.__dataclass_fields__, *REGISTER_KEYS}
