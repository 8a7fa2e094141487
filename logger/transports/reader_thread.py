"""Reads one port in a thread: opens its transport, reads timed chunks, decodes them, reconnects."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Channel
from logger.formats.base import Decoded
from logger.formats.registry import decoder_for
from logger.transports.base import Chunk, error_text
from logger.transports.registry import transport_for

WHOLE_AFTER_S = 0.05  # after so long a silence at the start, the next line is complete
# the pause doubles up to a limit that leaves the first row within 1 s of a device's return
BACK_OFF_S, MOST_BACK_OFF_S = 0.2, 0.5


@dataclass(frozen=True)
class Arrival:
    """The readings of one chunk, and samples of its dropped lines."""

    port: str  # as in the sensors file
    from_s: float  # `clock.now` before the first line, s
    to_s: float  # `clock.now` after the last line, s
    decoded: Decoded  # readings and samples


@dataclass(frozen=True)
class PortEvent:
    """A port was connected or lost."""

    port: str  # as in the sensors file
    time_s: float  # `clock.now`, s
    kind: str  # "connect" or "disconnect"
    text: str  # why the port was lost; "" for connect


class PortReader(threading.Thread):
    """Reads one port until `stop`; passes Arrival and PortEvent to `deliver`, in order.

    deliver: called in this thread; must not block
    tried: set after the first attempt to open the port
    opened: whether the port is open now
    fault: why the port is not open; "" while it is
    quiet: set when nothing more will be delivered
    """

    def __init__(
        self,
        url: str,
        channels: Sequence[Channel],
        deliver: Callable[[Arrival | PortEvent], None],
    ) -> None:
        super().__init__(name=f"port {url}", daemon=True)
        self.url = url
        self.decoder = decoder_for(channels)
        self.tried = threading.Event()
        self.quiet = threading.Event()
        self.opened = False
        self.fault = ""
        self._transport = transport_for(url, channels)
        self._deliver = deliver
        self._halt = threading.Event()

    def stop(self) -> None:
        """Ask the thread to end; with an open port it does within CYCLE_S."""
        self._halt.set()

    def run(self) -> None:
        """The thread: read the port until `stop`, and reconnect after every loss."""
        try:
            while not self._halt.is_set():
                try:
                    self._run()
                except Exception as error:  # a defect of the program must not end the reading
                    self.opened, self.fault = False, error_text(error)
                    self.tried.set()
                    self._deliver_event("disconnect", f"fault in the reader: {self.fault}")
                    self._pause(BACK_OFF_S)
        finally:
            self.quiet.set()

    def _run(self) -> None:
        wait = BACK_OFF_S
        reported = False
        while not self._halt.is_set():
            try:
                self._transport.open()
            except Exception as error:  # no exception of a driver may end the reading
                self.fault = error_text(error)
                self.tried.set()
                if not reported:
                    self._deliver_event("disconnect", f"cannot be opened: {self.fault}")
                    reported = True
                self._pause(wait)
                wait = min(2 * wait, MOST_BACK_OFF_S)
                continue
            self.opened, self.fault = True, ""
            self.tried.set()
            reported, wait = True, BACK_OFF_S
            self._deliver_event("connect", "")
            try:
                self.fault = self._read_on()
            finally:
                self.opened = False
                if self._halt.is_set():
                    self.quiet.set()  # before closing, which takes pyserial 0.3 s on a socket
                with contextlib.suppress(Exception):
                    self._transport.close()
            if not self._halt.is_set():
                self._deliver_event("disconnect", self.fault)
                self._pause(BACK_OFF_S)

    def _read_on(self) -> str:
        """Read until the device is lost or `stop`; returns the reason."""
        opened_at = clock.now()
        started = False
        self.decoder.connected()
        while True:
            halting = self._halt.is_set()
            try:
                chunk = self._transport.read()
            except Exception as error:  # pyserial raises TypeError and others on a lost port
                return error_text(error)
            if chunk.content:
                if not started:
                    started = True
                    self.decoder.connected(torn=chunk.from_s - opened_at < WHOLE_AFTER_S)
                decoded = self._decode(chunk)
                if decoded.readings or decoded.samples:
                    self._deliver(Arrival(self.url, chunk.from_s, chunk.to_s, decoded))
            if chunk.lost is not None:
                return chunk.lost
            if halting:  # the last read has taken what had arrived by then
                return "stopped"

    def _decode(self, chunk: Chunk) -> Decoded:
        if isinstance(chunk.content, bytes):
            return self.decoder.feed(chunk.content)
        return self.decoder.registers(chunk.content)

    def _deliver_event(self, kind: str, text: str) -> None:
        self._deliver(PortEvent(self.url, clock.now(), kind, text))

    def _pause(self, wait: float) -> None:
        """Wait `wait` seconds; end early when a missing device appears."""
        missing = not self._transport.present()
        until = time.monotonic() + wait
        while (left := until - time.monotonic()) > 0:
            if self._halt.wait(min(left, BACK_OFF_S)):
                return
            if missing and self._transport.present():
                return
