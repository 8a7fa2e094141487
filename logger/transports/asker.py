"""Asks the devices of one port: which question goes out when, and when an answer is overdue."""

from __future__ import annotations

from collections.abc import Sequence

from logger import clock
from logger.channels.channel import Channel
from logger.formats.base import Decoded
from logger.formats.questions import AskedDecoder
from logger.transports.base import Transport

LINE_ENDS = ("\r", "\n")


class Asker:
    """The conversation on one port; every question waits for the answer to the one before it.

    After a question without an answer the port is silent for another `answer_s`, so that a late
    answer meets no other question.
    """

    def __init__(
        self, transport: Transport, decoder: AskedDecoder, channels: Sequence[Channel]
    ) -> None:
        self._transport, self._decoder = transport, decoder
        first = {channel.ask or "": channel for channel in reversed(channels)}
        self._every_s = {ask: first[ask].every_s or 0.0 for ask in decoder.questions}
        self._answer_s = {ask: first[ask].answer_s or 0.0 for ask in decoder.questions}
        self._due: dict[str, float] = {}
        self._asked = ""
        self._asked_s = 0.0
        self._waiting = False
        self._late_until = 0.0
        self._echo, self._echoed = b"", b""

    def opened(self) -> None:
        """The port was opened: all questions are due."""
        self._due = dict.fromkeys(self._every_s, clock.awake())
        self._waiting, self._late_until, self._echo, self._echoed = False, 0.0, b"", b""
        self._decoder.opened()

    def without_echo(self, content: bytes) -> bytes:
        """The bytes without the question, which two wires for both directions send back first."""
        if not self._echo or not content:
            return content
        if self._echo.startswith(content):
            self._echo, self._echoed = self._echo[len(content) :], self._echoed + content
            return b""
        echo, echoed, self._echo, self._echoed = self._echo, self._echoed, b"", b""
        if content.startswith(echo):
            return content[len(echo) :]
        return echoed + content

    def turn(self, quiet: bool, now: float) -> Decoded:
        """Ask what is due, or note that an answer did not come; returns samples for rejects.csv.

        quiet: whether nothing came in the last cycle; now: `clock.awake` at its end, s, so that an
        answer that waits for a held-up reader is not overdue.  Raises what the driver raises.
        """
        if self._waiting:
            if quiet and self._decoder.complete:
                self._waiting = False
                self._decoder.end_answer(self._asked)
            elif now - self._asked_s < self._answer_s[self._asked]:
                return Decoded()
            else:
                return self._overdue(now)
        if now >= self._late_until:
            self._ask_next(now, quiet)
        return Decoded()

    def _overdue(self, now: float) -> Decoded:
        """The time for the answer is over; now: `clock.awake`, s."""
        decoder, asked = self._decoder, self._asked
        self._waiting = False
        answered, incomplete = decoder.answered, decoder.incomplete
        if answered:
            decoder.end_answer(asked)
        if answered and not incomplete:
            return Decoded()
        self._late_until = now + self._answer_s[asked]
        self._echo, self._echoed = b"", b""
        if not answered:
            return decoder.end_without_answer(asked, clock.now())
        decoder.drop_late(asked)
        return Decoded()

    def _ask_next(self, now: float, quiet: bool) -> None:
        """Send the question that is due for the longest time, if there is one.

        On a port that is not quiet it waits, but not for ever.
        """
        asked = min(self._due, key=lambda ask: self._due[ask])
        due = self._due[asked]
        if now < due or (not quiet and now - due < self._answer_s[asked]):
            return
        self._due[asked] = max(due + self._every_s[asked], now)
        question = asked.encode("latin-1")
        self._echo, self._echoed = (question if asked.endswith(LINE_ENDS) else b""), b""
        self._decoder.asked(asked)
        self._asked, self._waiting = asked, True
        self._transport.send(question)
        self._asked_s = clock.awake()
