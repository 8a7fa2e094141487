"""Sees ports come and go: what the system lists, what a person typed, and what sensors files name."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from logger import clock
from logger.channels.port_schemes import HAND, split_port, usb_numbers
from logger.errors import one_line
from logger.transports.serial import PortInfo, list_ports

LOOK_S = 0.5  # from one look to the next: a device that is plugged in appears within 2 s
IDLE_S = 30.0  # without anybody asking, after which nothing is looked for; chosen by us


@dataclass(frozen=True)
class SeenPort:
    """A port that may be listened to."""

    port: str  # as a sensors file names it
    label: str  # what the system says of the device; "" for nothing
    here: (
        bool | None
    )  # whether the device is plugged in; None: that cannot be seen, as of an address
    listed: bool  # whether the system lists it
    names: frozenset[str]  # other names of the same device, its path among them


class PortWatch:
    """Looks at the ports in a thread of its own, while somebody asks.  Safe for several threads.

    named: ports that a person typed or that files name, as `ports` shall have them; called in the thread.
    """

    def __init__(
        self,
        named: Callable[[], Iterable[str]],
        lister: Callable[[], Sequence[PortInfo]] = list_ports,
    ) -> None:
        self._named, self._lister = named, lister
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._halt = threading.Event()
        self._ports: tuple[SeenPort, ...] = ()
        self._asked_s = 0.0

    def ports(self) -> tuple[SeenPort, ...]:
        """The ports as they were seen last, at most LOOK_S ago; the first call looks itself."""
        with self._lock:
            self._asked_s = clock.now()
            begin = self._thread is None or not self._thread.is_alive()
            if begin:
                self._halt.clear()
                self._thread = threading.Thread(target=self._run, daemon=True, name="ports")
                self._thread.start()
        if begin:  # without the lock: what is named is asked of others, who may ask for the ports
            self._look()
        return self._ports

    def look_now(self) -> None:
        """Look at once, after a port was typed."""
        self._look()

    def close(self) -> None:
        """End the thread."""
        self._halt.set()
        thread = self._thread
        if thread is not None:
            thread.join(5.0)

    def _run(self) -> None:
        while not self._halt.wait(LOOK_S):
            self._look()
            if clock.now() - self._asked_s > IDLE_S:
                return

    def _look(self) -> None:
        try:
            listed = tuple(self._lister())
        except Exception:  # drivers raise what they like; a port that is not listed can be typed
            listed = ()
        self._ports = seen_ports(listed, tuple(self._named()))


def seen_ports(listed: Sequence[PortInfo], named: Sequence[str]) -> tuple[SeenPort, ...]:
    """The listed ports, then the named ones that are none of those, in order.

    A device is called as a file or a person names it; otherwise by its USB numbers where no other has
    the same, because its path may be another one when it is plugged in anew.
    """
    made: list[SeenPort] = []
    twice = [one.usb for one in listed if one.usb is not None]
    for one in sorted(
        listed, key=lambda one: one.vid is None
    ):  # sockets of the machine itself last
        unique = one.usb if one.usb is not None and twice.count(one.usb) == 1 else None
        names = {one.device, os.path.realpath(one.device)}
        names |= {name for name in (unique, one.by_id) if name is not None}
        called = next((name for name in named if _same(name, names, one)), unique or one.device)
        label = one_line(one.description, 60)
        if one.device not in (called, label):
            label = f"{label}, {one.device}" if label not in ("", "n/a") else one.device
        made.append(
            SeenPort(
                port=called, label=label, here=True, listed=True, names=frozenset(names | {called})
            )
        )
    taken = {name for one in made for name in one.names}
    for name in dict.fromkeys(named):
        if name == HAND or name in taken or os.path.realpath(name) in taken:
            continue
        here = Path(name).exists() if split_port(name)[0] == "" else None
        if split_port(name)[0].lower() == "usb":
            here = False
        names = {name, os.path.realpath(name)} if here else {name}
        made.append(SeenPort(port=name, label="", here=here, listed=False, names=frozenset(names)))
    return tuple(made)


def _same(name: str, names: set[str], listed: PortInfo) -> bool:
    """Whether a name is one of a listed device's."""
    if name in names or (split_port(name)[0] == "" and os.path.realpath(name) in names):
        return True
    if split_port(name)[0].lower() != "usb":
        return False
    try:
        vid, pid, serial = usb_numbers(name)
    except ValueError:
        return False
    return (vid, pid) == (listed.vid, listed.pid) and serial in (None, listed.serial_number)
