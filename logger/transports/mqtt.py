"""Reads a device that publishes by MQTT, `mqtt://[user@]host[:port]/topic` and `mqtts://`, through a broker.

A message is a line.  A retained message is no reading: nobody can tell when it was measured.  Nothing
is published.  paho-mqtt speaks the protocol; it is imported when the first port is opened.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import select
import ssl
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from logger import clock
from logger.channels.channel import Channel
from logger.channels.port_schemes import MqttAddress, mqtt_address
from logger.formats.base import MOST_LINE
from logger.transports.base import CYCLE_S, Chunk, Transport, chunk_end
from logger.transports.stream import MOST_CHUNK
from logger.transports.udp import line_end, whole_lines

MISSING = "paho-mqtt is not installed: run pip install paho-mqtt"
PASSWORD = "HAUL_MQTT_PASSWORD"  # by definition, interface section 2
AUTHORITY = "SSL_CERT_FILE"  # ditto; OpenSSL reads it too
QOS = 1  # by definition, interface section 2
CONNECT_S = 5.0  # longest wait for each answer of the broker; chosen by us: as for a TCP device
KEEPALIVE_S = 10  # a broker that is gone without a word is found after twice that; chosen by us
MOST_PACKET = 65_536  # memory only: bytes of a message that is looked at; a line has 4 kB at most
# a line that is too long, without a digit: what stands for a message beyond MOST_PACKET
TOO_LONG = b"?" * (MOST_LINE + 1)
NOTHING_TAKEN_S = 5.0  # a broker that takes no acknowledgement for so long is lost; chosen by us


class MqttTransport(Transport):
    """A subscription to one topic of one broker."""

    def __init__(self, port: str, channels: Sequence[Channel]) -> None:
        super().__init__(port, channels)
        self._client: Any = None
        self._client_id = (
            f"haul-{secrets.token_hex(6)}"  # a broker ends what is left of an old connection
        )
        self._end = line_end(channels)
        self._lines: list[bytes] = []
        self._size = 0
        self._subscribed = False
        self._refusal = ""
        self._stuck_s: float | None = None  # `clock.awake` since which the broker takes nothing

    def open(self) -> None:
        """See `Transport.open`; raises OSError where the broker refuses, with what to do."""
        address = mqtt_address(self.port)
        self._client = self._new_client(address)
        self._lines, self._size, self._subscribed, self._refusal = [], 0, False, ""
        self._stuck_s = None
        try:
            self._connect(address)
        except BaseException:
            self.close()
            raise

    def read(self) -> Chunk:
        """See `Transport.read`."""
        client = self._client
        if client is None:
            raise OSError("the connection is not open")
        self._lines, self._size = [], 0
        began, awake = clock.now(), clock.awake()
        lost = self._step(CYCLE_S)
        if self._lines and lost is None:
            began, awake = clock.now(), clock.awake()
            time.sleep(CYCLE_S)
            while lost is None and self._size < MOST_CHUNK and self._waiting():
                lost = self._step(0.0)
        return Chunk(
            from_s=began,
            to_s=chunk_end(began, awake) if self._lines else began,
            content=b"".join(self._lines),
            lost=lost,
            more=self._size >= MOST_CHUNK,
        )

    def close(self) -> None:
        """See `Transport.close`."""
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(Exception):
                client.disconnect()
            with contextlib.suppress(Exception):
                client.socket().close()
            # paho closes the rest when nothing refers to the client any more
            client.on_connect = client.on_subscribe = client.on_message = None

    def first_line_torn(self, opened_s: float, silent_to_s: float) -> bool:
        """False: a message begins with a line."""
        return False

    def _new_client(self, address: MqttAddress) -> Any:
        """The client of paho; raises OSError."""
        try:
            from paho.mqtt import client as mqtt
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError:
            raise OSError(MISSING) from None

        class Client(mqtt.Client):
            """Holds no more than the beginning of a message that is too long.

            too_long: whether the message that comes is one
            """

            too_long = False

            def _sock_recv(self, bufsize: int) -> bytes:
                packet = self._in_packet
                if packet["have_remaining"]:
                    self.too_long = packet["remaining_length"] > MOST_PACKET
                    del packet["packet"][MOST_PACKET:]
                return super()._sock_recv(min(bufsize, MOST_PACKET))

        client = Client(
            CallbackAPIVersion.VERSION2, client_id=self._client_id, clean_session=True
        )  # fmt: skip
        client.connect_timeout = CONNECT_S
        client.on_connect, client.on_subscribe = self._on_connect, self._on_subscribe
        client.on_message = self._on_message
        if address.user is not None:
            client.username_pw_set(address.user, os.environ.get(PASSWORD) or None)
        if address.tls:
            client.tls_set_context(_context())
        return client

    def _connect(self, address: MqttAddress) -> None:
        """Connect and subscribe; raises OSError."""
        self._client.connect(address.host, address.port, KEEPALIVE_S)
        until = clock.awake() + CONNECT_S
        while not self._subscribed:
            lost = self._step(CYCLE_S)
            if self._refusal:
                raise OSError(self._refusal)
            if lost is not None:
                raise OSError(lost)
            if clock.awake() > until:
                raise OSError("the broker does not answer: is it one of MQTT?")

    def _step(self, wait_s: float) -> str | None:
        """Let paho read one packet and write what waits; returns why the broker is lost, or None."""
        code = self._client.loop(wait_s)
        if code:
            return f"the broker is gone ({_reason(code)})"
        now = clock.awake()
        if not self._client.want_write():
            self._stuck_s = None
        elif self._stuck_s is None:
            self._stuck_s = now
        elif now - self._stuck_s > NOTHING_TAKEN_S:
            return "the broker takes no acknowledgement"
        return None

    def _waiting(self) -> bool:
        """Whether bytes wait to be read."""
        source = self._client.socket()
        if source is None:
            return False
        if isinstance(source, ssl.SSLSocket) and source.pending():
            return True
        return bool(select.select([source], [], [], 0)[0])

    def _on_connect(self, client: Any, data: Any, flags: Any, code: Any, properties: Any) -> None:
        if code.is_failure:
            self._refusal = f"the broker refuses the connection ({code}){_cure(str(code))}"
        else:
            client.subscribe(mqtt_address(self.port).topic, QOS)

    def _on_subscribe(self, client: Any, data: Any, mid: int, codes: Any, properties: Any) -> None:
        if any(code.is_failure for code in codes):
            self._refusal = "the broker does not let this user read the topic"
        self._subscribed = True

    def _on_message(self, client: Any, data: Any, message: Any) -> None:
        if not message.retain and message.payload:
            # a cut message may end within a number, so that nothing of it is read
            payload = TOO_LONG if client.too_long else bytes(message.payload)
            line = whole_lines(payload, self._end)
            self._lines.append(line)
            self._size += len(line)


class _Handshake(ssl.SSLSocket):
    """Closes itself where the certificate is refused, which paho leaves open."""

    def do_handshake(self, block: bool = False) -> None:
        """See `ssl.SSLSocket.do_handshake`; the socket waits for the other side."""
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def _context() -> ssl.SSLContext:
    """What verifies the broker's certificate; raises OSError where the named authority is missing."""
    named = os.environ.get(AUTHORITY)
    if named and not Path(named).is_file():
        raise OSError(f"{AUTHORITY} names no file: {named}")
    context = ssl.create_default_context(cafile=named or None)
    context.sslsocket_class = _Handshake
    return context


def _reason(code: Any) -> str:
    from paho.mqtt.client import error_string

    return str(error_string(code)).rstrip(".")


def _cure(code: str) -> str:
    """What to do where the broker does not know the user."""
    if "uthori" not in code and "user name" not in code.lower():
        return ""
    return f": write the user as mqtt://user@host/topic, and its password into {PASSWORD}"
