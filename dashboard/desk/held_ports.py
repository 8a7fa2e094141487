"""Lets pages close the ports that other pages hold open, before a recording or a check opens them."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

_LOCK = threading.Lock()
_CLOSERS: dict[Path, list[Callable[[], None]]] = {}
_STARTING: dict[Path, Callable[[], bool]] = {}


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


def give_to_recorder(folder: Path, starting: Callable[[], bool]) -> None:
    """Close all ports that pages of this folder hold open, for a recorder that is being started.

    starting: whether it still is; as long as that is so, no page opens a port, see `given_to_recorder`.
    """
    with _LOCK:
        _STARTING[folder.resolve()] = starting
    let_go(folder)


def given_to_recorder(folder: Path) -> bool:
    """Whether a recorder of this folder is being started, so that its ports must stay closed."""
    with _LOCK:
        starting = _STARTING.get(folder.resolve())
    return starting is not None and starting()
