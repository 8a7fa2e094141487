"""Reads the registers of Modbus devices: RTU through any port that takes questions, or TCP, `modbus://`."""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Sequence
from dataclasses import replace
from pkgutil import resolve_name

from logger import clock
from logger.channels.channel import Channel
from logger.channels.modbus_registers import MODBUS, ModbusRegisters
from logger.channels.port_schemes import modbus_address, scheme_of, split_port
from logger.errors import PortFault
from logger.formats.base import Failure
from logger.formats.questions import LATE, NO_ANSWER, SAMPLE_S
from logger.transports.base import CYCLE_S, Chunk, Transport
from logger.transports.modbus.frames import (
    EXCEPTIONS,
    MOST_COUNT,
    BusAnswer,
    Frames,
    RegisterQuestion,
    SerialFrames,
    TcpFrames,
)

# exceptions after which registers that were read together are read one by one: a device may refuse
# to begin a read within a number
APART = (2, 3)
LATE_S = 0.3  # chosen by us: devices answer within 0.1 s, and a converter on the way may hold bytes as long
# questions in a row without an answer after which a device counts as silent; chosen by us
MOST_MISSED = 3
SILENT_EVERY_S = 0.8  # chosen by us: the first row comes within 1 s of a device's return


class ModbusTransport(Transport):
    """A bus whose devices are asked for registers, one after another.

    After a question without an answer nothing is asked for another `answer_s`, at least LATE_S, so that
    a late answer meets no other question: on a serial line nothing tells whose it is.  A device that
    stays silent is asked only every SILENT_EVERY_S, so that the others keep their pace.
    """

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._line = _line(port, channels)
        self._at = {c.name: c.modbus for c in channels if c.modbus is not None}
        self._questions = joined(channels)
        self._every_s = {c.name: c.every_s or 0.0 for c in channels}
        self._answer_s = {c.name: c.answer_s or 0.0 for c in channels}
        self._frames: Frames | None = None
        self._due: dict[RegisterQuestion, float] = {}
        self._asked: RegisterQuestion | None = None
        self._asked_s = self._late_until = 0.0
        self._last: RegisterQuestion | None = (
            None  # the question that had no answer, until _late_until
        )
        self._sampled_s: dict[tuple[str, ...], float] = {}
        self._missed: dict[RegisterQuestion, int] = {}

    def open(self) -> None:
        """See `Transport.open`; all registers are due."""
        _quiet()
        over_tcp = split_port(self.port)[0].lower() == MODBUS
        self._frames = TcpFrames() if over_tcp else SerialFrames()
        self._line.open()
        self._due = dict.fromkeys(self._questions, clock.awake())
        self._asked, self._last, self._late_until, self._missed = None, None, 0.0, {}

    def read(self) -> Chunk:
        """See `Transport.read`; content: the bytes of each channel's registers."""
        frames = self._frames
        if frames is None:
            raise OSError("the port is not open")
        self._ask_next(frames)
        chunk = self._line.read()
        now = clock.awake()
        content = chunk.content if isinstance(chunk.content, bytes) else b""
        numbers: dict[str, bytes] = {}
        failures: list[Failure] = []
        asked = self._asked
        if asked is None:
            if content and self._last is not None and now < self._late_until + CYCLE_S:
                failures.append(
                    Failure(names=self._last.names, cause=LATE, sent=content, silent=True)
                )
                self._last = None
        else:
            frames.take(content)
            answer = frames.answer(asked)
            if now - self._asked_s > self._answer_s[asked.names[0]]:
                failures.append(self._overdue(asked, frames, answer is not None, now))
            elif answer is not None:
                self._asked = None
                self._missed.pop(asked, None)
                numbers, failures = self._taken(asked, answer, content)
        return replace(
            chunk, content=numbers, failures=tuple(failures), doubt_from=None, more=False
        )

    def close(self) -> None:
        """See `Transport.close`."""
        self._line.close()

    def present(self) -> bool:
        """See `Transport.present`."""
        return self._line.present()

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """False: an answer is never torn at its beginning."""
        return False

    def _ask_next(self, frames: Frames) -> None:
        """Send the question that is due for the longest time; wait for it up to CYCLE_S."""
        if self._asked is not None:
            return
        question = min(self._due, key=lambda one: self._due[one])
        due_s = max(self._due[question], self._late_until)
        wait_s = due_s - clock.awake()
        if wait_s > CYCLE_S:
            return
        if wait_s > 0:
            time.sleep(wait_s)
        now = clock.awake()
        self._due[question] = max(self._due[question] + self._every_s[question.names[0]], now)
        self._asked, self._last = question, None
        self._line.send(frames.request(question))
        self._asked_s = clock.awake()

    def _overdue(self, asked: RegisterQuestion, frames: Frames, late: bool, now: float) -> Failure:
        """The time for the answer is over; now: `clock.awake`, s."""
        self._asked, self._last = None, asked
        self._late_until = now + max(self._answer_s[asked.names[0]], LATE_S)
        self._missed[asked] = self._missed.get(asked, 0) + 1
        if self._missed[asked] >= MOST_MISSED:
            self._due[asked] = max(self._due[asked], now + SILENT_EVERY_S)
        who = " and ".join(asked.names)
        if late or not frames.silent:
            cause = (
                LATE if late else f"no whole answer from {who}: noise, or a wrong baud or framing"
            )
            return Failure(names=asked.names, cause=cause, sent=frames.held, silent=True)
        sampled = now - self._sampled_s.get(asked.names, -SAMPLE_S) >= SAMPLE_S
        if sampled:
            self._sampled_s[asked.names] = now
        what = f"{asked.table} registers from {asked.first} of device {asked.device_id}"
        return Failure(
            names=asked.names,
            cause=NO_ANSWER + who,
            sent=what.encode("ascii"),
            lost=False,
            silent=True,
            sampled=sampled,
        )

    def _taken(
        self, asked: RegisterQuestion, answer: BusAnswer, content: bytes
    ) -> tuple[dict[str, bytes], list[Failure]]:
        """The registers of each channel, or the exception that came in their place."""
        if answer.exception in APART and len(asked.names) > 1:
            every = self._due.pop(asked)
            self._questions = [q for q in self._questions if q != asked]
            for name in asked.names:
                alone = _question([name], self._at)
                self._questions.append(alone)
                self._due[alone] = every
            return {}, []
        if answer.exception:
            meaning = EXCEPTIONS.get(answer.exception, "no standard meaning")
            cause = f"exception {answer.exception} ({meaning}) from device {asked.device_id}"
            return {}, [Failure(names=asked.names, cause=cause, sent=content)]
        numbers = {}
        for name in asked.names:
            at = self._at[name]
            start = 2 * (at.first - asked.first)
            numbers[name] = answer.content[start : start + 2 * at.count]
        return numbers, []


def joined(channels: Sequence[Channel]) -> list[RegisterQuestion]:
    """The questions for the registers of these channels; neighbouring registers share one."""
    at = {c.name: c.modbus for c in channels if c.modbus is not None}
    pace = {c.name: (c.every_s, c.answer_s) for c in channels}
    groups: list[list[str]] = []
    for name in sorted(at, key=lambda n: (at[n].device_id, at[n].table, at[n].first)):
        group = groups[-1] if groups else []
        if group and pace[group[-1]] == pace[name] and _neighbours(at, group, name):
            group.append(name)
        else:
            groups.append([name])
    return [_question(group, at) for group in groups]


def _neighbours(at: dict[str, ModbusRegisters], group: list[str], name: str) -> bool:
    """Whether a channel's registers begin within or right behind those of a group."""
    first, new = at[group[0]], at[name]
    end = max(at[one].first + at[one].count for one in group)
    same = (first.device_id, first.table) == (new.device_id, new.table)
    return same and new.first <= end and new.first + new.count - first.first <= MOST_COUNT


def _question(names: Sequence[str], at: dict[str, ModbusRegisters]) -> RegisterQuestion:
    first = at[names[0]]
    end = max(at[name].first + at[name].count for name in names)
    return RegisterQuestion(
        device_id=first.device_id,
        table=first.table,
        first=first.first,
        count=end - first.first,
        names=tuple(names),
    )


def _line(port: str, channels: Sequence[Channel]) -> Transport:
    """The transport of the bytes; raises PortFault."""
    from logger.transports.tcp import TcpTransport

    scheme = scheme_of(port)
    if split_port(port)[0].lower() == MODBUS:
        try:
            host, number = modbus_address(port)
        except ValueError as error:
            fault, _, cure = str(error).rpartition("; ")
            raise PortFault(port, fault, cure) from None
        return TcpTransport(f"socket://{f'[{host}]' if ':' in host else host}:{number}", channels)
    if scheme is None or not scheme.asks:
        raise PortFault(port, "carries no Modbus", "write a serial port or modbus://host:502")
    transport: type[Transport] = resolve_name(scheme.transport)
    return transport(port, channels)


def _quiet() -> None:
    """Keep pymodbus from writing on the terminal: what is wrong is told in rejects.csv."""
    with contextlib.suppress(Exception):
        log = logging.getLogger("pymodbus")
        if not log.handlers:
            log.addHandler(logging.NullHandler())
        log.propagate = False
