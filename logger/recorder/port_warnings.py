"""Warns of ports whose lines do not fit the sensors file.

Such a port is open, but nothing of it is recorded, or less than half: it may send nothing, at
another baud rate, or lines of another device; a comma may be decimal mark or separator.  The
warning says what to do, within 2 s of the connection.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

from logger import clock
from logger.channels.port_schemes import HAND
from logger.errors import one_line
from logger.formats.number_marks import COMMA
from logger.formats.port_diagnosis import awaits_line_end, first_line, likely_cause
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.reading_ledger import ReadingLedger
from logger.transports.reader_thread import PortReader

JUDGED_S = 1.5  # time over which a port is judged; derived: its warning comes within 2 s
LEAST_SHARE = 0.5  # of the lines that must be understood; chosen by us: noise costs less


@dataclass
class _PortCounts:
    """What was known of a port when it was judged last."""

    opened_s: float = 0.0  # `PortReader.opened_s` then, s
    time_s: float = 0.0  # `clock.now` then, s
    lines: int = 0  # lines so far
    understood: int = 0  # lines so far that gave a reading
    causes: set[str] = field(default_factory=set)  # warned of since a line was understood


class PortWarnings:
    """Checks every port's decoder for lines that are not recorded.

    not_understood: by port, a sentence about lines that nobody understands
    foreign_lines: by port, a sentence about lines that are for none of its channels
    unanswered: by port, a sentence about devices that do not answer
    refused: by port, a sentence about channels whose numbers are refused while others are read
    notices: lines for the terminal, at most one a port, which the main thread removes
    """

    def __init__(
        self, *, readers: Sequence[PortReader], ledger: ReadingLedger, disk: DiskRetry
    ) -> None:
        self.not_understood: dict[str, str] = {}
        self.foreign_lines: dict[str, str] = {}
        self.unanswered: dict[str, str] = {}
        self.refused: dict[str, str] = {}
        self._refused_since: dict[str, tuple[float, bool]] = {}
        self._asked: dict[tuple[str, str], tuple[float, bool]] = {}
        self.notices: deque[str] = deque()
        self._readers, self._ledger, self._disk = readers, ledger, disk
        self._foreign_told_s: dict[str, float] = {}
        self._foreign_seen = dict.fromkeys((reader.url for reader in readers), 0)
        self._unclear: set[str] = set()
        self._judged = {reader.url: _PortCounts() for reader in readers}
        self._columns: dict[str, tuple[int, int]] = {}

    def why_nothing(self, url: str) -> str:
        """Why nothing of an open port is recorded, as one line; "" if all is well."""
        by_port = (self.foreign_lines, self.unanswered, self.not_understood, self.refused)
        return next(filter(None, (texts.get(url) for texts in by_port)), "")

    def check(self, now_s: float) -> None:
        """Check every port, and write an event for each new warning; now_s: s since the start."""
        for reader in self._readers:
            if reader.url == HAND:  # a person may enter nothing for hours
                continue
            self._check_foreign(reader, now_s)
            self._check_unclear(reader, now_s)
            self._check_understood(reader, now_s)
            self._check_columns(reader, now_s)
            self._check_answers(reader, now_s)
            self._check_refused(reader, now_s)

    def _check_understood(self, reader: PortReader, now_s: float) -> None:
        """Warn, once for each cause, of a port of whose lines less than half are understood."""
        decoder, judged, clock_s = reader.decoder, self._judged[reader.url], clock.now()
        if not reader.opened:
            self.not_understood.pop(reader.url, None)
            return
        if judged.opened_s != reader.opened_s:
            judged.opened_s = judged.time_s = reader.opened_s
        passed_s = clock_s - judged.time_s
        if passed_s < JUDGED_S:
            return
        lines, understood = decoder.lines - judged.lines, decoder.understood - judged.understood
        first = judged.time_s == judged.opened_s
        judged.time_s, judged.lines, judged.understood = clock_s, decoder.lines, decoder.understood
        silent = lines == 0 and first and (not decoder.head or awaits_line_end(decoder))
        if decoder.asks and not lines:
            return  # see `_check_answers`
        if not silent and (not lines or understood >= LEAST_SHARE * lines):
            if lines:
                self.not_understood.pop(reader.url, None)
                judged.causes.clear()
            return
        if reader.url in self.foreign_lines or reader.url in self._unclear:
            return
        cause = likely_cause(decoder)
        if cause in judged.causes:
            return
        judged.causes.add(cause)
        shown = f'; the first: "{first_line(decoder)}"' if decoder.head else ""
        what = one_line(
            f"{lines / passed_s:.1f} lines a second, {understood} of {lines} understood{shown}; "
            f"{cause}"
        )
        self.not_understood[reader.url] = what
        text = f"{one_line(reader.url, 60)}: {what}"
        self._disk.event(EventRow(now_s, "gap", _only(decoder.names), text=text))
        self.notices.append(text)

    def _judge_anew(self, reader: PortReader) -> None:
        """Let the lines so far count no more: they were another device's, and the right one was heard."""
        judged, decoder = self._judged[reader.url], reader.decoder
        judged.time_s, judged.lines, judged.understood = (
            clock.now(), decoder.lines, decoder.understood,
        )  # fmt: skip
        judged.causes.clear()
        self.not_understood.pop(reader.url, None)

    def _check_answers(self, reader: PortReader, now_s: float) -> None:
        """Warn, once a silence, of devices that do not answer, by the names of their channels."""
        decoder = reader.decoder
        silent = []
        for ask, (names, missed) in decoder.silent_devices().items():
            key = (reader.url, ask)
            if not reader.opened or not missed:
                self._asked.pop(key, None)
                continue
            since_s, warned = self._asked.setdefault(key, (now_s, False))
            silent_s = now_s - max(since_s, *(self._ledger.last_s[name] for name in names))
            if not warned and silent_s < JUDGED_S:
                continue
            what = one_line(
                f"{' and '.join(names)} {'does' if len(names) == 1 else 'do'} not answer {ask}: is "
                "it on, and are its address, baud and framing right?",
                300,
            )
            silent.append(what)
            if not warned:
                self._asked[key] = (since_s, True)
                text = f"{one_line(reader.url, 60)}: {what}"
                self._disk.event(EventRow(now_s, "gap", _only(names), text=text))
                self.notices.append(text)
        if silent:
            self.unanswered[reader.url] = "; ".join(silent)
        else:
            self.unanswered.pop(reader.url, None)

    def _check_refused(self, reader: PortReader, now_s: float) -> None:
        """Warn, once until it is read again, of a channel whose numbers are refused while others are read."""
        refused = reader.decoder.refused_channels() if reader.opened else {}
        for name in reader.decoder.names:
            if name not in refused:
                self._refused_since.pop(name, None)
        sentences = []
        for name, (cause, _) in dict(refused).items():
            since_s, warned = self._refused_since.setdefault(name, (now_s, False))
            if self._ledger.last_s[name] > since_s:  # it was read meanwhile
                since_s, warned = self._refused_since[name] = (self._ledger.last_s[name], False)
            if not warned and now_s - since_s < JUDGED_S:
                continue
            what = one_line(
                f"{name} has no reading: {cause}; compare its device_id, table, register and type with "
                "the device's manual",
                300,
            )
            sentences.append(what)
            if not warned:
                self._refused_since[name] = (since_s, True)
                if reader.url not in self.not_understood:  # which says it of the whole port
                    text = f"{one_line(reader.url, 60)}: {what}"
                    self._disk.event(EventRow(now_s, "gap", name, text=text))
                    self.notices.append(text)
        if sentences:
            self.refused[reader.url] = "; ".join(sentences)
        else:
            self.refused.pop(reader.url, None)

    def _check_columns(self, reader: PortReader, now_s: float) -> None:
        """Warn of a port that has learned another number of columns, as after a reconnection."""
        change = reader.decoder.column_change
        if change is None or self._columns.get(reader.url) == change:
            return
        self._columns[reader.url] = change
        columns = ", ".join(f"{c.name} = column {c.column}" for c in reader.decoder.channels)
        text = (
            f"{one_line(reader.url, 60)}: its lines have {change[1]} numbers now, {change[0]} before: "
            f"is it the same device? The columns are read as before ({columns}); check them"
        )
        self._disk.event(EventRow(now_s, "gap", _only(reader.decoder.names), text=one_line(text)))
        self.notices.append(one_line(text))

    def _check_foreign(self, reader: PortReader, now_s: float) -> None:
        """Warn, once a silence, of a port that sends lines for none of its channels: another device
        is connected there, or two are swapped."""
        names, count = reader.decoder.names, reader.decoder.foreign_lines
        before, self._foreign_seen[reader.url] = self._foreign_seen[reader.url], count
        last_s = max(self._ledger.last_s[name] for name in names)
        silent_s = now_s - last_s
        fresh = silent_s <= min(self._ledger.channels[name].stale_after_s for name in names)
        # a look that comes late may find the right device heard and silent again
        if fresh or last_s > self._foreign_told_s.get(reader.url, now_s):
            if self.foreign_lines.pop(reader.url, None) is not None:
                self._judge_anew(reader)
            self._foreign_told_s.pop(reader.url, None)
        elif reader.opened and count > before and reader.url not in self.foreign_lines:
            line = reader.decoder.foreign_line.decode("latin-1")
            self._foreign_told_s[reader.url] = now_s
            self.foreign_lines[reader.url] = what = one_line(
                f'sends lines, but none for {" or ".join(names)}, such as "{line}": '
                "is another device connected, or are two swapped?",
                300,
            )
            self._disk.event(
                EventRow(
                    time_s=now_s,
                    kind="gap",
                    channel=names[0],
                    value=round(silent_s, 3),
                    text=f"{reader.url}: {what}",
                )
            )

    def _check_unclear(self, reader: PortReader, now_s: float) -> None:
        """Warn, once a port, of lines with an ambiguous comma, with what to write."""
        line = reader.decoder.unclear_line.decode("latin-1")
        if not line or reader.url in self._unclear:
            return
        self._unclear.add(reader.url)
        names = reader.decoder.names
        text = one_line(
            f'{one_line(reader.url, 60)}: lines such as "{one_line(line, 40)}" are dropped for '
            f"{one_line(' and '.join(names), 60)} ({COMMA}); write in each channel of this port "
            'decimal = "," if it stands before decimals, separator = "," if it stands between numbers, '
            'thousands = "," if it stands between thousands'
        )
        self._disk.event(EventRow(now_s, "gap", names[0], text=text))
        self.notices.append(text)


def _only(names: Sequence[str]) -> str:
    """The channel that an event of a port is about; "" where it has several."""
    return names[0] if len(names) == 1 else ""
