"""What a port may be: a path of a device, or a URL of one of three schemes.

pyserial opens more of them (spy, alt, loop, cp2110); spy writes what it reads into a file that the
URL names, so a sensors file could overwrite any file of its reader.
"""

from __future__ import annotations

SCHEMES = ("hwgrep", "socket", "rfc2217")
ALLOWED = "a device path such as /dev/ttyUSB0 or COM3, hwgrep://, socket:// or rfc2217://"
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


def refusal(port: str) -> str:
    """Why no port is opened under this name, or ""."""
    scheme, rest = split_port(port)
    if rest == port or scheme.lower() in SCHEMES:
        return ""
    return f'"{port}" would open by "{scheme}", which is none of the ways that a port may open'


def normal_port(port: str) -> str:
    """The port with its scheme in small letters, as pyserial's own handlers ask for it."""
    scheme, rest = split_port(port)
    return f"{scheme.lower()}://{rest}" if scheme.lower() in SCHEMES else port
