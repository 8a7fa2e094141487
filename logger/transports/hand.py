"""Stands for the person who enters numbers, `hand:`; they come through the inbox, not from here."""

from __future__ import annotations

import time

from logger import clock
from logger.transports.base import CYCLE_S, Chunk, Transport


class HandTransport(Transport):
    """A port without a device: always open, and it brings nothing by itself."""

    def open(self) -> None:
        """See `Transport.open`."""

    def read(self) -> Chunk:
        """Nothing, after CYCLE_S; see `Transport.read`."""
        began = clock.now()
        time.sleep(CYCLE_S)
        return Chunk(began, began, b"")

    def close(self) -> None:
        """See `Transport.close`."""
