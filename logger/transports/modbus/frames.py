"""Makes Modbus requests and finds their answers in a stream of bytes, framed for a serial line or for TCP.

pymodbus encodes and decodes the frames; it is imported when the first port is opened.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any

MISSING = "pymodbus is not installed: run pip install pymodbus"
MOST_COUNT = 125  # registers in one request; by definition, MODBUS application protocol 1.1b3, 6.3
MOST_HELD = 1024  # memory only: bytes of answers; a frame over TCP has 260 at most
EXCEPTION = 0x80  # by definition: added to the function code of an answer that refuses
# by definition, MODBUS application protocol 1.1b3, chapter 7
EXCEPTIONS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "device failure",
    5: "acknowledge",
    6: "device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target does not respond",
}
FUNCTIONS = {"holding": 3, "input": 4}  # by definition, ditto 6.3 and 6.4


@dataclass(frozen=True)
class RegisterQuestion:
    """One request: registers of one table of one device."""

    device_id: int  # address of the device
    table: str  # "holding" or "input"
    first: int  # address of the first register, from 0
    count: int  # how many registers
    names: tuple[str, ...]  # channels whose numbers stand there


@dataclass(frozen=True)
class BusAnswer:
    """What a device answered."""

    content: bytes = b""  # the registers, as on the wire; b"" for an exception
    exception: int = 0  # number of the exception; 0: none


class Frames(ABC):
    """Requests and answers of one connection.

    held: bytes that came and belong to no answer so far
    """

    def __init__(self) -> None:
        """Raises OSError where pymodbus is not installed."""
        self.held = self._sent = b""
        self._framer = self._new_framer(_decoder())

    @abstractmethod
    def _new_framer(self, decoder: Any) -> Any:
        """The framer of pymodbus."""

    @abstractmethod
    def answer(self, question: RegisterQuestion) -> BusAnswer | None:
        """The answer to this question in what came; None if it is not there whole."""

    def request(self, question: RegisterQuestion) -> bytes:
        """The bytes that ask this question; what came before is left."""
        message = _request_class(question.table)(
            address=question.first,
            count=question.count,
            dev_id=question.device_id,
            transaction_id=self._next_number(),
        )
        self.held, self._sent = b"", bytes(self._framer.buildFrame(message))
        return self._sent

    def take(self, content: bytes) -> None:
        """Hold bytes that came; of many the last."""
        self.held = (self.held + content)[-MOST_HELD:]

    @property
    def silent(self) -> bool:
        """Whether nothing came but perhaps the echo of the question."""
        return self.held in (b"", self._sent)

    def _next_number(self) -> int:
        return 0

    def _decoded(self, frame: bytes, question: RegisterQuestion) -> BusAnswer | None:
        """The answer in one whole frame; None if it is damaged or answers something else."""
        try:
            _, message = self._framer.handleFrame(frame, question.device_id, 0)
        except Exception:  # pymodbus raises errors of several kinds on bytes that are no answer
            return None
        if message is None or message.dev_id != question.device_id:
            return None
        function = FUNCTIONS[question.table]
        if message.function_code == function + EXCEPTION:
            return BusAnswer(exception=int(message.exception_code))
        registers = list(message.registers)
        if message.function_code != function or len(registers) != question.count:
            return None
        return BusAnswer(content=b"".join(int(each).to_bytes(2, "big") for each in registers))


class SerialFrames(Frames):
    """Frames of a serial line (RTU), each with a check of 16 bits.

    An answer is looked for at every place, because noise or the echo of the question may stand before
    it.
    """

    def _new_framer(self, decoder: Any) -> Any:
        from pymodbus.framer import FramerRTU

        return FramerRTU(decoder)

    def answer(self, question: RegisterQuestion) -> BusAnswer | None:
        """See `Frames.answer`."""
        device, function = question.device_id, FUNCTIONS[question.table]
        good, bad = (
            bytes([device, function, 2 * question.count]),
            bytes([device, function + EXCEPTION]),
        )
        for at in range(len(self.held)):
            if self.held.startswith(good, at):
                size = 2 * question.count + 5
            elif self.held.startswith(bad, at):
                size = 5
            else:
                continue
            frame = self.held[at : at + size]
            answer = self._decoded(frame, question) if len(frame) == size else None
            if answer is not None:
                self.held = self.held[at + size :]
                return answer
        return None


class TcpFrames(Frames):
    """Frames over TCP, each with the number of its question."""

    def __init__(self) -> None:
        super().__init__()
        self._number = 0

    def _new_framer(self, decoder: Any) -> Any:
        from pymodbus.framer import FramerSocket

        return FramerSocket(decoder)

    def _next_number(self) -> int:
        self._number = self._number % 0xFFFF + 1
        return self._number

    def answer(self, question: RegisterQuestion) -> BusAnswer | None:
        """See `Frames.answer`; raises OSError for bytes that are not Modbus."""
        while len(self.held) >= 8:
            number, protocol = self.held[:2], self.held[2:4]
            size = int.from_bytes(self.held[4:6], "big")
            if protocol != b"\0\0" or not 3 <= size <= 254:
                raise OSError("what the device sends is not Modbus over TCP")
            frame = self.held[: 6 + size]
            if len(frame) < 6 + size:
                return None
            self.held = self.held[6 + size :]
            if number == self._number.to_bytes(2, "big"):
                answer = self._decoded(frame, question)
                if answer is not None:
                    return answer
        return None


def _decoder() -> Any:
    try:
        from pymodbus.pdu import DecodePDU
    except ImportError:
        raise OSError(MISSING) from None
    return DecodePDU(False)


def _request_class(table: str) -> Any:
    from pymodbus.pdu import register_message

    if table == "holding":
        return register_message.ReadHoldingRegistersRequest
    return register_message.ReadInputRegistersRequest
