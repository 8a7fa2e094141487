"""Modbus devices behind pymodbus' own server are read over TCP and over a pseudo-terminal (RTU)."""

from __future__ import annotations

import contextlib
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.channels import channel
from support.modbus_devices import ModbusBus, requests_in
from support.systems import pseudo_terminals
from support.waiting import until
from support.yard import Yard, recording

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.session.reader import read_all
from logger.session.verify import verify
from logger.transports.modbus import frames as modbus_frames
from logger.transports.modbus.frames import RegisterQuestion, SerialFrames, TcpFrames
from logger.transports.modbus.transport import joined

pytestmark = pseudo_terminals
KINDS = ("tcp", "rtu")
# IEEE 754: 12.5 is 41480000; two's complement: -5 is FFFB; 100000 is 000186A0
HOLDING = {1: {0: 0x4148, 1: 0x0000, 2: 0xFFFB, 9: 0x86A0, 10: 0x0001}, 7: {0: 0x0021}}
INPUT = {1: {0: 0x0457}}  # 1111


@pytest.fixture(params=KINDS)
def bus(request: pytest.FixtureRequest) -> Iterator[ModbusBus]:
    made = ModbusBus(HOLDING, INPUT, kind=request.param)
    yield made
    made.close()


def at(bus: ModbusBus, name: str, quantity: str = "force", **keys: Any) -> str:
    """A channel in a register of this bus, whose devices may be slow to answer on a busy machine."""
    table = {
        "format": "modbus", "device_id": 1, "table": "holding", "type": "float32", "every_s": 0.03, "answer_s": 3.0,
        "unit": "N" if quantity == "force" else "mm", "port": bus.url, "baud": 9600, "register": 0, **keys,
    }  # fmt: skip
    return channel(name, quantity, **table)


def all_channels(bus: ModbusBus) -> str:
    return (
        at(bus, "force")
        + at(bus, "rope", "length", type="int16", register=2)
        + at(bus, "load", "length", type="int32", register=9, words="little")
        + at(bus, "anchor", type="uint16", table="input")
        + at(bus, "other", type="uint16", device_id=7)
    )


RIGHT = {"force": 12.5, "rope": -5.0, "load": 100000.0, "anchor": 1111.0, "other": 33.0}


def test_every_type_table_and_device_is_read(tmp_path: Path, bus: ModbusBus) -> None:
    yard = Yard(tmp_path, all_channels(bus))
    with recording(yard) as running:
        until(lambda: all(len(yard.values(name)) >= 3 for name in RIGHT))
        outcome = running.end()
    for name, value in RIGHT.items():
        assert set(yard.values(name)) == {value}, name
    assert not any(outcome.drops.values()) and verify(yard.out).state == "complete"


@pytest.mark.parametrize("cut", [1, 2, 3, 5, 7])
def test_any_cut_of_the_bytes_gives_the_same(tmp_path: Path, bus: ModbusBus, cut: int) -> None:
    bus.cut = cut
    yard = Yard(tmp_path, all_channels(bus))
    with recording(yard) as running:
        until(lambda: all(len(yard.values(name)) >= 2 for name in RIGHT), 20.0)
        outcome = running.end()
    for name, value in RIGHT.items():
        assert set(yard.values(name)) == {value}, name
    assert not any(outcome.drops.values())


def test_nothing_but_reads_of_these_registers_is_sent(tmp_path: Path, bus: ModbusBus) -> None:
    """Functions 3 and 4 read (MODBUS application protocol 1.1b3, section 5.1); no other stands in the inbox."""
    yard = Yard(tmp_path, all_channels(bus))
    with recording(yard) as running:
        until(lambda: len(yard.values("other")) >= 3)
        running.end()
    assert requests_in(bus.inbox, bus.url.startswith("modbus")) == {(1, 3), (1, 4), (7, 3)}


def test_neighbouring_registers_are_read_at_once(tmp_path: Path, bus: ModbusBus) -> None:
    channels = parse_sensors(all_channels(bus), "s").channels
    assert joined(channels) == [
        RegisterQuestion(device_id=1, table="holding", first=0, count=3, names=("force", "rope")),
        RegisterQuestion(device_id=1, table="holding", first=9, count=2, names=("load",)),
        RegisterQuestion(device_id=1, table="input", first=0, count=1, names=("anchor",)),
        RegisterQuestion(device_id=7, table="holding", first=0, count=1, names=("other",)),
    ]


def test_numbers_follow_the_device(tmp_path: Path, bus: ModbusBus) -> None:
    yard = Yard(tmp_path, at(bus, "force", type="uint16"))
    with recording(yard) as running:
        for k in range(1, 6):
            bus.holding[1][0] = k
            until(lambda n=k: n in yard.values())
        running.end()
    assert sorted(set(yard.values()) - {0x4148}) == [1.0, 2.0, 3.0, 4.0, 5.0]


def test_an_exception_is_a_cause_of_its_own_with_its_number(tmp_path: Path, bus: ModbusBus) -> None:
    """2 is "illegal data address" (MODBUS application protocol 1.1b3, chapter 7); the neighbour is still read."""
    yard = Yard(tmp_path, at(bus, "force") + at(bus, "rope", "length", type="int32", register=2))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 3)
        until(lambda: running.statuses and running.statuses[-1][1].drops["rope"])
        until(lambda: any("rope has no reading" in e.text for e in yard.events()))
        running.end()
    (warning,) = [e for e in yard.events() if "has no reading" in e.text]
    assert (warning.kind, warning.channel) == ("gap", "rope") and bus.url in warning.text
    assert "exception 2 (illegal data address) from device 1; compare its" in warning.text
    rejects = (yard.out / "rejects.csv").read_text("ascii")
    assert "exception 2 (illegal data address) from device 1" in rejects
    assert not yard.values("rope") and set(yard.values()) == {12.5}


def test_a_channel_whose_numbers_cannot_be_is_told_while_its_neighbour_is_read(
    tmp_path: Path, bus: ModbusBus
) -> None:
    """0xFFFB is 65531 N as a whole number without sign, far beyond 100 N; the warning comes once, and the
    next only after a reading."""
    neighbour = at(bus, "anchor", type="uint16", register=2, capacity=100.0, device_id=1)
    yard = Yard(tmp_path, at(bus, "force") + neighbour)

    def warnings() -> list[str]:
        return [e.text for e in yard.events() if "has no reading" in e.text]

    with recording(yard) as running:
        until(lambda: len(warnings()) == 1)
        bus.holding[1][2] = 33
        until(lambda: yard.values("anchor"))
        bus.holding[1][2] = 0xFFFB
        until(lambda: len(warnings()) == 2)
        running.end()
    assert all("anchor has no reading: beyond 1.5 x capacity" in text for text in warnings())
    assert set(yard.values()) == {12.5} and set(yard.values("anchor")) == {33.0}


def test_a_device_that_does_not_answer_is_told_by_name_and_the_others_are_read(
    tmp_path: Path, bus: ModbusBus
) -> None:
    yard = Yard(tmp_path, at(bus, "force") + at(bus, "gone", device_id=9, answer_s=0.05))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 5)
        until(
            lambda: any("gone does not answer as Modbus device 9" in e.text for e in yard.events())
        )
        outcome = running.end()
    assert outcome.drops == {"force": 0, "gone": 0}
    assert "no answer from gone" in (yard.out / "rejects.csv").read_text("ascii")


def test_a_late_answer_meets_no_other_question(tmp_path: Path, bus: ModbusBus) -> None:
    bus.delay_s = 0.08
    keys = {"answer_s": 0.05, "type": "uint16"}
    yard = Yard(
        tmp_path,
        at(bus, "force", **keys) + at(bus, "rope", "length", register=2, every_s=0.04, **keys),
    )
    with recording(yard) as running:
        until(lambda: running.statuses and running.statuses[-1][1].drops["force"])
        bus.delay_s = 0.0
        until(lambda: len(yard.values()) >= 3 and len(yard.values("rope")) >= 3)
        running.end()
    assert set(yard.values()) == {float(0x4148)} and set(yard.values("rope")) == {float(0xFFFB)}
    assert "late" in (yard.out / "rejects.csv").read_text("ascii")


def test_a_connection_that_ends_is_opened_again(tmp_path: Path) -> None:
    bus = ModbusBus(HOLDING)
    yard = Yard(tmp_path, at(bus, "force", stale_after_s=0.2))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 3)
        bus.hang_up()
        until(lambda: yard.kinds().count("connect") == 2)
        before = len(yard.values())
        until(lambda: len(yard.values()) >= before + 3)
        outcome = running.end()
    bus.close()
    assert set(yard.values()) == {12.5} and outcome.drops == {"force": 0}
    lost = next(e for e in yard.events() if e.kind == "disconnect")
    assert bus.url in lost.text and lost.channel == "force"


def test_silence_is_a_gap(tmp_path: Path, bus: ModbusBus) -> None:
    yard = Yard(tmp_path, at(bus, "force", stale_after_s=0.3, answer_s=0.05))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 3)
        bus.silent = True
        until(lambda: "no answer" in (yard.out / "rejects.csv").read_text("ascii"))
        before = until(lambda: running.statuses and running.statuses[-1][1].time_s)
        until(lambda: running.statuses[-1][1].time_s > before + 0.6)
        bus.silent = False
        count = len(yard.values())
        until(lambda: len(yard.values()) > count)
        until(
            lambda: any(e.kind == "gap" and e.text.startswith("no reading") for e in yard.events())
        )
        running.end()


@pytest.mark.parametrize("noise", [b"\x01\x03\x04", b"\xff" * 300, b"\x01\x83", b"\0"])
def test_noise_before_an_answer_costs_nothing_on_a_serial_line(
    tmp_path: Path, noise: bytes
) -> None:
    bus = ModbusBus(HOLDING, kind="rtu")
    bus.before, bus.echo = noise, True
    yard = Yard(tmp_path, at(bus, "force"))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 3)
        outcome = running.end()
    bus.close()
    assert set(yard.values()) == {12.5} and outcome.drops == {"force": 0}


def test_a_damaged_answer_is_dropped(tmp_path: Path) -> None:
    """Each byte in turn is changed; the check of 16 bits finds any one (MODBUS over serial line 1.02, 2.5.1.2)."""
    bus = ModbusBus(HOLDING, kind="rtu")
    at_byte = [0]

    def damage(answer: bytes) -> bytes:
        place = at_byte[0] % len(answer)
        at_byte[0] += 1
        return answer[:place] + bytes([answer[place] ^ 0x10]) + answer[place + 1 :]

    bus.damage = damage
    yard = Yard(tmp_path, at(bus, "force", answer_s=0.2))

    def rejects() -> str:
        return (yard.out / "rejects.csv").read_text("ascii")

    with recording(yard) as running:
        until(
            lambda: at_byte[0] >= 10 and running.statuses and running.statuses[-1][1].drops["force"] >= 5 and "no whole answer" in rejects(),
            20.0,
        )  # fmt: skip
        bus.damage = bytes
        until(lambda: len(yard.values()) >= 3)
        outcome = running.end()
    bus.close()
    assert set(yard.values()) == {12.5} and outcome.drops["force"] >= 5


def test_bytes_that_are_no_modbus_end_the_connection(tmp_path: Path) -> None:
    bus = ModbusBus(HOLDING)
    bus.damage = lambda answer: b"HTTP/1.1 400 Bad Request\r\n\r\n"
    yard = Yard(tmp_path, at(bus, "force"))
    with recording(yard) as running:
        until(lambda: any("not Modbus over TCP" in e.text for e in yard.events()))
        bus.damage = bytes
        until(lambda: len(yard.values()) >= 3)
        running.end()
    bus.close()
    assert set(yard.values()) == {12.5}


def test_a_killed_recorder_keeps_what_it_had_read(tmp_path: Path, bus: ModbusBus) -> None:
    yard = Yard(tmp_path, at(bus, "force"))
    process = yard.start()
    until(lambda: len(yard.values()) >= 5)
    process.kill()
    process.communicate()
    assert verify(yard.out).state == "cut short" and set(yard.values()) == {12.5}
    again = Yard(tmp_path / "second", at(bus, "force"))
    with recording(again) as running:
        until(lambda: len(again.values()) >= 3)
        running.end()


# worked examples of MODBUS application protocol 1.1b3, 6.3: read three holding registers from 107 (0x6B), answered with
# 0x022B, 0, 0x0064; framed by MODBUS messaging on TCP/IP 1.0b. The checks of the RTU frames (polynomial 0xA001, start
# 0xFFFF, MODBUS over serial line 1.02, 6.2.2) were worked out by `crc` below, bit by bit.
ASKED = RegisterQuestion(device_id=1, table="holding", first=107, count=3, names=("f",))


def crc(frame: bytes) -> bytes:
    """The check of a serial frame, low byte first, as the standard's flow chart does it."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return value.to_bytes(2, "little")


def test_the_standards_example_over_tcp() -> None:
    frames = TcpFrames()
    assert frames.request(ASKED).hex() == "000100000006" + "01" + "03006b0003"
    frames.take(bytes.fromhex("000100000009" + "01" + "0306022b00000064"))
    found = frames.answer(ASKED)
    assert found is not None and found.content.hex() == "022b00000064"


def test_the_standards_example_on_a_serial_line() -> None:
    frames = SerialFrames()
    body = bytes.fromhex("0103006b0003")
    assert frames.request(ASKED) == body + crc(body)
    body = bytes.fromhex("010306022b00000064")
    frames.take(body + crc(body))
    found = frames.answer(ASKED)
    assert found is not None and found.content.hex() == "022b00000064"


@pytest.mark.parametrize("frames", [SerialFrames, TcpFrames])
def test_what_never_answers_is_held_in_bounded_memory(frames: type[modbus_frames.Frames]) -> None:
    made = frames()
    made.request(ASKED)
    for _ in range(1000):
        made.take(b"\0\1\0\0\0\xfe" + b"\1\3\6" * 40)
        assert len(made.held) <= 2000
        with contextlib.suppress(OSError):  # over TCP the connection ends
            made.answer(ASKED)


def test_these_ports_need_no_baud_rate_over_tcp() -> None:
    text = channel(
        "f",
        "force",
        format="modbus",
        table="input",
        register=0,
        type="uint16",
        every_s=1.0,
        unit="N",
        port="modbus://h",
    )
    for_recording(parse_sensors(text, "s"))


def test_the_session_holds_what_the_file_said(tmp_path: Path, bus: ModbusBus) -> None:
    yard = Yard(tmp_path, at(bus, "force"))
    with recording(yard) as running:
        until(lambda: len(yard.values()) >= 1)
        running.end()
    made = read_all(yard.out)
    assert made.readings["force"].reading.tolist()[0] == 12.5
    assert re.search("device_id = 1", (yard.out / "sensors.toml").read_text())
    assert struct.pack(">f", 12.5).hex() == "41480000"  # IEEE 754, as the emulator holds it
