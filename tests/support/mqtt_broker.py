"""A broker of MQTT in a process of its own (amqtt), a publisher, and a relay that keeps all that a client sent.

`python -m support.mqtt_broker PORT PLUGIN CERTIFICATE KEY` runs the broker until its input ends.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import logging
import os
import select
import socket
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest

from support.hanging_up import HangsUp
from support.mqtt_credentials import PASSWORD, USER
from support.places import ROOT
from support.processes import ended_at_exit
from support.waiting import Limit, joined, until

needs_broker = pytest.mark.skipif(
    importlib.util.find_spec("amqtt") is None or importlib.util.find_spec("paho") is None,
    reason="there is no broker of MQTT: pip install -e '.[test]'",
)
# control packets by type, MQTT 3.1.1, section 2.2.1
CONNECT, PUBLISH, PUBACK, SUBSCRIBE, PINGREQ, DISCONNECT = 1, 3, 4, 8, 12, 14


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


class Broker:
    """A broker on this machine; port: its TCP port.

    secured: whether it knows USER with PASSWORD alone; certificate, key: files for TLS
    """

    def __init__(
        self, port: int = 0, secured: bool = False, certificate: Path | None = None, key: Path | None = None
    ) -> None:  # fmt: skip
        self.port = port or free_port()
        self.secured, self.certificate = secured, certificate
        plugin = (
            "support.mqtt_user.OneUser"
            if secured
            else "amqtt.plugins.authentication.AnonymousAuthPlugin"
        )
        self._process = ended_at_exit(
            subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    __name__,
                    str(self.port),
                    plugin,
                    str(certificate or ""),
                    str(key or ""),
                ],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "tests"), str(ROOT)])},
            )
        )
        assert self._process.stdout is not None and self._process.stdout.readline() == "up\n"

    def close(self) -> None:
        """End the broker at once, as a power cut does."""
        self._process.kill()
        self._process.communicate()


class Publisher:
    """A client of the broker that publishes with QoS 1."""

    def __init__(self, broker: Broker) -> None:
        from paho.mqtt import client as mqtt

        self._client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2, client_id=f"cell-{os.urandom(4).hex()}"
        )
        if broker.secured:
            self._client.username_pw_set(USER, PASSWORD)
        if broker.certificate is not None:
            self._client.tls_set(str(broker.certificate))
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        until(self._client.is_connected)

    def say(self, topic: str, payload: bytes, retain: bool = False, qos: int = 1) -> None:
        """Publish, and wait until the broker has it."""
        said, limit = self._client.publish(topic, payload, qos=qos, retain=retain), Limit(10.0)
        while not said.is_published():
            assert not limit.over(), f"the broker does not take a message: {limit}"
            said.wait_for_publish(0.5)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        del self._client  # paho closes its last sockets when nothing refers to it


class Relay(HangsUp):
    """Stands between a client and a server; port: what the client connects to.

    inbox: all bytes that clients sent; cut: length of the pieces in which the server's bytes are passed on
    """

    def __init__(self, upstream: int, cut: int = 0) -> None:
        self.inbox, self.cut = b"", cut
        self._upstream = ("127.0.0.1", upstream)
        super().__init__()
        self._halt = threading.Event()
        self._front = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._front.getsockname()[1])
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._halt.is_set():
            if not select.select([self._front], [], [], 0.05)[0]:
                self._hang_up.clear()
                continue
            client = self._front.accept()[0]
            with (
                client,
                contextlib.suppress(OSError),
                socket.create_connection(self._upstream) as server,
            ):
                self._shuttle(client, server)
            self._hang_up.clear()

    def _shuttle(self, client: socket.socket, server: socket.socket) -> None:
        while not self._halt.is_set() and not self._hang_up.is_set():
            for source in select.select([client, server], [], [], 0.02)[0]:
                data = source.recv(65536)
                if not data:
                    return
                if source is client:
                    self.inbox += data
                    server.sendall(data)
                    continue
                step = self.cut or len(data)
                for at in range(0, len(data), step):
                    client.sendall(data[at : at + step])
                    if self.cut:
                        self._halt.wait(0.001)  # so that pieces arrive apart

    def close(self) -> None:
        self._halt.set()
        joined(self._thread)
        self._front.close()


def packet_types(inbox: bytes) -> list[int]:
    """The types of the control packets in what a client sent (MQTT 3.1.1, sections 2.2.1 and 2.2.3)."""
    types, at = [], 0
    while at < len(inbox):
        types.append(inbox[at] >> 4)
        length = shift = 0
        while True:
            at += 1
            length |= (inbox[at] & 0x7F) << shift
            shift += 7
            if not inbox[at] & 0x80:
                break
        at += 1 + length
    return types


def main(port: str, plugin: str, certificate: str, key: str) -> None:
    """Run the broker until standard input ends."""
    from amqtt.broker import Broker as Server

    logging.disable(logging.CRITICAL)
    listener: dict[str, Any] = {"type": "tcp", "bind": f"127.0.0.1:{port}"}
    if certificate:
        listener |= {"ssl": True, "certfile": certificate, "keyfile": key}

    async def run() -> None:
        server = Server({"listeners": {"default": listener}, "plugins": {plugin: {}}})
        await server.start()
        print("up", flush=True)
        await asyncio.to_thread(sys.stdin.read)
        await server.shutdown()

    asyncio.run(run())


if __name__ == "__main__":
    main(*sys.argv[1:])
