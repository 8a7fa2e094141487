"""Decodes the answers of a port whose devices are asked: an answer belongs to the question before it.

Each question has a decoder of its own, so that stations of one bus may answer alike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pkgutil import resolve_name

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.formats.base import Decoded, Decoder

LATE = "late: it came after the time for an answer"
NO_ANSWER = "no answer from "  # names of channels follow
SAMPLE_S = 1.0  # least time between two samples of one question without an answer; memory only


class LateDecoder(Decoder):
    """Drops every line as late; names: the channels that the last question was for."""

    def _line(self, line: bytes) -> None:
        self._drop(LATE, line)

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; values: each in its channel's unit."""
        return encode_plain(channels, values)


class AskedDecoder(Decoder):
    """Passes bytes to the decoder of the question that was asked last, and counts for all of them.

    questions: the decoder of each question, by its text, in the order of the file
    unanswered: by question, how many in a row had no answer
    """

    asks = True

    def __init__(self, channels: Sequence[Channel]) -> None:
        super().__init__(channels)
        by_question: dict[str, list[Channel]] = {}
        for channel in channels:
            by_question.setdefault(channel.ask or "", []).append(channel)
        make: type[Decoder] = resolve_name(LINE_FORMATS[channels[0].format].decoder)
        self.questions = {ask: make(group) for ask, group in by_question.items()}
        self.unanswered = dict.fromkeys(self.questions, 0)
        self._late = LateDecoder(channels)
        self._late.names = ()
        self._decoders = (*self.questions.values(), self._late)
        self._own_causes: Counter[str] = Counter()
        self._current: Decoder = self._late
        self._came: set[str] = set()
        self._drops_before: dict[str, int] = {}
        self._sampled_s = dict.fromkeys(self.questions, -SAMPLE_S)

    # -- the conversation -----------------------------------------------------------------------
    def opened(self) -> None:
        """The port was opened, and nothing is asked yet."""
        self._current, self._late.names = self._late, ()
        self.unanswered = dict.fromkeys(self.questions, 0)

    def asked(self, question: str) -> None:
        """What comes from now on answers this question."""
        self._late.forget()
        self._current = self.questions[question]
        self._current.forget()
        self._came = set()
        self._drops_before = dict(self._current.drops)

    @property
    def answered(self) -> bool:
        """Whether a channel of the last question got a reading, or lost one."""
        drops = self._current.drops
        return bool(self._came) or any(drops[n] > self._drops_before.get(n, 0) for n in drops)

    @property
    def complete(self) -> bool:
        """Whether each channel of the last question got a reading or lost one, and no line is
        begun."""
        drops = self._current.drops
        served = {n for n in drops if drops[n] > self._drops_before.get(n, 0)} | self._came
        return not self._current.incomplete and served >= {*self._current.names}

    @property
    def incomplete(self) -> bool:
        """Whether the last question's answer ends within a line."""
        return self._current.incomplete

    def end_answer(self, question: str) -> None:
        """The answer to this question is whole."""
        self.unanswered[question] = 0

    def end_without_answer(self, question: str, now_s: float) -> Decoded:
        """No answer came in time: what comes now is late.  Returns a sample, at most one a second.

        now_s: `clock.now`, s.
        """
        decoder, out = self.questions[question], Decoded()
        cause = NO_ANSWER + " and ".join(decoder.names)
        self.unanswered[question] += 1
        self._own_causes[cause] += 1
        self.drop_late(question)
        self._sum()
        if now_s - self._sampled_s[question] >= SAMPLE_S:
            self._sampled_s[question] = now_s
            out.samples.append((cause, question.encode("latin-1")))
        return out

    def drop_late(self, question: str) -> None:
        """What comes until the next question is too late for this one."""
        decoder = self.questions[question]
        decoder.forget()
        self._late.names, self._current = decoder.names, self._late

    def silent_devices(self) -> Mapping[str, tuple[tuple[str, ...], int]]:
        """See `Decoder.silent_devices`."""
        return {
            f'"{ask.encode("unicode_escape").decode("ascii")}"': (
                decoder.names,
                self.unanswered[ask],
            )
            for ask, decoder in self.questions.items()
        }

    # -- bytes ----------------------------------------------------------------------------------
    def connected(self, torn: bool = True) -> None:
        """See `Decoder.connected`; an answer is never torn at its beginning."""
        for decoder in self._decoders:
            decoder.connected(torn=False)
        self._sum()

    def feed(self, chunk: bytes) -> Decoded:
        """See `Decoder.feed`."""
        return self._counted(self._current.feed(chunk))

    def pause(self) -> Decoded:
        """See `Decoder.pause`."""
        return self._counted(self._current.pause())

    def feed_doubtful(self, chunk: bytes) -> Decoded:
        """See `Decoder.feed_doubtful`."""
        return self._counted(self._current.feed_doubtful(chunk))

    def skip(self, chunk: bytes) -> int:
        """See `Decoder.skip`."""
        count = self._current.skip(chunk)
        self._sum()
        return count

    def _counted(self, decoded: Decoded) -> Decoded:
        self._came.update(decoded.readings, decoded.overloads)
        self._sum()
        return decoded

    def _sum(self) -> None:
        """Set the counts of `Decoder` to the sums over all questions."""
        decoders = self._decoders
        self.lines = sum(decoder.lines for decoder in decoders)
        self.understood = sum(decoder.understood for decoder in decoders)
        self.causes = sum((decoder.causes for decoder in decoders), Counter(self._own_causes))
        self.drops = {n: sum(decoder.drops.get(n, 0) for decoder in decoders) for n in self.names}
        self.head = next((decoder.head for decoder in decoders if decoder.head), b"")
        self.foreign_line = next((d.foreign_line for d in decoders if d.foreign_line), b"")
        self.unclear_line = next((d.unclear_line for d in decoders if d.unclear_line), b"")
        self.column_change = next((d.column_change for d in decoders if d.column_change), None)

    def _line(self, line: bytes) -> None:
        """Pass a line to the question's decoder; `feed` passes all of them."""
        self._current._line(line)

    @staticmethod
    def encode(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
        """See `Decoder.encode`; values: each in its channel's unit."""
        return encode_plain(channels, values)


def encode_plain(channels: Sequence[Channel], values: Mapping[str, float]) -> bytes:
    """A line in the format of the channels; values: each in its channel's unit."""
    decoder: type[Decoder] = resolve_name(LINE_FORMATS[channels[0].format].decoder)
    return decoder.encode(channels, values)
