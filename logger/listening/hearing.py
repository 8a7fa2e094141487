"""Opens a port and collects what comes, for `haul listen`; sends nothing but a question that was given."""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Channel
from logger.channels.port_schemes import (
    HAND,
    SECRET,
    refusal,
    scheme_of,
    secret_in,
    split_port,
    without_secret,
)
from logger.errors import PortFault
from logger.formats.line_ends import PAUSE
from logger.listening.capture import Capture, Piece
from logger.listening.line_settings import seven_bits_of
from logger.transports.base import CYCLE_S, error_text
from logger.transports.registry import transport_for

MOST_BYTES = 200_000  # memory only: the latest bytes are kept
ASK_AFTER_S = 0.15  # silence after an answer from which the next question may go out; chosen by us
NO_ANSWER_S = (
    0.5  # longest wait for an answer; chosen by us: slow indicators take a fifth of a second
)


@dataclass(frozen=True)
class LineSettings:
    """How a port is opened."""

    port: str  # as in the sensors file
    baud: int | None  # rate of a serial line, bit/s; None: the port has none
    framing: str  # such as "8N1"
    ask: str | None  # question; None: nothing is sent


def check_port(port: str) -> bool:
    """Check that a port can be listened to; returns whether it is a serial line.  Raises PortFault."""
    scheme, name = scheme_of(port), split_port(port)[0].lower()
    if secret_in(port):
        raise PortFault(without_secret(port), *SECRET)
    if port == HAND:
        raise PortFault(
            port, "is a person, not a device", "write the channel by hand: see `haul help device`"
        )
    if name.startswith("modbus"):
        raise PortFault(
            port,
            "a Modbus device sends nothing by itself, and listening asks no register",
            'write a channel with format = "modbus" and the register from its manual',
        )
    if scheme is None:
        raise PortFault("port", *refusal(port))
    if scheme.check is not None:
        try:
            scheme.check(port)
        except ValueError as error:
            fault, _, cure = str(error).rpartition("; ")
            raise PortFault(port, fault, cure) from None
    return scheme.needs_baud


class Hearing:
    """One port and what it brought; as a context manager it closes an opened port.

    lost: why the device is gone; None while it is connected
    """

    def __init__(self, settings: LineSettings, halt: threading.Event | None = None) -> None:
        """halt: set from another thread, ends each listening at once."""
        self.settings = settings
        self._halt = halt or threading.Event()
        self.lost: str | None = None
        scheme = scheme_of(settings.port)
        # a silence ends its lines, so that silences are measured; a message is a line without one
        ends = None if scheme is not None and scheme.messages else PAUSE
        stub = Channel(
            name="listen", quantity="force", at="haul", port=settings.port, baud=settings.baud,
            format="text", unit="N", ends=ends, framing=settings.framing,
        )  # fmt: skip
        self._transport = transport_for(settings.port, (stub,))
        self._pieces: deque[Piece] = deque()
        self._lock = threading.Lock()  # of the pieces: a person may be asked while bytes come
        self._size = 0
        self._opened_s = self._began_s = self._silent_to_s = 0.0
        self._torn = True
        self._question, self._asked_s, self._heard_s = 0, 0.0, 0.0
        self._echo = b""

    def open(self) -> Hearing:
        """Open the port, and return this; raises PortFault."""
        try:
            self._transport.open()
        except PortFault:
            raise
        except Exception as error:  # drivers raise what they like
            raise PortFault(self.settings.port, f"cannot be opened: {error_text(error)}") from None
        self._opened_s = self._began_s = self._silent_to_s = clock.now()
        return self

    def close(self) -> None:
        """Close the port."""
        with contextlib.suppress(Exception):
            self._transport.close()

    def __enter__(self) -> Hearing:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def listen(self, for_s: float, enough: Callable[[Capture], bool] | None = None) -> Capture:
        """Collect for `for_s` seconds more, or until `enough` says so; returns all that came."""
        until = clock.now() + for_s
        while self.lost is None and clock.now() < until and not self._halt.is_set():
            if self._turn() and enough is not None and enough(self.capture()):
                break
        return self.capture()

    def raw(self) -> bytes:
        """All bytes so far, with their top bits."""
        return b"".join(piece.data for piece in self._pieces)

    def capture(self) -> Capture:
        """What came so far."""
        settings = self.settings
        with self._lock:
            pieces = tuple(self._pieces)
        if settings.framing.startswith("7"):
            pieces = tuple(
                Piece(p.from_s, p.to_s, seven_bits_of(p.data), p.question) for p in pieces
            )
        return Capture(
            port=settings.port,
            baud=settings.baud,
            framing=settings.framing
            if settings.baud is not None or settings.framing != "8N1"
            else None,
            ask=settings.ask,
            pieces=pieces,
            torn=self._torn and settings.ask is None,
            listened_s=clock.now() - self._began_s,
        )

    def _turn(self) -> bool:
        """Ask if it is time to, and take one chunk; returns whether bytes came."""
        if self.settings.ask is not None:
            self._ask(self.settings.ask.encode("latin-1"))
        try:
            chunk = self._transport.read()
        except Exception as error:  # drivers raise what they like
            self.lost = error_text(error)
            return False
        data = chunk.content if isinstance(chunk.content, bytes) else b""
        if data:
            self._heard_s = clock.now()
            data = self._without_echo(data)
        elif not self._pieces:
            self._silent_to_s = chunk.from_s + CYCLE_S  # so long it waited, and nothing came
        if data and (self.settings.ask is None or self._question):
            if not self._pieces:
                self._torn = self._transport.first_line_torn(self._opened_s, self._silent_to_s)
            with self._lock:
                self._pieces.append(Piece(chunk.from_s, chunk.to_s, data, self._question))
                self._size += len(data)
                while self._size > MOST_BYTES:
                    self._size -= len(self._pieces.popleft().data)
                    self._torn = True
        if chunk.lost is not None:
            self.lost = chunk.lost
        return bool(data)

    def _ask(self, question: bytes) -> None:
        """Send the question, once the answer to the one before is over."""
        now_s = clock.now()
        answered = self._heard_s > self._asked_s
        since_s = now_s - max(self._asked_s, self._heard_s)
        if self._question and since_s < (ASK_AFTER_S if answered else NO_ANSWER_S):
            return
        self._question += 1
        self._asked_s, self._echo = clock.now(), question
        try:
            self._transport.send(question)
        except Exception as error:
            self.lost = error_text(error)

    def _without_echo(self, data: bytes) -> bytes:
        """The bytes without the question, which two wires for both directions send back first."""
        echo, self._echo = self._echo, b""
        if not echo:
            return data
        if data.startswith(echo):
            return data[len(echo) :]
        if echo.startswith(data):
            self._echo = echo[len(data) :]
            return b""
        return data
