"""Gives access to a page: access codes, cookies, limits to guessing and to entering.

A run that is shared on a network has two codes of 128 bits, one for viewers and one for operators; one
that is not has the operator's alone, because every account of this machine may look.  A code stands in
the fragment of a link, which no browser sends or logs; the page posts it once for a cookie and removes
it from the address bar.  Codes and cookies are kept in this process alone: they end with the run.
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
from dataclasses import dataclass
from typing import Any

from dashboard.web.gate import Refused
from logger.errors import CallFault

COOKIE_LASTS_S = 12 * 3600
CODE_BYTES = 16
MOST_PER_ROLE = 500
MOST_ADDRESSES = 1000
REMEMBERED_S = 3600.0  # how long an address counts as one that has made an attempt
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


@dataclass(frozen=True)
class Rate:
    """How often something may be done: at once, and how many a second are regained."""

    has: float  # allowance at once
    gets: float  # regained, 1/s


# of one address and of all together
WRONG = (Rate(5.0, 0.1), Rate(60.0, 1.0))
# right codes: a crew that shares the address of one hotspot enters at once; one who enters again and again
# would take 80 minutes to push out 500 cookies, and only those that are idle; chosen by us
RIGHT = (Rate(30.0, 0.1), Rate(200.0, 1.0))


class Attempts:
    """Limits how often a code is tried or entered.  Not thread-safe: the owner holds a lock.

    Each attempt takes one from the allowance of its address and one from the allowance of all addresses
    together.  Where the common one is spent, an address without an attempt may still try once, so that
    an attack does not keep out somebody who has a code.
    """

    def __init__(self, own: Rate, everyone: Rate) -> None:
        self._own, self._everyone = own, everyone
        self._spent: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._all = (0.0, 0.0)

    def wait_s(self, address: str, now_s: float) -> float:
        """Seconds until this address may try again, 0 if it may now; now_s: monotonic clock."""
        spent, at_s = self._spent.get(_net(address), (0.0, -REMEMBERED_S))
        own = _still_spent((spent, at_s), self._own.gets, now_s)
        everyone = _still_spent(self._all, self._everyone.gets, now_s)
        if own > self._own.has - 1:
            return (own - (self._own.has - 1)) / self._own.gets
        if everyone > self._everyone.has - 1 and now_s - at_s < REMEMBERED_S:
            return max(1.0, (everyone - (self._everyone.has - 1)) / self._everyone.gets)
        return 0.0

    def count(self, address: str, now_s: float) -> None:
        """Count an attempt of this address at now_s of the monotonic clock."""
        net = _net(address)
        own = _still_spent(self._spent.pop(net, (0.0, now_s)), self._own.gets, now_s)
        self._spent[net] = (own + 1, now_s)
        while len(self._spent) > MOST_ADDRESSES:
            self._spent.popitem(last=False)
        everyone = _still_spent(self._all, self._everyone.gets, now_s) + 1
        self._all = (min(self._everyone.has, everyone), now_s)


def _still_spent(spent: tuple[float, float], gets: float, now_s: float) -> float:
    """Attempts that count at now_s; spent: (how many, at which time, s); gets: regained a
    second."""
    return max(0.0, spent[0] - (now_s - spent[1]) * gets)


def _net(address: str) -> str:
    """What counts as one address: of IPv6 the /64, in which one host may use any address."""
    return ":".join(address.split(":")[:4]) if ":" in address else address


class Sharing:
    """The access codes of one run and the cookies given for them.

    address: as `address_to_share` returned it, or loopback.
    shared: whether nobody may look without a code; else anybody who reaches the address is a viewer, and
    there is an operator's code alone.
    port: of the server; set once it listens.
    codes: the access code of each role that has one.
    """

    def __init__(
        self, address: str, clock: Callable[[], float] = time.monotonic, shared: bool = True
    ) -> None:
        self.address, self.shared = address, shared
        self.port = 0
        self.codes = {
            role: secrets.token_urlsafe(CODE_BYTES) for role in (ROLES if shared else ROLES[1:])
        }
        self._clock = clock
        self._lock = threading.Lock()
        self._wrong = Attempts(*WRONG)
        self._right = {role: Attempts(*RIGHT) for role in self.codes}
        # of each role: hash of a cookie -> when it ends, s of the clock; the one used last at the end
        self._given: dict[str, OrderedDict[bytes, float]] = {r: OrderedDict() for r in self.codes}

    @property
    def host(self) -> str:
        """ADDRESS:PORT as a browser writes it."""
        name = f"[{self.address}]" if ":" in self.address else self.address
        return f"{name}:{self.port}"

    def url(self, role: str) -> str:
        """The link with the code of a role; whoever has the link has the role."""
        return f"http://{self.host}/{'enter' if self.shared else ''}#{self.codes[role]}"

    def role(self, environ: dict[str, Any]) -> str | None:
        """The role of a request: by its cookies, without a valid one that of anybody; None: no role."""
        now_s = self._clock()
        with self._lock:
            for value in self._cookies(environ):
                digest = _digest(value)
                for role in reversed(self.codes):
                    until = self._given[role].get(digest)
                    if until is not None and now_s < until:
                        self._given[role].move_to_end(digest)
                        return role
        return None if self.shared else ROLES[0]

    def enter(self, code: str, environ: dict[str, Any]) -> tuple[str, str]:
        """The role of a code and the Set-Cookie for it.

        Raises Refused for a wrong code, for any code too soon after wrong ones, and for a right one that
        was entered too often.
        """
        now_s, address = self._clock(), str(environ.get("REMOTE_ADDR", ""))
        with self._lock:
            # all accounts of this machine have one address: if wrong codes of one slowed it, the operator
            # would wait too; the code's length alone keeps guessing hopeless
            if self.shared:
                _slow(self._wrong, "wrong codes", address, now_s)
            given = code.encode("utf-8", "replace")
            # every code is compared in full, so that the time of an answer reveals nothing
            right = [r for r, c in self.codes.items() if hmac.compare_digest(given, c.encode())]
            if not right:
                self._wrong.count(address, now_s)
                raise Refused(403, "this code opens nothing: it may belong to an earlier run")
            role = right[0]
            _slow(self._right[role], "entries", address, now_s)
            self._right[role].count(address, now_s)
            value = secrets.token_urlsafe(24)
            kept = self._given[role]
            for old in self._cookies(environ):  # one cookie for each browser
                kept.pop(_digest(old), None)
            kept[_digest(value)] = now_s + COOKIE_LASTS_S
            while len(kept) > MOST_PER_ROLE:  # the one that was not used for the longest time goes
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


def _slow(attempts: Attempts, what: str, address: str, now_s: float) -> None:
    """Raise Refused where an address has made too many attempts; what: they are called in its text."""
    wait = attempts.wait_s(address, now_s)
    if wait > 0:
        raise Refused(429, f"too many {what}: try again in {wait:.0f} s")


def _digest(value: str) -> bytes:
    # looked up by its hash, so that the time of a look-up reveals nothing about the value
    return hashlib.sha256(value.encode("utf-8", "replace")).digest()
