"""Boards of the catalogue that publish by MQTT, with a broker each, and an inbox of what their reader published."""

from __future__ import annotations

import itertools
import threading
from pathlib import Path

from support.emulated_devices import Emulated, EmulatedDevice
from support.mqtt_broker import (
    CONNECT,
    DISCONNECT,
    PINGREQ,
    PUBACK,
    SUBSCRIBE,
    Broker,
    Publisher,
    Relay,
    packet_types,
)
from support.waiting import joined

TOPIC = "yard/board"
# what a client that only reads sends: MQTT 3.1.1, section 3
READS = {CONNECT, SUBSCRIBE, PUBACK, PINGREQ, DISCONNECT}


class MqttDevice:
    """A board that publishes its numbers in turn, and the broker; `port`: as in a sensors file.

    sent: the numbers that were published, as the board shows them
    seen: no rate and no framing
    """

    seen = (0, "")

    def __init__(self, device: Emulated, seed: int = 1) -> None:
        """seed: gives the length of the pieces in which the broker's bytes come."""
        self.device = device
        self.sent: list[float] = []
        self._broker = Broker()
        self._relay = Relay(self._broker.port, cut=seed % 7)
        self._board = Publisher(self._broker)
        self.port = f"mqtt://127.0.0.1:{self._relay.port}/{TOPIC}"
        self._halt = threading.Event()
        if device.retained:
            self._board.say(TOPIC, device.retained, retain=True)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def inbox(self) -> bytes:
        """All that its reader sent, unless it did nothing but read."""
        return b"" if self.packets() <= READS else self._relay.inbox

    def packets(self) -> set[int]:
        """The types of the control packets that its reader sent."""
        return set(packet_types(self._relay.inbox))

    def _run(self) -> None:
        for value in itertools.cycle(self.device.course):
            if self._halt.wait(1.0 / self.device.rate_hz):
                return
            self.sent.append(self.device.shown(value))
            self._board.say(TOPIC, self.device.write(value))

    def drop(self) -> None:
        """End the connection of the reader; the board goes on."""
        self._relay.hang_up()

    def close(self) -> None:
        self._halt.set()
        joined(self._thread)
        self._board.close()
        self._relay.close()
        self._broker.close()


def plugged(device: Emulated, folder: Path, seed: int = 1) -> EmulatedDevice | MqttDevice:
    """A device of the catalogue on its wire."""
    if device.wire == "mqtt":
        return MqttDevice(device, seed)
    return EmulatedDevice(device, folder, seed)
