"""Listens to the ports of a sensors file for a short time, and keeps the last number of each channel.

The ports are closed before the recorder opens them; nothing that is heard here is recorded.
"""

from __future__ import annotations

import contextlib
import threading
from collections import Counter
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Sensors
from logger.channels.port_schemes import HAND
from logger.transports.reader_thread import Arrival, PortEvent, PortReader

CLOSED_WITHIN_S = 3.0  # longest wait for a port to close; chosen by us: a driver may take its time
RATE_FROM_S = 0.5  # least time for a rate; chosen by us: before, one burst would be most of it


@dataclass(frozen=True)
class Heard:
    """What came of one channel while its port was listened to."""

    readings: int = 0  # numbers so far
    last: str = ""  # the last one, as the device sent it; "" before the first
    age_s: float | None = None  # of the last one, s; None before the first
    rate_Hz: float | None = None  # numbers a second; None: not yet known
    dropped: str = ""  # the most frequent cause of a dropped line; "" for none
    fault: str = ""  # why the port is not open; "" while it is
    held: bool = False  # whether it is not open because another program has it
    missing: bool = False  # whether its device is not there
    tried: bool = False  # whether it was tried to open the port
    listening: bool = False  # whether the port is listened to now
    by_hand: bool = False  # whether a person enters its numbers


class PortListener:
    """The ports of one sensors file, listened to from the start of this object until `close`.

    sensors: of the file.  Safe for several threads.
    """

    def __init__(self, sensors: Sensors) -> None:
        self.sensors = sensors
        self._lock = threading.Lock()
        self._began_s = clock.now()
        self._ended_s: float | None = None
        self._counts: Counter[str] = Counter()
        self._last: dict[str, tuple[str, float]] = {}
        self._causes: dict[str, Counter[str]] = {}
        self._readers = [
            PortReader(url, channels, self._take)
            for url, channels in sensors.ports().items()
            if url != HAND
        ]
        for reader in self._readers:
            reader.start()

    def _take(self, arrived: Arrival | PortEvent) -> None:
        """Keep what a reader delivers; called in its thread."""
        if isinstance(arrived, PortEvent):
            return
        with self._lock:
            for name, texts in arrived.decoded.readings.items():
                self._counts[name] += len(texts)
                self._last[name] = (texts[-1].decode("ascii", "replace"), arrived.to_s)
            causes = self._causes.setdefault(arrived.port, Counter())
            for cause, _ in arrived.decoded.samples:
                causes[cause] += 1

    @property
    def listening(self) -> bool:
        """Whether it still listens."""
        return self._ended_s is None

    def heard(self) -> dict[str, Heard]:
        """What came so far, by channel."""
        readers = {reader.url: reader for reader in self._readers}
        with self._lock:
            until_s = clock.now() if self._ended_s is None else self._ended_s
            return {
                channel.name: self._heard(
                    channel.name, channel.port or "", readers.get(channel.port or ""), until_s
                )
                for channel in self.sensors.channels
            }

    def _heard(self, name: str, port: str, reader: PortReader | None, until_s: float) -> Heard:
        if reader is None:
            return Heard(by_hand=port == HAND)
        last, at_s = self._last.get(name, ("", None))
        passed_s = until_s - (reader.opened_s or self._began_s)
        causes = self._causes.get(port, Counter()).most_common(1)
        return Heard(
            readings=self._counts[name],
            last=last,
            age_s=None if at_s is None else max(0.0, until_s - at_s),
            rate_Hz=self._counts[name] / passed_s if passed_s >= RATE_FROM_S else None,
            dropped=causes[0][0] if causes else "",
            fault="" if reader.opened else reader.fault,
            held=reader.held,
            missing=reader.missing,
            tried=reader.tried.is_set(),
            listening=self._ended_s is None,
        )

    def close(self) -> bool:
        """Close the ports and wait until they are; whether all are closed.  May be called again."""
        with self._lock:
            if self._ended_s is None:
                self._ended_s = clock.now()
        for reader in self._readers:
            reader.stop()
        for reader in self._readers:
            with contextlib.suppress(RuntimeError):
                reader.join(CLOSED_WITHIN_S)
        return not any(reader.is_alive() for reader in self._readers)
