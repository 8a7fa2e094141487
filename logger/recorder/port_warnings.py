"""Warns of ports whose lines do not fit the sensors file.

Such a port is open and sends lines, but nothing of it is recorded: another device may be connected
there, or a comma may be decimal mark or separator.  The warning says what to do.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from logger.errors import one_line
from logger.formats.columns import COMMA
from logger.recorder.disk_retry import DiskRetry, EventRow
from logger.recorder.reading_ledger import ReadingLedger
from logger.transports.reader_thread import PortReader


class PortWarnings:
    """Checks every port's decoder for lines that are not recorded.

    foreign_lines: by port, a sentence about lines that are for none of its channels
    notices: lines for the terminal, at most one a port, which the main thread removes
    """

    def __init__(
        self, *, readers: Sequence[PortReader], ledger: ReadingLedger, disk: DiskRetry
    ) -> None:
        self.foreign_lines: dict[str, str] = {}
        self.notices: deque[str] = deque()
        self._readers, self._ledger, self._disk = readers, ledger, disk
        self._foreign_seen = dict.fromkeys((reader.url for reader in readers), 0)
        self._unclear: set[str] = set()

    def check(self, now_s: float) -> None:
        """Check every port, and write an event for each new warning; now_s: s since the start."""
        for reader in self._readers:
            self._check_foreign(reader, now_s)
            self._check_unclear(reader, now_s)

    def _check_foreign(self, reader: PortReader, now_s: float) -> None:
        """Warn, once a silence, of a port that sends lines for none of its channels: another device
        is connected there, or two are swapped."""
        names, count = reader.decoder.names, reader.decoder.foreign_lines
        before, self._foreign_seen[reader.url] = self._foreign_seen[reader.url], count
        silent_s = now_s - max(self._ledger.last_s[name] for name in names)
        if silent_s <= min(self._ledger.channels[name].stale_after_s for name in names):
            self.foreign_lines.pop(reader.url, None)
        elif reader.opened and count > before and reader.url not in self.foreign_lines:
            line = reader.decoder.foreign_line.decode("latin-1")
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
            'decimal = "," if it stands before decimals, separator = "," if it stands between numbers; '
            "if it groups thousands, set the device to leave it out"
        )
        self._disk.event(EventRow(now_s, "gap", names[0], text=text))
        self.notices.append(text)
