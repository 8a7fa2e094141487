"""Finds rate and framing of a serial line by trying, and listens with what was found."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from logger import clock
from logger.listening.capture import Capture
from logger.listening.hearing import Hearing, LineSettings
from logger.listening.line_settings import ASKED, PARITY_BYTES, RATES, UNTOLD, judged
from logger.listening.line_splitting import line_end, lines_of

ENOUGH_BYTES = 40  # from which a rate is judged; chosen by us: some lines of a short device
# share of text from which a line is looked at once more; chosen by us: noise has less than half
SOME_SHARE = 0.4
# longest time at one rate once bytes come, and longest wait for an answer at one rate; chosen by us: a
# device of two lines a second sends one meanwhile
RATE_S, ASKED_S = 1.2, 0.35
LEAST_LINES = 12  # lines that end a listening without --for; chosen by us
LISTEN_S = 3.0  # time of listening with the settings that were found, without --for; chosen by us
SILENT_S = 8.0  # longest wait for the first byte, without --for; chosen by us
# longest wait for the next line of a device that sent one and then nothing, and for so many of its lines that
# parity is believed; chosen by us: a line every five seconds, and four of them
SLOW_S, SLOW_LINES_S = 7.0, 25.0
FEW_LINES = 3  # lines that a slow device is waited for; chosen by us: two intervals tell its rate


@dataclass(frozen=True)
class Wanted:
    """What `haul listen` was called with."""

    port: str  # as in the sensors file
    serial: bool  # whether the port is a serial line
    baud: int | None = None  # stated rate, bit/s; None: to be found
    framing: str | None = None  # stated framing; None: to be found
    ask: str | None = None  # question; None: nothing is sent
    for_s: float | None = None  # time from the start, tries included, s; None: as long as it takes


@dataclass(frozen=True)
class Search:
    """What a search ended with; `hearing` is open and goes on to collect."""

    hearing: Hearing  # the port with the settings that were found
    settled: bool  # whether text was read with these settings
    came: bool  # whether any byte came, with whatever settings
    tried: int  # how many settings were tried
    few: int | None = None  # bytes that came, where too few to judge by; None: enough
    likely: str | None = None  # framing that those few seem to show


def search(
    wanted: Wanted,
    until_s: float | None,
    say: Callable[[LineSettings], None],
    halt: threading.Event | None = None,
) -> Search:
    """Try settings until one reads text; raises PortFault if the port cannot be opened.

    until_s: `clock.now` at the end, s; None: no end; say: called with each settings before it is tried;
    halt: set from another thread, ends the search with what it has.
    The hearing of the result is open; whoever called closes it.
    """
    pace, tried = _Pace(wanted), 0
    best: LineSettings | None = None
    best_share = -1.0
    for settings in _to_try(wanted):
        if tried and (_left(until_s, 1.0) <= 0.0 or (halt is not None and halt.is_set())):
            pace.left_out = True
            break
        tried += 1
        say(settings)
        hearing = Hearing(settings, halt).open()
        _hear(hearing, wanted, pace, until_s)
        verdict = judged(hearing.raw())
        if verdict.likely is not None:  # more time would help, another rate would not
            return Search(
                hearing=hearing, settled=False, came=True, tried=tried, few=len(hearing.raw()),
                likely=verdict.likely,
            )  # fmt: skip
        if not verdict.text and verdict.share > SOME_SHARE:
            # the line may have been in the midst of a byte when it was opened
            before = len(hearing.raw())
            _hear_more(hearing, before + ENOUGH_BYTES, _left(until_s, RATE_S / 2))
            verdict = judged(hearing.raw()[before:])
        if verdict.text:
            if verdict.framing is None or wanted.framing is not None:
                return Search(hearing=hearing, settled=True, came=True, tried=tried)
            shown = replace(settings, framing=verdict.framing)
            if wanted.serial:
                hearing.close()
                say(shown)
                hearing = Hearing(shown, halt).open()
            else:  # a line server: the parity comes with each byte
                hearing.settings = shown
            return Search(hearing=hearing, settled=True, came=True, tried=tried)
        last = not wanted.serial or (not pace.came and wanted.ask is None)
        if last:  # a device that sends shows bytes at any rate
            return Search(hearing=hearing, settled=False, came=pace.came, tried=tried, few=pace.few)
        hearing.close()
        if verdict.share > best_share:
            best, best_share = settings, verdict.share
    again = Hearing(best or next(_to_try(wanted)), halt).open()
    return Search(hearing=again, settled=False, came=pace.came, tried=tried, few=pace.few)


class _Pace:
    """How fast a device sends, as the settings that were tried have shown.

    came: whether any byte came
    slow: whether seconds lie between its lines
    left_out: whether some settings were not tried, or not for long enough
    """

    def __init__(self, wanted: Wanted) -> None:
        self._asked = (
            wanted.ask is not None and wanted.serial and None in (wanted.baud, wanted.framing)
        )
        self.came = self.slow = self.left_out = False
        self._stopped = False
        self._size = 0

    @property
    def first_s(self) -> float:
        """Longest wait for the first byte with the next settings, s."""
        if self._asked:
            return ASKED_S
        if not self.came:
            return SILENT_S
        return RATE_S if self._stopped else SLOW_S

    @property
    def few(self) -> int | None:
        """Bytes that came, where they were too few to judge any settings by; None: enough."""
        return self._size if self.came and self.slow and self.left_out else None

    def heard(self, size: int, waited_s: float) -> None:
        """Take what came with one more settings: bytes, and how long the first was waited for, s."""
        if size:
            self.slow = self.slow or (self.came and not self._asked and waited_s > RATE_S)
            self.came, self._stopped = True, False
        elif self.came:  # a device that was pulled out is not waited for at every rate
            self.left_out, self._stopped = True, not self.slow
        self._size += size


def _hear(hearing: Hearing, wanted: Wanted, pace: _Pace, until_s: float | None) -> None:
    """Collect so many bytes that the settings can be judged."""
    began_s = clock.now()
    hearing.listen(_left(until_s, pace.first_s), lambda _: True)
    pace.heard(len(hearing.raw()), clock.now() - began_s)
    if not hearing.raw():
        return
    hearing.listen(_left(until_s, RATE_S), lambda _: _enough(hearing.raw(), wanted))
    if not judged(hearing.raw()).text and len(hearing.raw()) < PARITY_BYTES:  # a slow device
        _hear_more(hearing, PARITY_BYTES, _left(until_s, RATE_S))
        if judged(hearing.raw()).likely is not None:
            _hear_more(hearing, PARITY_BYTES, _left(until_s, SLOW_LINES_S))


def _hear_more(hearing: Hearing, most: int, for_s: float) -> None:
    """Collect for so long, s, or until so many bytes are there in all."""
    hearing.listen(for_s, lambda _: len(hearing.raw()) >= most)


def _left(until_s: float | None, most_s: float) -> float:
    """Time that is left, at most most_s, s."""
    return most_s if until_s is None else max(0.0, min(most_s, until_s - clock.now()))


def listen_on(found_search: Search, wanted: Wanted, until_s: float | None) -> Capture:
    """Listen with the settings that were found; until_s: `clock.now` at the end, s; None: until there is
    enough."""
    hearing = found_search.hearing
    if until_s is not None:
        return hearing.listen(max(0.0, until_s - clock.now()))
    if not found_search.settled:
        return hearing.listen(RATE_S)
    began = clock.now()

    def enough(capture: Capture) -> bool:
        """Whether so many lines came, over so long, that more would say no more."""
        if clock.now() - began < LISTEN_S:
            return False
        return len(lines_of(capture, line_end(capture))) >= LEAST_LINES

    capture = hearing.listen(4.0 * LISTEN_S, enough)
    if len(lines_of(capture, line_end(capture))) >= FEW_LINES:
        return capture
    return hearing.listen(
        SLOW_LINES_S, lambda later: len(lines_of(later, line_end(later))) >= FEW_LINES
    )


def _enough(data: bytes, wanted: Wanted) -> bool:
    """Whether these bytes tell whether the rate is right."""
    if wanted.ask is not None and re.search(rb"[\r\n\x03]", data):
        return True
    return len(data) >= ENOUGH_BYTES


def _to_try(wanted: Wanted) -> Iterator[LineSettings]:
    """The settings to try, in their order."""
    if not wanted.serial:
        yield LineSettings(wanted.port, None, wanted.framing or "8N1", wanted.ask)
        return
    rates = RATES if wanted.baud is None else (wanted.baud,)
    framings: tuple[str, ...] = UNTOLD if wanted.ask is None else ASKED
    if wanted.framing is not None:
        framings = (wanted.framing,)
    if wanted.ask is not None:
        for rate in rates:
            for framing in framings:
                yield LineSettings(wanted.port, rate, framing, wanted.ask)
        return
    for framing in framings:
        for rate in rates:
            yield LineSettings(wanted.port, rate, framing, wanted.ask)
