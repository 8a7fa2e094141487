"""Who may look, and who may act, where the page is shared on a network: codes, cookies, guesses.

A run has two codes of 128 bits.  A code comes in the fragment of a link, which no browser sends or
logs; the entry page posts it once for a cookie and takes it out of the address bar.  Codes and
cookies live in this process alone: they end with the run.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import socket
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from dashboard.web.gate import Refused
from logger.errors import CallFault

LASTS_S = 12 * 3600
CODE_BYTES = 16
MOST_PER_ROLE = 500
# wrong codes that one address, and all together, have at once, and what they get back a second
ONE_HAS, ONE_GETS = 5.0, 0.1
ALL_HAVE, ALL_GET = 60.0, 1.0
MOST_ADDRESSES = 1000
REMEMBERED_S = 3600.0  # that an address has guessed wrong
ROLES = ("viewer", "operator")


def address_to_share(text: str) -> str:
    """The address as the page's Host will write it; raises CallFault for what is no place of a
    local network.

    One address, never all of them: a machine in a yard is often on a mobile network too, and only
    one address gives one Host by which a page that merely points its name here is known.
    """
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        raise CallFault(
            "--share", f"{text!r} is no address", f"give this machine's own, such as {_example()}"
        ) from None
    if address.is_unspecified or address.is_multicast:
        raise CallFault(
            "--share", f"{text} stands for every network that this machine is on",
            f"give the one address that is meant, such as {_example()}",
        )  # fmt: skip
    scoped = address.version == 6 and address.is_link_local
    if scoped or not (address.is_private or address.is_link_local):
        why = "needs a zone, which no browser takes" if scoped else "is not of a local network"
        raise CallFault(
            "--share", f"{text} {why}", f"give an address of a local network, such as {_example()}"
        )
    return str(address)


def _example() -> str:
    """This machine's address on the network it uses; nothing is sent to find it."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        found = str(probe.getsockname()[0])
        if ipaddress.ip_address(found).is_private:
            return found
    return "192.168.1.20"


class Guesses:
    """Slows those who try codes.  Not thread-safe: its owner locks.

    Each wrong code costs one of what the address has, and of what all have together.  Where all
    have spent theirs, an address that has guessed nothing wrong still gets its one try, so that
    an attack keeps nobody out who was given a code.
    """

    def __init__(self) -> None:
        self._spent: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._all = (0.0, 0.0)

    def wait_s(self, address: str, now: float) -> float:
        """Seconds until this address may try again; 0: now."""
        spent, at = self._spent.get(_net(address), (0.0, -REMEMBERED_S))
        own = _left((spent, at), ONE_GETS, now)
        everyone = _left(self._all, ALL_GET, now)
        if own > ONE_HAS - 1:
            return (own - (ONE_HAS - 1)) / ONE_GETS
        if everyone > ALL_HAVE - 1 and now - at < REMEMBERED_S:
            return max(1.0, (everyone - (ALL_HAVE - 1)) / ALL_GET)
        return 0.0

    def wrong(self, address: str, now: float) -> None:
        net = _net(address)
        own = _left(self._spent.pop(net, (0.0, now)), ONE_GETS, now)
        self._spent[net] = (own + 1, now)
        while len(self._spent) > MOST_ADDRESSES:
            self._spent.popitem(last=False)
        self._all = (min(ALL_HAVE, _left(self._all, ALL_GET, now) + 1), now)


def _left(spent: tuple[float, float], gets: float, now: float) -> float:
    return max(0.0, spent[0] - (now - spent[1]) * gets)


def _net(address: str) -> str:
    # one host of IPv6 has as many addresses as it likes within its /64
    return ":".join(address.split(":")[:4]) if ":" in address else address


class Sharing:
    """The codes of one run and the cookies given for them.  address: as `address_to_share` gave it."""

    def __init__(self, address: str, clock: Callable[[], float] = time.monotonic) -> None:
        self.address = address
        self.port = 0
        self.codes = {role: secrets.token_urlsafe(CODE_BYTES) for role in ROLES}
        self._clock = clock
        self._lock = threading.Lock()
        self._guesses = Guesses()
        self._given: dict[str, OrderedDict[bytes, float]] = {role: OrderedDict() for role in ROLES}

    @property
    def host(self) -> str:
        name = f"[{self.address}]" if ":" in self.address else self.address
        return f"{name}:{self.port}"

    def url(self, role: str) -> str:
        """The link that lets in; whoever has it has the role."""
        return f"http://{self.host}/enter#{self.codes[role]}"

    def role(self, environ: dict[str, Any]) -> str | None:
        """What the cookie of a request allows; None: nothing."""
        now = self._clock()
        with self._lock:
            for value in self._cookies(environ):
                for role in reversed(ROLES):
                    until = self._given[role].get(_digest(value))
                    if until is not None and now < until:
                        return role
        return None

    def enter(self, code: str, environ: dict[str, Any]) -> tuple[str, str]:
        """The role of a code and the Set-Cookie for it; raises Refused for a wrong code, or for
        one that comes too soon after others."""
        now, address = self._clock(), str(environ.get("REMOTE_ADDR", ""))
        with self._lock:
            wait = self._guesses.wait_s(address, now)
            if wait > 0:
                raise Refused(429, f"too many wrong codes: try again in {wait:.0f} s")
            given = code.encode("utf-8", "replace")
            # every code is compared in full, so that the time says nothing
            right = [r for r in ROLES if hmac.compare_digest(given, self.codes[r].encode())]
            if not right:
                self._guesses.wrong(address, now)
                raise Refused(403, "this code opens nothing: it may be of an earlier run")
            role = right[0]
            value = secrets.token_urlsafe(24)
            kept = self._given[role]
            for old in self._cookies(environ):  # who comes in again keeps one place
                kept.pop(_digest(old), None)
            kept[_digest(value)] = now + LASTS_S
            while len(kept) > MOST_PER_ROLE:
                kept.popitem(last=False)
        # no Secure: a browser would not send it over plain HTTP, and a LAN has no certificate
        return role, (f"{self._name}={value}; Max-Age={LASTS_S}; Path=/; HttpOnly; SameSite=Strict")

    @property
    def _name(self) -> str:
        return f"haul-{self.port}"  # cookies do not tell ports apart

    def _cookies(self, environ: dict[str, Any]) -> list[str]:
        pairs = [p.strip().partition("=") for p in str(environ.get("HTTP_COOKIE", "")).split(";")]
        return [value for name, _, value in pairs if name == self._name][:4]


def _digest(value: str) -> bytes:
    # looked up by its hash, so that the time of a look-up says nothing about the value
    return hashlib.sha256(value.encode("utf-8", "replace")).digest()
