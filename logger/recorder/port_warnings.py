"""Tells of ports whose lines are not what the sensors file says.

A port that opens and brings lines looks well while nothing of it is recorded: another device may
stand under its name, or a comma may be read two ways.  Then somebody has to be told what to do.
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
    """foreign_lines: by port, that it brings lines, but none for its channels; notices: lines for the
    terminal, one a port at most, taken out by the main thread."""

    def __init__(
        self, *, readers: Sequence[PortReader], ledger: ReadingLedger, disk: DiskRetry
    ) -> None:
        self.foreign_lines: dict[str, str] = {}
        self.notices: deque[str] = deque()
        self._readers, self._ledger, self._disk = readers, ledger, disk
        self._foreign_seen = dict.fromkeys((reader.url for reader in readers), 0)
        self._unclear: set[str] = set()

    def look(self, now: float) -> None:
        for reader in self._readers:
            self._check_foreign(reader, now)
            self._check_unclear(reader, now)

    def _check_foreign(self, reader: PortReader, now: float) -> None:
        """Tell of a port that brings lines, but none for its channels: another device stands under
        its name, or two are swapped.  Once a silence."""
        names, foreign_lines = reader.decoder.names, reader.decoder.foreign_lines
        seen, self._foreign_seen[reader.url] = self._foreign_seen[reader.url], foreign_lines
        silent = now - max(self._ledger.last_s[name] for name in names)
        if silent <= min(self._ledger.channels[name].stale_after_s for name in names):
            self.foreign_lines.pop(reader.url, None)
        elif reader.opened and foreign_lines > seen and reader.url not in self.foreign_lines:
            line = reader.decoder.foreign_line.decode("latin-1")
            self.foreign_lines[reader.url] = what = one_line(
                f'brings lines, but none for {" or ".join(names)}, such as "{line}": '
                "another device, or two swapped?",
                300,
            )
            text = f"{reader.url}: {what}"
            self._disk.event(
                EventRow(
                    time_s=now, kind="gap", channel=names[0], value=round(silent, 3), text=text
                )
            )

    def _check_unclear(self, reader: PortReader, now: float) -> None:
        """Tell once, with what to write, of lines that the sensors file leaves two ways to read."""
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
        self._disk.event(EventRow(now, "gap", names[0], text=text))
        self.notices.append(text)
