"""Queues items from the reader threads to the writer thread; bounded, so that no reader waits."""

from __future__ import annotations

import threading
from collections import Counter, deque

from logger.transports.reader_thread import Arrival, PortEvent

MOST_S = 60.0  # chosen by us: a disk that is pulled out can be put back within it
MOST_READINGS = 1_000_000  # memory only: a minute at 16 kHz
MOST_EVENTS = 1000  # memory only


class BoundedQueue:
    """A queue in order of arrival that drops its oldest readings when it is full.

    It is full at `most_s` seconds, or at `most_readings` readings and samples of dropped lines.
    Port events are kept.

    newest: last reading of each channel as sent, written to disk or not
    """

    def __init__(self, most_s: float = MOST_S, most_readings: int = MOST_READINGS) -> None:
        self._most_s, self._most = most_s, most_readings
        self._items: deque[tuple[Arrival | PortEvent, int]] = deque()
        self._held = 0
        self._events: deque[PortEvent] = deque(maxlen=MOST_EVENTS)
        self._lost: Counter[str] = Counter()
        self.newest: dict[str, bytes] = {}
        self._ready = threading.Condition()

    def put(self, item: Arrival | PortEvent) -> None:
        """Add an item; waits for nothing but the queue's lock."""
        size, now = 0, 0.0
        if isinstance(item, Arrival):
            size = sum(map(len, item.decoded.readings.values())) + len(item.decoded.samples)
            now = item.to_s
        with self._ready:
            self._items.append((item, size))
            if isinstance(item, Arrival):
                for name, texts in item.decoded.readings.items():
                    self.newest[name] = texts[-1]
            self._held += size
            while len(self._items) > 1 and now and self._too_much(now):
                old, count = self._items.popleft()
                self._held -= count
                if isinstance(old, Arrival):
                    for name, texts in old.decoded.readings.items():
                        self._lost[name] += len(texts)
                else:
                    self._events.append(old)
            self._ready.notify()

    def _too_much(self, now: float) -> bool:
        first = self._items[0][0]
        since = first.to_s if isinstance(first, Arrival) else first.time_s
        return self._held > self._most or now - since > self._most_s

    def take(self, timeout_s: float) -> list[Arrival | PortEvent]:
        """Remove and return all items; waits up to timeout_s for the first."""
        with self._ready:
            if not self._items:
                self._ready.wait(timeout_s)
            items = [*self._events, *(item for item, _ in self._items)]
            self._events.clear()
            self._items.clear()
            self._held = 0
        return items

    def lost(self) -> dict[str, int]:
        """Number of readings dropped since the last call, by channel."""
        with self._ready:
            lost, self._lost = dict(self._lost), Counter()
        return lost
