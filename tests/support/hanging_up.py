"""Ends the connection of a relay when a test says so."""

from __future__ import annotations

import threading

from support.waiting import until


class HangsUp:
    """What stands between a client and a server and may hang up; `_hang_up` is set until it has."""

    def __init__(self) -> None:
        self._hang_up = threading.Event()

    def hang_up(self) -> None:
        """End the connection; over TCP the next one is taken."""
        self._hang_up.set()
        until(lambda: not self._hang_up.is_set())
