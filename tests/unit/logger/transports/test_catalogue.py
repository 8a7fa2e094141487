"""Every device of the catalogue is read over its real wire with the right value and unit, over a random cut of
its bytes and one reconnection; rate and framing are the device's, and nobody sends it a byte but its question."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.emulated_devices import CATALOGUE, channel_of
from support.modbus_devices import requests_in
from support.mqtt_broker import CONNECT, SUBSCRIBE
from support.mqtt_devices import READS, MqttDevice, plugged
from support.register_devices import REGISTER_CATALOGUE, RegisterDevice
from support.serial_wire import noting_framings
from support.systems import pseudo_terminals
from support.tiers import every
from support.waiting import joined, until

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.transports.reader_thread import Arrival, PortEvent, PortReader

pytestmark = pseudo_terminals
READABLE = [name for name, device in CATALOGUE.items() if device.keys]
ENOUGH = 8  # readings of a connection


@pytest.fixture(scope="module", autouse=True)
def framings() -> Iterator[None]:
    with noting_framings():
        yield


class Taken:
    """What a reader delivered, by connection; name: of the only channel that counts, "" for each."""

    def __init__(self, name: str = "") -> None:
        self.name = name
        self.connections: list[list[float]] = []
        self.lock = threading.Lock()

    def __call__(self, delivered: Arrival | PortEvent) -> None:
        with self.lock:
            if isinstance(delivered, PortEvent):
                if delivered.kind == "connect":
                    self.connections.append([])
                return
            for name, numbers in delivered.decoded.readings.items():
                if self.name in ("", name):
                    self.connections[-1] += [float(number) for number in numbers]

    def last(self) -> list[float]:
        with self.lock:
            return list(self.connections[-1]) if self.connections else []


def runs_in(part: list[float], whole: list[float], tolerance: float) -> bool:
    """Whether the numbers stand one behind the other in `whole`."""
    return any(
        all(abs(a - b) <= tolerance for a, b in zip(part, whole[start:], strict=False))
        for start in range(len(whole) - len(part) + 1)
    )


def test_the_catalogue_has_at_least_60_devices_of_all_kinds() -> None:
    assert len(CATALOGUE) >= 60
    assert {d.wire for d in CATALOGUE.values()} - {"mqtt"} == {"pty", "tcp", "udp", "listen"}
    assert {bus.kind for bus in REGISTER_CATALOGUE.values()} == {"tcp", "rtu"}
    assert {"8N1", "8N2", "7E1", "7O1", "7N2", "8E1"} <= {d.framing for d in CATALOGUE.values()}
    assert sum(bool(d.asked) for d in CATALOGUE.values()) >= 7


@pytest.mark.parametrize("name", every(4, READABLE))
def test_a_device_is_read_right_over_its_wire_and_again_when_it_is_back(
    name: str, tmp_path: Path
) -> None:
    device = CATALOGUE[name]
    emulated = plugged(device, tmp_path)
    sensors = parse_sensors(channel_of(device, emulated.port), "s")
    for_recording(sensors)
    (channel,) = sensors.channels
    assert (channel.unit, channel.quantity) == (device.unit, device.quantity)
    taken = Taken()
    reader = PortReader(emulated.port, (channel,), taken)
    reader.start()
    try:
        read: list[tuple[list[float], list[float]]] = []
        for turn in range(2):
            until(lambda: len(taken.last()) >= ENOUGH, 10.0, f"readings of connection {turn + 1}")
            before = taken.last()
            read.append((before, list(emulated.sent)))
            if device.wire == "pty":
                assert emulated.seen == (device.baud, device.framing)
            if not turn:
                connections = len(taken.connections)
                emulated.drop()
                if device.wire != "udp":  # datagrams have no connection
                    until(lambda n=connections: len(taken.connections) > n, 5.0, "a reconnection")
                else:
                    taken.connections.append([])
    finally:
        reader.stop()
        joined(reader)
        emulated.close()
    for values, sent in read:
        assert runs_in(values, sent, 0.51 * 10.0**-device.decimals), (values, sent)
    if isinstance(emulated, MqttDevice):
        assert {CONNECT, SUBSCRIBE} <= emulated.packets() <= READS
    assert emulated.inbox == device.asked * (len(emulated.inbox) // max(1, len(device.asked)))
    assert bool(emulated.inbox) == bool(device.asked)
    assert set(reader.decoder.causes) <= {*TORN, *EXPECTED.get(name, ())}


@pytest.mark.parametrize("name", REGISTER_CATALOGUE)
def test_registers_are_read_right_over_their_bus_and_again_when_it_is_back(
    name: str, tmp_path: Path
) -> None:
    """Each reading, in newtons or metres, is the number that stood in the registers when they were read."""
    bus = REGISTER_CATALOGUE[name]
    emulated = RegisterDevice(bus, tmp_path)
    sensors = parse_sensors(emulated.sensors_text(), "s")
    for_recording(sensors)
    takers = {one.name: Taken(one.name) for one in bus.registers}

    def taken(delivered: Arrival | PortEvent) -> None:
        for each in takers.values():
            each(delivered)

    def all_read() -> bool:
        return all(len(each.last()) >= ENOUGH for each in takers.values())

    reader = PortReader(emulated.port, sensors.channels, taken)
    reader.start()
    read: list[tuple[str, list[float], list[float]]] = []
    try:
        for turn in range(2):
            until(all_read, 15.0, f"readings of connection {turn + 1}")
            read += [(key, each.last(), list(emulated.sent[key])) for key, each in takers.items()]
            if bus.kind == "rtu":
                assert emulated.bus.seen() == (bus.baud, bus.framing)
            if not turn:
                connections = max(len(each.connections) for each in takers.values())
                emulated.drop()
                until(
                    lambda n=connections: all(len(e.connections) > n for e in takers.values()),
                    5.0,
                    "a reconnection",
                )
    finally:
        reader.stop()
        joined(reader)
        emulated.close()
    by_name = {one.name: one for one in bus.registers}
    for key, values, sent in read:
        channel = next(one for one in sensors.channels if one.name == key)
        assert (channel.unit, channel.quantity) == (
            by_name[key].keys["unit"],
            by_name[key].quantity,
        )
        assert runs_in(values, sent, 1e-9 * max(map(abs, sent))), (key, values, sent)
        for value in values:
            assert channel.si(value) == pytest.approx(value * by_name[key].si, rel=1e-9)
    assert requests_in(emulated.bus.inbox, bus.kind == "tcp") == emulated.requests()
    assert not reader.decoder.causes


# a connection begins and ends anywhere in a line
TORN = ("first line after connecting", "cut off by a disconnection")
OTHER = "not for a channel here"
EXPECTED = {
    "overload now and then": ("overload: beyond the device's capacity",),
    "gross, tare, net below each other": (OTHER,),
    "force and length by turns": (OTHER,),
    "two stations by turns": (OTHER,),
    "among other sentences": (OTHER,),
}
