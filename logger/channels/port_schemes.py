"""Lists what a port may be (a device path, or a URL of SCHEMES) and its transport.

Not every scheme of pyserial is there (spy, alt, loop, cp2110 are missing): spy writes what it reads
into a file that the URL names, so that a sensors file could overwrite any file of the user.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import unquote, urlsplit

# pyserial, URL handlers: options of rfc2217://
RFC2217_OPTIONS = ("logging", "ign_set_control", "poll_modem", "timeout")
SECRET = (
    "holds a password or a token, which would be kept in the session",
    "take it out, and write %40 for an @ in a name; for mqtt:// and mqtts:// put the password into the environment as HAUL_MQTT_PASSWORD",
)  # fault and cure of such a port
HAND = "hand:"  # the port of numbers that a person enters
MQTT = "logger.transports.mqtt:MqttTransport"
SERIAL = "logger.transports.serial:SerialTransport"


@dataclass(frozen=True)
class Scheme:
    """One kind of port."""

    example: str  # how such a port is written, for the cure of a fault
    transport: str  # "module:Class", loaded at its first use by `transports.registry`
    needs_baud: bool = False  # whether recording needs the baud rate
    asks: bool = False  # whether a question can be sent to the device
    messages: bool = False  # whether whole lines come together, so that no silence need end them
    package: str = ""  # what must be installed beside the program; "": nothing
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


def modbus_address(port: str) -> tuple[str, int]:
    """Host and TCP port of `modbus://HOST[:PORT]`; raises ValueError."""
    shape = "write modbus://host or modbus://host:502"
    try:
        parts = urlsplit(port)
        host, number = parts.hostname, parts.port
    except ValueError:
        raise ValueError(f"names no host and TCP port; {shape}") from None
    more = parts.path.strip("/") or parts.query or parts.fragment or "@" in parts.netloc
    if not host or number == 0 or more:
        raise ValueError(f"names no host and TCP port alone; {shape}")
    return host, number or 502


@dataclass(frozen=True)
class MqttAddress:
    """The broker and the topic of a port."""

    host: str  # name or address of the broker
    port: int  # its TCP port
    user: str | None  # name to connect with; None: none
    topic: str  # what is subscribed to
    tls: bool  # whether the connection is encrypted and the certificate verified


def mqtt_address(port: str) -> MqttAddress:
    """What `mqtt://[user@]host[:port]/topic` or `mqtts://` names; raises ValueError."""
    tls = split_port(port)[0].lower() == "mqtts"
    shape = f"write mqtt{'s' * tls}://host/topic or mqtt{'s' * tls}://user@host:port/topic"
    try:
        parts = urlsplit(port)
        host, number = parts.hostname, parts.port
    except ValueError:
        raise ValueError(f"names no host and TCP port; {shape}") from None
    topic = unquote(parts.path.removeprefix("/"))
    if "@" in parts.path:  # a password with a slash in it would look like this
        raise ValueError(f"holds an @ behind the host; {shape}, with %40 for an @ in the topic")
    if not host or number == 0:
        raise ValueError(f"names no host and TCP port; {shape}")
    if "?" in port or "#" in port or "+" in topic or "#" in topic:
        raise ValueError(f"names no single topic; {shape}, without ?, + and #")
    if not topic or not topic.isprintable():
        raise ValueError(f"names no topic; {shape}")
    return MqttAddress(
        host=host,
        port=number or (8883 if tls else 1883),
        user=None if parts.username is None else unquote(parts.username),
        topic=topic,
        tls=tls,
    )


def secret_in(port: str) -> bool:
    """Whether a password may stand before the @ of a URL, or a token behind its question mark.

    `hwgrep://` takes a regular expression, which may hold a question mark; pyserial's own options of
    `rfc2217://` are no secret.
    """
    scheme, slashes, rest = port.partition("://")
    if not slashes:
        return False
    query = rest.partition("?")[2]
    token = bool(query) and scheme.lower() in SCHEMES and scheme.lower() != "hwgrep"
    if scheme.lower() == "rfc2217":
        token = any(one.partition("=")[0] not in RFC2217_OPTIONS for one in query.split("&") if one)
    return token or re.search(r":.*@", rest) is not None


def without_secret(port: str) -> str:
    """The port as it may be shown: without a password, and without what follows a question mark."""
    return re.sub(
        r"(://[^:@?]*):.*@|\?.*", lambda match: f"{match[1]}:***@" if match[1] else "", port
    )


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
    "udp": Scheme(
        "udp://", "logger.transports.udp:UdpTransport", messages=True, check=local_address
    ),
    "modbus": Scheme(
        "modbus://",
        "logger.transports.modbus.transport:ModbusTransport",
        package="pymodbus",
        check=modbus_address,
    ),
    "mqtt": Scheme(
        example="mqtt://", transport=MQTT, package="paho-mqtt", messages=True, check=mqtt_address
    ),
    "mqtts": Scheme(
        example="mqtts://", transport=MQTT, package="paho-mqtt", messages=True, check=mqtt_address
    ),
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
        f'"{without_secret(port)}" begins with "{split_port(port)[0]}", which is no kind of port',
        f"write {', '.join(first)} or {last}",
    )


def normal_port(port: str) -> str:
    """The port with its scheme in lower case, which pyserial's handlers need."""
    scheme, _ = split_port(port)
    return scheme.lower() + port[len(scheme) :] if scheme.lower() in SCHEMES else port
