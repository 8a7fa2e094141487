"""Lists what a port may be (a device path, or a URL of SCHEMES) and its transport.

Not every scheme of pyserial is there (spy, alt, loop, cp2110 are missing): spy writes what it reads
into a file that the URL names, so that a sensors file could overwrite any file of the user.
"""

from __future__ import annotations

from dataclasses import dataclass

SERIAL = "logger.transports.serial:SerialTransport"


@dataclass(frozen=True)
class Scheme:
    """One kind of port."""

    example: str  # how such a port is written, for the cure of a fault
    transport: str  # "module:Class", loaded at its first use by `transports.registry`
    needs_baud: bool = False  # whether recording needs the baud rate


SCHEMES = {
    "": Scheme("a device path such as /dev/ttyUSB0 or COM3", SERIAL, needs_baud=True),
    "hwgrep": Scheme("hwgrep://", SERIAL, needs_baud=True),
    "socket": Scheme("socket://", "logger.transports.tcp:TcpTransport"),
    "rfc2217": Scheme("rfc2217://", SERIAL, needs_baud=True),
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
