"""Gives access to a page that is shared on a network: access codes, cookies, limits to guessing.

A run has two codes of 128 bits, one for viewers and one for operators.  A code stands in the fragment
of a link, which no browser sends or logs; the entry page posts it once for a cookie and removes it
from the address bar.  Codes and cookies are kept in this process alone: they end with the run.
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

COOKIE_LASTS_S = 12 * 3600
CODE_BYTES = 16
MOST_PER_ROLE = 500
# allowance of wrong codes at once, and how many a second it regains, of one address and of all together
ONE_HAS, ONE_GETS = 5.0, 0.1
ALL_HAVE, ALL_GET = 60.0, 1.0
MOST_ADDRESSES = 1000
REMEMBERED_S = 3600.0  # how long an address counts as one that has sent a wrong code
ROLES = ("viewer", "operator")


def address_to_share(text: str) -> str:
    """The address as it will stand in the Host header; raises CallFault if it is not of a local network.

    It is one address, never all of the machine's: a machine in a yard is often on a mobile network
    too, and the gate can refuse DNS rebinding only where one Host is right.
    """
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        raise CallFault(
            "--share",
            f"{text!r} is not an IP address",
            f"give one of this machine's own, such as {_example()}",
        ) from None
    if address.is_unspecified or address.is_multicast:
        raise CallFault(
            "--share", f"{text} stands for several addresses",
            f"give one address of this machine, such as {_example()}",
        )  # fmt: skip
    scoped = address.version == 6 and address.is_link_local
    if scoped or not (address.is_private or address.is_link_local):
        why = (
            "needs a zone, which no browser accepts"
            if scoped
            else "is not an address of a local network"
        )
        raise CallFault(
            "--share", f"{text} {why}", f"give an address of a local network, such as {_example()}"
        )
    return str(address)


def _example() -> str:
    """This machine's address on the network that it uses; no packet is sent."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        address = str(probe.getsockname()[0])
        if ipaddress.ip_address(address).is_private:
            return address
    return "192.168.1.20"


class Guesses:
    """Limits how fast access codes can be tried.  Not thread-safe: the owner holds a lock.

    Each wrong code takes one from the allowance of its address and one from the allowance of all
    addresses together.  Where the common one is spent, an address without a wrong code may still
    try once, so that an attack does not keep out somebody who has a code.
    """

    def __init__(self) -> None:
        self._spent: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._all = (0.0, 0.0)

    def wait_s(self, address: str, now_s: float) -> float:
        """Seconds until this address may try again, 0 if it may now; now_s: monotonic clock."""
        spent, at_s = self._spent.get(_net(address), (0.0, -REMEMBERED_S))
        own = _still_spent((spent, at_s), ONE_GETS, now_s)
        everyone = _still_spent(self._all, ALL_GET, now_s)
        if own > ONE_HAS - 1:
            return (own - (ONE_HAS - 1)) / ONE_GETS
        if everyone > ALL_HAVE - 1 and now_s - at_s < REMEMBERED_S:
            return max(1.0, (everyone - (ALL_HAVE - 1)) / ALL_GET)
        return 0.0

    def wrong(self, address: str, now_s: float) -> None:
        """Count a wrong code of this address at now_s of the monotonic clock."""
        net = _net(address)
        own = _still_spent(self._spent.pop(net, (0.0, now_s)), ONE_GETS, now_s)
        self._spent[net] = (own + 1, now_s)
        while len(self._spent) > MOST_ADDRESSES:
            self._spent.popitem(last=False)
        self._all = (min(ALL_HAVE, _still_spent(self._all, ALL_GET, now_s) + 1), now_s)


def _still_spent(spent: tuple[float, float], gets: float, now_s: float) -> float:
    """Wrong codes that count at now_s; spent: (how many, at which time, s); gets: regained a
    second."""
    return max(0.0, spent[0] - (now_s - spent[1]) * gets)


def _net(address: str) -> str:
    """What counts as one address: of IPv6 the /64, in which one host may use any address."""
    return ":".join(address.split(":")[:4]) if ":" in address else address


class Sharing:
    """The access codes of one run and the cookies given for them.

    address: as `address_to_share` returned it.
    port: of the server; set once it listens.
    codes: the access code of each role.
    """

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
        """ADDRESS:PORT as a browser writes it."""
        name = f"[{self.address}]" if ":" in self.address else self.address
        return f"{name}:{self.port}"

    def url(self, role: str) -> str:
        """The link with the code of a role; whoever has the link has the role."""
        return f"http://{self.host}/enter#{self.codes[role]}"

    def role(self, environ: dict[str, Any]) -> str | None:
        """The role that the cookies of a request give; None without a valid one."""
        now_s = self._clock()
        with self._lock:
            for value in self._cookies(environ):
                for role in reversed(ROLES):
                    until = self._given[role].get(_digest(value))
                    if until is not None and now_s < until:
                        return role
        return None

    def enter(self, code: str, environ: dict[str, Any]) -> tuple[str, str]:
        """The role of a code and the Set-Cookie for it.

        Raises Refused for a wrong code, and for any code too soon after wrong ones.
        """
        now_s, address = self._clock(), str(environ.get("REMOTE_ADDR", ""))
        with self._lock:
            wait = self._guesses.wait_s(address, now_s)
            if wait > 0:
                raise Refused(429, f"too many wrong codes: try again in {wait:.0f} s")
            given = code.encode("utf-8", "replace")
            # every code is compared in full, so that the time of an answer reveals nothing
            right = [r for r in ROLES if hmac.compare_digest(given, self.codes[r].encode())]
            if not right:
                self._guesses.wrong(address, now_s)
                raise Refused(403, "this code opens nothing: it may belong to an earlier run")
            role = right[0]
            value = secrets.token_urlsafe(24)
            kept = self._given[role]
            for old in self._cookies(environ):  # one cookie for each browser
                kept.pop(_digest(old), None)
            kept[_digest(value)] = now_s + COOKIE_LASTS_S
            while len(kept) > MOST_PER_ROLE:
                kept.popitem(last=False)
        # no Secure: a browser would not send it over plain HTTP, and a LAN has no certificate
        return role, (
            f"{self._name}={value}; Max-Age={COOKIE_LASTS_S}; Path=/; HttpOnly; SameSite=Strict"
        )

    @property
    def _name(self) -> str:
        return f"haul-{self.port}"  # browsers send a cookie to every port of a host

    def _cookies(self, environ: dict[str, Any]) -> list[str]:
        pairs = [p.strip().partition("=") for p in str(environ.get("HTTP_COOKIE", "")).split(";")]
        return [value for name, _, value in pairs if name == self._name][:4]


def _digest(value: str) -> bytes:
    # looked up by its hash, so that the time of a look-up reveals nothing about the value
    return hashlib.sha256(value.encode("utf-8", "replace")).digest()
