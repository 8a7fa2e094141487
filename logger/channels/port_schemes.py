"""What a port may be, and which transport opens it: a path of a device, or a URL of a scheme in SCHEMES.

pyserial opens more schemes (spy, alt, loop, cp2110); spy writes what it reads into a file that the
URL names, so a sensors file could overwrite any file of its reader.
"""

from __future__ import annotations

from dataclasses import dataclass

SERIAL = "logger.transports.serial:SerialTransport"


@dataclass(frozen=True)
class Scheme:
    """One way that a port opens."""

    example: str  # how such a port is written, for the cure of a fault
    transport: str  # "module:Class", loaded when the first port of it opens (see `transports.registry`)
    needs_baud: bool = False  # whether `record` asks for the line's rate


SCHEMES = {
    "": Scheme("a device path such as /dev/ttyUSB0 or COM3", SERIAL, needs_baud=True),
    "hwgrep": Scheme("hwgrep://", SERIAL, needs_baud=True),
    "socket": Scheme("socket://", SERIAL),
    "rfc2217": Scheme("rfc2217://", SERIAL, needs_baud=True),
}
_WITHOUT_SLASHES = ("usb", "stdin", "hand")  # names of sources, never of a device file


def split_port(port: str) -> tuple[str, str]:
    """The scheme of a port as it is written and what stands behind it; ("", port) for a path.

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
    """How a port opens; None where its scheme is in no line of SCHEMES."""
    scheme, rest = split_port(port)
    return SCHEMES.get(scheme.lower()) if scheme or rest == port else None


def refusal(port: str) -> tuple[str, str]:
    """Why a port that has no `scheme_of` is not opened, and what to write instead."""
    *first, last = (scheme.example for scheme in SCHEMES.values())
    return (
        f'"{port}" would open by "{split_port(port)[0]}", which is none of the ways that a port may open',
        f"write {', '.join(first)} or {last}",
    )


def normal_port(port: str) -> str:
    """The port with its scheme in small letters, as pyserial's own handlers ask for it."""
    scheme, _ = split_port(port)
    return scheme.lower() + port[len(scheme) :] if scheme.lower() in SCHEMES else port
