"""Lets pages close the ports that other pages hold open, before a recording or a check opens them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

_LOCK = threading.Lock()
_CLOSERS: dict[Path, list[Callable[[], None]]] = {}


def holds_ports(folder: Path, close: Callable[[], None]) -> Callable[[], None]:
    """Name what closes the ports that a page of this folder holds open; returns what forgets it again."""
    place = folder.resolve()
    with _LOCK:
        _CLOSERS.setdefault(place, []).append(close)

    def forget() -> None:
        """The page is gone."""
        with _LOCK:
            kept = [one for one in _CLOSERS.pop(place, []) if one is not close]
            if kept:
                _CLOSERS[place] = kept

    return forget


def let_go(folder: Path) -> None:
    """Close all ports that pages of this folder hold open; returns once they are closed."""
    with _LOCK:
        closers = list(_CLOSERS.get(folder.resolve(), ()))
    for close in closers:
        close()
