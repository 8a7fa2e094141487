"""Lists what a port may be (a device path, or a URL of SCHEMES) and its transport.

Not every scheme of pyserial is there (spy, alt, loop, cp2110 are missing): spy writes what it reads
into a file that the URL names, so that a sensors file could overwrite any file of the user.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

HAND = "hand:"  # the port of numbers that a person enters
SERIAL = "logger.transports.serial:SerialTransport"


@dataclass(frozen=True)
class Scheme:
    """One kind of port."""

    example: str  # how such a port is written, for the cure of a fault
    transport: str  # "module:Class", loaded at its first use by `transports.registry`
    needs_baud: bool = False  # whether recording needs the baud rate
    asks: bool = False  # whether a question can be sent to the device
    check: Callable[[str], object] | None = None  # raises ValueError for a port that is no such


def local_address(port: str) -> tuple[str, int]:
    """Address and number of `udp://ADDRESS:PORT` or `listen://ADDRESS:PORT`; raises ValueError.

    The address is that of one interface: a device that may come from anywhere is not meant.
    """
    shape = f"write {split_port(port)[0]}://127.0.0.1:7001, with an address of this machine"
    try:
        parts = urlsplit(port)
        host, number = parts.hostname or "", parts.port
        address = ipaddress.ip_address(host)
    except ValueError:
        raise ValueError(f"names no IP address and port number; {shape}") from None
    more = parts.path or parts.query or parts.fragment or "@" in parts.netloc
    if not number or more:
        raise ValueError(f"names no IP address and port number alone; {shape}")
    plain = getattr(address, "ipv4_mapped", None) or address
    if plain.is_unspecified:
        raise ValueError(f"{host} is every address of this machine; {shape}")
    if plain.is_multicast or host == "255.255.255.255":
        raise ValueError(f"{host} is no address of one machine; {shape}")
    return host, number


def usb_numbers(port: str) -> tuple[int, int, str | None]:
    """Vendor's and product's number and serial number of `usb:VID:PID[:SERIAL]`; ValueError.

    The serial number is None where it is not stated.
    """
    match = re.fullmatch(r"([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})(?::(.+))?", split_port(port)[1])
    if match is None:
        raise ValueError(
            "names no USB device; write usb:VID:PID or usb:VID:PID:SERIAL, each number with four "
            "hexadecimal digits, such as usb:0403:6001"
        )
    return int(match[1], 16), int(match[2], 16), match[3]


def no_rest(port: str) -> None:
    """Raise ValueError if something follows the scheme."""
    scheme, rest = split_port(port)
    if rest:
        raise ValueError(f'takes nothing behind it, and "{rest}" stands there; write {scheme}:')


SCHEMES = {
    "": Scheme(
        example="a device path such as /dev/ttyUSB0 or COM3",
        transport=SERIAL,
        needs_baud=True,
        asks=True,
    ),
    "hwgrep": Scheme(example="hwgrep://", transport=SERIAL, needs_baud=True, asks=True),
    "usb": Scheme(
        example="usb:VID:PID[:SERIAL]",
        transport="logger.transports.usb:UsbTransport",
        needs_baud=True,
        asks=True,
        check=usb_numbers,
    ),
    "socket": Scheme("socket://", "logger.transports.tcp:TcpTransport", asks=True),
    "rfc2217": Scheme(example="rfc2217://", transport=SERIAL, needs_baud=True, asks=True),
    "udp": Scheme("udp://", "logger.transports.udp:UdpTransport", check=local_address),
    "listen": Scheme(
        "listen://", "logger.transports.listen:ListenTransport", asks=True, check=local_address
    ),
    "stdin": Scheme("stdin:", "logger.transports.stdin:StdinTransport", check=no_rest),
    "hand": Scheme(HAND, "logger.transports.hand:HandTransport", check=no_rest),
}
_WITHOUT_SLASHES = ("usb", "stdin", "hand")  # schemes written without //, never a device file


def split_port(port: str) -> tuple[str, str]:
    """Split a port into its scheme, as written, and the rest; ("", port) for a path.

    Splits where pyserial does, so that both see the same scheme.
    """
    scheme, slashes, rest = port.partition("://")
    if slashes:
        return scheme, rest
    name, colon, rest = port.partition(":")
    if colon and name.lower() in _WITHOUT_SLASHES:
        return name, rest
    return "", port


def scheme_of(port: str) -> Scheme | None:
    """The entry of SCHEMES that opens a port; None if there is none."""
    scheme, rest = split_port(port)
    return SCHEMES.get(scheme.lower()) if scheme or rest == port else None


def refusal(port: str) -> tuple[str, str]:
    """Fault and cure for a port without an entry in SCHEMES."""
    *first, last = (scheme.example for scheme in SCHEMES.values())
    return (
        f'"{port}" begins with "{split_port(port)[0]}", which is no kind of port',
        f"write {', '.join(first)} or {last}",
    )


def normal_port(port: str) -> str:
    """The port with its scheme in lower case, which pyserial's handlers need."""
    scheme, _ = split_port(port)
    return scheme.lower() + port[len(scheme) :] if scheme.lower() in SCHEMES else port
