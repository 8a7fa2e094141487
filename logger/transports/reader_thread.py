"""Reads one port in a thread: opens its transport, reads timed chunks, decodes them, reconnects."""

from __future__ import annotations

import contextlib
import errno
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from logger import clock
from logger.channels.channel import Channel
from logger.channels.framing import parse_framing
from logger.channels.port_schemes import scheme_of
from logger.formats.base import Decoded
from logger.formats.line_ends import PAUSE, PAUSE_S, PAUSE_STEP_S
from logger.formats.questions import AskedDecoder
from logger.formats.registry import decoder_for
from logger.transports.asker import Asker
from logger.transports.base import CYCLE_S, STALL_S, Chunk, error_text, seven_bits
from logger.transports.flood_gate import FloodGate
from logger.transports.registry import transport_for

# the pause doubles up to a limit that leaves the first row within 1 s of a device's return
BACK_OFF_S, MOST_BACK_OFF_S = 0.2, 0.5
MOST_BACKLOG = 1 << 20  # memory only: bytes that waited during a stall and are dated together


@dataclass(frozen=True)
class Arrival:
    """The readings of one chunk, and samples of its dropped lines."""

    port: str  # as in the sensors file
    from_s: float  # `clock.now` before the first line, s; after a stall, when the stall began
    to_s: float  # `clock.now` after the last line, s
    decoded: Decoded  # readings and samples
    held_s: float = 0.0  # how long the reader was held up meanwhile, s; 0: it was not
    cut: bool = False  # whether later lines of the stall are lost: the system's buffer was full


@dataclass(frozen=True)
class PortEvent:
    """A port was connected or lost, or a flood on it began or ended."""

    port: str  # as in the sensors file
    time_s: float  # `clock.now`, s
    kind: str  # "connect", "disconnect" or "flood"
    text: str  # why the port was lost, or what floods it; "" for connect
    value: float | None = None  # of a flood, see `FloodGate.change`; None: no value


class PortReader(threading.Thread):
    """Reads one port until `stop`; passes Arrival and PortEvent to `deliver`, in order.

    deliver: called in this thread; must not block
    tried: set after the first attempt to open the port
    opened: whether the port is open now
    opened_s: `clock.now` when it was opened last, s; 0 before
    fault: why the port is not open; "" while it is
    held: whether it is not open because another program has it
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
        scheme = scheme_of(url)
        if scheme is not None and scheme.messages and channels[0].ends == PAUSE:
            channels = [replace(channel, ends="lf") for channel in channels]
        self.decoder = decoder_for(channels)
        self.tried = threading.Event()
        self.quiet = threading.Event()
        self.opened = False
        self.opened_s = 0.0
        self.fault = ""
        self.held = False
        self._seven_bits = parse_framing(channels[0].framing).data_bits == 7
        self._gate = FloodGate(self.decoder)
        self._pausing = channels[0].ends == PAUSE
        self._before: Chunk | None = None  # the last bytes, where a silence ends a line
        self._transport = transport_for(url, channels)
        self._asker = (
            Asker(self._transport, self.decoder, channels)
            if isinstance(self.decoder, AskedDecoder)
            else None
        )
        self._deliver = deliver
        self._halt = threading.Event()

    @property
    def missing(self) -> bool:
        """Whether the port is not open and its device is not there, as far as the system shows it."""
        return not self.opened and not self._transport.present()

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
            with contextlib.suppress(Exception):  # what stays open between two connections
                self._transport.close()

    def _run(self) -> None:
        wait = BACK_OFF_S
        reported = False
        while not self._halt.is_set():
            try:
                self._transport.open()
            except Exception as error:  # no exception of a driver may end the reading
                self.fault = error_text(error)
                self.held = isinstance(error, OSError) and error.errno == errno.EBUSY
                self.tried.set()
                if not reported:
                    self._deliver_event("disconnect", f"cannot be opened: {self.fault}")
                    reported = True
                self._pause(wait)
                wait = min(2 * wait, MOST_BACK_OFF_S)
                continue
            self.opened_s = clock.now()
            self.opened, self.fault, self.held = True, "", False
            self.tried.set()
            reported, wait = True, BACK_OFF_S
            self._deliver_event("connect", "")
            try:
                self.fault = self._read_on()
            finally:
                self.opened = False
                if self._halt.is_set():
                    self.quiet.set()  # before closing, which a driver may take long for
                with contextlib.suppress(Exception):
                    self._transport.close()
            if not self._halt.is_set():
                self._deliver_event("disconnect", self.fault)
                self._pause(BACK_OFF_S)

    def _read_on(self) -> str:
        """Read until the device is lost or `stop`; returns the reason."""
        opened_at = looked_s = silent_to_s = clock.now()
        looked_awake = clock.awake()
        started = False
        self._before = None
        self.decoder.connected()
        if self._asker is not None:
            self._asker.opened()
        try:
            while True:
                halting = self._halt.is_set()
                try:
                    chunk = self._read()
                except Exception as error:  # pyserial raises TypeError and others on a lost port
                    return error_text(error)
                quiet, read_s = not chunk.content, clock.awake()
                if self._asker is not None and isinstance(chunk.content, bytes):
                    chunk = replace(chunk, content=self._asker.without_echo(chunk.content))
                held_s = clock.awake() - looked_awake
                if held_s < STALL_S or not isinstance(chunk.content, bytes):
                    held_s = 0.0
                elif chunk.more:
                    chunk = self._backlog(chunk)
                began_s, looked_s, looked_awake = looked_s, clock.now(), clock.awake()
                if chunk.content and not started:
                    started = True
                    torn = self._transport.first_line_torn(opened_at, silent_to_s)
                    self.decoder.connected(torn=torn)
                elif not started:
                    silent_to_s = chunk.from_s + CYCLE_S  # so long it waited, and nothing came
                if self._pausing:
                    self._end_by_silence(chunk, clock.now())
                if held_s:
                    self._arrive_after_stall(chunk, began_s, held_s)
                elif chunk.content or chunk.failures:
                    self._arrive(chunk)
                self._deliver_flood(self._gate.change(clock.now()))
                if self._asker is not None and chunk.lost is None and not halting:
                    try:
                        self._deliver_samples(self._asker.turn(quiet, read_s))
                    except Exception as error:
                        return error_text(error)
                if chunk.lost is not None:
                    return chunk.lost
                if halting:  # the last read has taken what had arrived by then
                    return "stopped"
        finally:
            self._deliver_flood(self._gate.ended(clock.now()))

    def _end_by_silence(self, chunk: Chunk, now_s: float) -> None:
        """End the line before this chunk if a silence of PAUSE_S lies between; now_s: `clock.now`, s.

        The line's readings have the time of its own bytes.
        """
        before, silent_to_s = self._before, chunk.from_s if chunk.content else now_s
        if before is not None and silent_to_s - before.to_s >= PAUSE_S - PAUSE_STEP_S:
            self._before = None
            decoded = self._gate.thinned(self.decoder.pause(), before.to_s)
            if decoded.readings or decoded.samples or decoded.overloads:
                self._deliver(Arrival(self.url, before.from_s, before.to_s, decoded))
        if chunk.content:
            self._before = chunk

    def _read(self) -> Chunk:
        """The next chunk of the transport; raises what the driver raises."""
        chunk = self._transport.read()
        return seven_bits(chunk) if self._seven_bits else chunk

    def _arrive(self, chunk: Chunk) -> None:
        """Decode a chunk and deliver its readings."""
        if isinstance(chunk.content, bytes):
            decoded = self._gate.feed(chunk.content, chunk.to_s)
        else:
            decoded = self._gate.thinned(
                self.decoder.registers(chunk.content, chunk.failures), chunk.to_s
            )
        if decoded.readings or decoded.samples or decoded.overloads:
            self._deliver(Arrival(self.url, chunk.from_s, chunk.to_s, decoded))

    def _arrive_after_stall(self, chunk: Chunk, began_s: float, held_s: float) -> None:
        """Deliver what came while this thread was held up from `began_s` for `held_s`, and drop
        the lines of which a piece may be missing."""
        content = chunk.content if isinstance(chunk.content, bytes) else b""
        at = len(content) if chunk.doubt_from is None else chunk.doubt_from
        decoded = self._gate.thinned(self.decoder.feed(content[:at]), chunk.to_s)
        self._deliver(Arrival(
            port=self.url,
            from_s=began_s,
            to_s=max(chunk.to_s, began_s),
            decoded=decoded,
            held_s=held_s,
            cut=chunk.doubt_from is not None,
        ))  # fmt: skip
        if chunk.doubt_from is not None:
            decoded = self._gate.thinned(self.decoder.feed_doubtful(content[at:]), chunk.to_s)
            self._deliver(Arrival(self.url, chunk.to_s, chunk.to_s, decoded))

    def _backlog(self, first: Chunk) -> Chunk:
        """The chunk, joined with all that waited behind it, up to MOST_BACKLOG."""
        chunks = [first]
        size, lost = len(first.content), None
        while chunks[-1].more and chunks[-1].lost is None and size < MOST_BACKLOG:
            try:
                chunks.append(self._read())
            except Exception as error:
                lost = error_text(error)
                break
            size += len(chunks[-1].content)
        content = b"".join(c.content for c in chunks if isinstance(c.content, bytes))
        return replace(
            chunks[-1], from_s=first.from_s, content=content, lost=chunks[-1].lost or lost
        )

    def _deliver_samples(self, decoded: Decoded) -> None:
        """Deliver the samples of questions without an answer."""
        if decoded.samples:
            now_s = clock.now()
            self._deliver(Arrival(self.url, now_s, now_s, decoded))

    def _deliver_flood(self, change: tuple[float, str] | None) -> None:
        """Deliver a flood that began or ended as an event."""
        if change is not None:
            value, text = change
            self._deliver(PortEvent(
                port=self.url, time_s=clock.now(), kind="flood", text=text, value=value
            ))  # fmt: skip

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
