"""Devices that publish by MQTT, behind a real broker: readings, reconnections, secrets and bounds."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.channels import channel
from support.mqtt_broker import (
    CONNECT,
    DISCONNECT,
    PINGREQ,
    PUBACK,
    SUBSCRIBE,
    Broker,
    Publisher,
    Relay,
    free_port,
    needs_broker,
    packet_types,
)
from support.mqtt_credentials import PASSWORD, USER
from support.places import ROOT
from support.processes import ended
from support.waiting import joined, until
from support.yard import RECORD, Yard, in_order, recording

from logger.channels.port_schemes import mqtt_address, without_secret
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import PortFault, SensorsFault
from logger.recorder.recorder import record
from logger.session.verify import repair, verify
from logger.transports.mqtt import MqttTransport

TOPIC = "yard/cell"


def mqtt(
    port: int, *, user: str = "", topic: str = TOPIC, scheme: str = "mqtt", **keys: str | float
) -> str:
    url = f"{scheme}://{user + '@' if user else ''}127.0.0.1:{port}/{topic}"
    return channel(
        "force", "force", **{"format": "json", "id": "f", "unit": "N", "port": url, **keys}
    )


@pytest.fixture(scope="module")
def broker() -> Iterator[Broker]:
    made = Broker()
    yield made
    made.close()


@pytest.fixture
def publisher(broker: Broker) -> Iterator[Publisher]:
    made = Publisher(broker)
    yield made
    made.close()


@pytest.fixture
def relay(broker: Broker) -> Iterator[Relay]:
    made = Relay(broker.port)
    yield made
    made.close()


def send(publisher: Publisher, first: int, count: int) -> None:
    for k in range(first, first + count):
        publisher.say(TOPIC, b'{"f": %d}' % k)


@needs_broker
@pytest.mark.parametrize("cut", [0, 1, 3])
def test_messages_are_lines_over_any_cut_of_the_bytes(
    tmp_path: Path, publisher: Publisher, relay: Relay, cut: int
) -> None:
    relay.cut = cut
    yard = Yard(tmp_path, mqtt(relay.port))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        send(publisher, 0, 20)
        until(lambda: len(yard.values()) == 20)
        outcome = running.end()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}
    assert verify(yard.out).state == "complete"


@needs_broker
def test_nothing_is_published(tmp_path: Path, publisher: Publisher, relay: Relay) -> None:
    """A client that reads sends CONNECT, SUBSCRIBE, PUBACK, PINGREQ and DISCONNECT (MQTT 3.1.1, section 3)."""
    yard = Yard(tmp_path, mqtt(relay.port))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        send(publisher, 0, 5)
        until(lambda: len(yard.values()) == 5)
        running.end()
    until(lambda: packet_types(relay.inbox)[-1] == DISCONNECT)
    assert set(packet_types(relay.inbox)) - {PINGREQ} == {CONNECT, SUBSCRIBE, PUBACK, DISCONNECT}
    assert packet_types(relay.inbox).count(PUBACK) == 5  # QoS 1


@needs_broker
def test_a_retained_message_is_no_reading(
    tmp_path: Path, broker: Broker, publisher: Publisher
) -> None:
    publisher.say("yard/old", b'{"f": 99}', retain=True)
    yard = Yard(tmp_path, mqtt(broker.port, topic="yard/old"))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        publisher.say(
            "yard/old", b'{"f": 1}', retain=True
        )  # to those who listen now it is not retained
        until(lambda: yard.values())
        running.end()
    assert yard.values() == [1.0]


@needs_broker
def test_a_broker_that_goes_and_comes_is_told_and_read_again(tmp_path: Path) -> None:
    broker = Broker()
    yard = Yard(tmp_path, mqtt(broker.port, stale_after_s=0.5))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        publisher = Publisher(broker)
        send(publisher, 0, 5)
        until(lambda: len(yard.values()) == 5)
        publisher.close()
        broker.close()
        until(lambda: "disconnect" in yard.kinds())
        time.sleep(0.6)  # longer than stale_after_s: a silence that is told
        broker = Broker(broker.port)
        until(lambda: yard.kinds().count("connect") == 2)
        publisher = Publisher(broker)
        send(publisher, 5, 5)
        until(lambda: len(yard.values()) == 10)
        outcome = running.end()
    publisher.close()
    broker.close()
    assert in_order(yard.values()) and outcome.drops == {"force": 0}
    assert any(e.kind == "gap" and e.channel == "force" for e in yard.events())
    assert "the broker is gone" in next(e.text for e in yard.events() if e.kind == "disconnect")


@needs_broker
def test_connections_that_end_leave_nothing_open(
    tmp_path: Path, publisher: Publisher, relay: Relay
) -> None:
    def open_files() -> int:
        return len(list(Path("/proc/self/fd").iterdir())) if Path("/proc/self/fd").is_dir() else 0

    yard = Yard(tmp_path, mqtt(relay.port))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        send(publisher, 0, 1)
        until(lambda: len(yard.values()) == 1)
        before = open_files()
        for turn in range(2, 7):
            relay.hang_up()
            until(lambda n=turn: yard.kinds().count("connect") == n)
            send(publisher, turn - 1, 1)
            until(lambda n=turn: len(yard.values()) == n)
        assert open_files() <= before + 1
        running.end()
    assert in_order(yard.values())


@needs_broker
def test_a_killed_recorder_keeps_what_it_had_read(
    tmp_path: Path, broker: Broker, publisher: Publisher
) -> None:
    yard = Yard(tmp_path, mqtt(broker.port))
    process = yard.start()
    until(lambda: "connect" in yard.kinds())
    send(publisher, 0, 10)
    until(lambda: len(yard.values()) == 10)
    process.kill()
    process.communicate()
    assert verify(yard.out).state == "cut short"
    repair(yard.out)
    assert verify(yard.out).state == "complete" and in_order(yard.values())


@needs_broker
def test_hostile_messages_are_dropped_in_bounded_memory(
    tmp_path: Path, broker: Broker, publisher: Publisher
) -> None:
    """A message of 3 MB is a line that is too long, as one of 30 kB is, also where it holds lines."""
    yard = Yard(tmp_path, mqtt(broker.port))
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        send(publisher, 0, 3)
        until(lambda: len(yard.values()) == 3)
        tracemalloc.start()
        for payload in (
            b"",
            b"\0",
            b"\xff" * 30_000,
            b"{" * 5000,
            b"\n\n\n",
            b'{"f": 1e999}',
            b"7",
        ):
            publisher.say(TOPIC, payload)
        # the messages of a topic come in their order, so those before this one are counted
        send(publisher, 3, 1)
        counted = until(
            lambda: next((s for _, s in running.statuses if s.readings["force"] == 4), None)
        )
        before = counted.drops["force"]
        assert before >= 5
        grown = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        publisher.say(TOPIC, b"7" * 3_000_000)
        publisher.say(TOPIC, b'{"f": 99}\n' * 10_000)
        send(publisher, 4, 2)
        until(lambda: len(yard.values()) == 6)
        outcome = running.end()
    assert in_order(yard.values()) and grown < 2_000_000
    assert outcome.drops["force"] == before + 2 and yard.kinds().count("connect") == 1


@needs_broker
def test_a_great_retained_message_ends_no_connection(
    tmp_path: Path, broker: Broker, publisher: Publisher, relay: Relay
) -> None:
    """The broker sends it each time the topic is subscribed to."""
    publisher.say("yard/great", b"7" * 200_000, retain=True)
    yard = Yard(tmp_path, mqtt(relay.port, topic="yard/great"))
    with recording(yard) as running:
        for turn in (1, 2):
            until(lambda n=turn: yard.kinds().count("connect") == n)
            publisher.say("yard/great", b'{"f": %d}' % turn)
            until(lambda n=turn: len(yard.values()) == n)
            if turn == 1:
                relay.hang_up()
        outcome = running.end()
    assert yard.values() == [1.0, 2.0] and outcome.drops == {"force": 0}
    assert yard.kinds().count("disconnect") == 1


def test_a_great_message_is_held_in_bounded_memory() -> None:
    """A broker whose message of 20 MB comes as a stream (MQTT 3.1.1, section 3.3: QoS 0, topic "t")."""
    pytest.importorskip("paho")
    length, sent = 20_000_000, 0
    digits = [length >> 7 * k & 0x7F | (0x80 if k < 3 else 0) for k in range(4)]
    server = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        nonlocal sent
        client = server.accept()[0]
        with client, contextlib.suppress(OSError):
            client.recv(4096)
            client.sendall(b"\x20\x02\x00\x00")
            number = client.recv(4096)[2:4]
            client.sendall(b"\x90\x03" + number + b"\x01")
            client.sendall(bytes([0x30, *digits]) + b"\x00\x01t")
            for _ in range((length - 3) // 1000):
                client.sendall(b'{"f": 5}' * 125)
                sent += 1000
            client.sendall(b" " * ((length - 3) % 1000) + b"\x30\x0b\x00\x01t" + b'{"f": 7}')
            client.recv(4096)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    port = f"mqtt://127.0.0.1:{server.getsockname()[1]}/t"
    transport = MqttTransport(port, parse_sensors(mqtt(1), "s").channels)
    transport.open()
    tracemalloc.start()
    came = b""
    while b"7" not in came:
        chunk = transport.read()
        assert chunk.lost is None
        came += bytes(chunk.content)
    grown = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    transport.close()
    joined(thread)
    server.close()
    assert (
        came.splitlines() == [b"?" * 4097, b'{"f": 7}'] and sent > 19_000_000 and grown < 2_000_000
    )


@pytest.mark.parametrize(
    "said",
    [
        b"\xff" * 5000,
        b"\x20\x02\x00\x00" + b"\x30\xff\xff\xff\x7f" + b"x" * 5000,
        b"SSH-2.0\r\n",
        b"",
    ],
)
def test_a_server_that_is_no_broker_is_told(tmp_path: Path, said: bytes) -> None:
    """The second is a broker that announces a message of 256 MB (MQTT 3.1.1, section 2.2.3)."""
    pytest.importorskip("paho")
    server = socket.create_server(("127.0.0.1", 0))
    halt = threading.Event()

    def serve() -> None:
        while not halt.is_set():
            server.settimeout(0.1)
            try:
                client = server.accept()[0]
            except OSError:
                continue
            with client, contextlib.suppress(OSError):
                client.settimeout(600)
                client.recv(4096)
                client.sendall(said)
                client.recv(4096)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    transport = MqttTransport(
        f"mqtt://127.0.0.1:{server.getsockname()[1]}/t", parse_sensors(mqtt(1), "s").channels
    )
    tracemalloc.start()
    with pytest.raises(OSError, match="broker"):
        transport.open()
        for _ in range(100):
            lost = transport.read().lost
            if lost:
                raise OSError(lost)
    grown = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    transport.close()
    halt.set()
    joined(thread)
    server.close()
    assert grown < 2_000_000


@needs_broker
def test_the_password_comes_from_the_environment_and_goes_nowhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a session nor an error line holds it, whether it is right, wrong, missing or in the port."""
    broker = Broker(secured=True)
    publisher = Publisher(broker)
    seen = []
    for given in (PASSWORD, PASSWORD + "-wrong", None):
        yard = Yard(tmp_path / f"{given}", mqtt(broker.port, user=USER))
        environment = {
            key: value for key, value in os.environ.items() if key != "HAUL_MQTT_PASSWORD"
        }
        if given is not None:
            environment["HAUL_MQTT_PASSWORD"] = given
        process = subprocess.Popen(
            [sys.executable, "-c", RECORD, str(yard.rig), str(yard.sensors_file), str(yard.out)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**environment, "PYTHONPATH": str(ROOT)},
        )
        if given == PASSWORD:
            until(lambda one=yard: "connect" in one.kinds())
            send(publisher, 0, 3)
            until(lambda one=yard: len(one.values()) == 3)
            process.send_signal(signal.SIGTERM)
        out = ended(process)[0]
        if given != PASSWORD:
            assert "refuses the connection" in out and "HAUL_MQTT_PASSWORD" in out
        seen += [out, *(p.read_text("utf-8") for p in yard.folder.rglob("*") if p.is_file())]
    publisher.close()
    broker.close()
    text = mqtt(broker.port, user=f"{USER}:{PASSWORD}")
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s")
    assert "HAUL_MQTT_PASSWORD" in str(caught.value)
    assert not any(PASSWORD in each for each in [*seen, str(caught.value)])


@needs_broker
def test_a_certificate_is_verified(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    trustme = pytest.importorskip("trustme")
    authority, stranger = trustme.CA(), trustme.CA()
    for name, made in (("authority", authority), ("stranger", stranger)):
        made.cert_pem.write_to_path(str(tmp_path / f"{name}.pem"))
    server = authority.issue_cert("127.0.0.1")
    server.cert_chain_pems[0].write_to_path(str(tmp_path / "server.pem"))
    server.private_key_pem.write_to_path(str(tmp_path / "server.key"))
    broker = Broker(certificate=tmp_path / "server.pem", key=tmp_path / "server.key")
    text = mqtt(broker.port, scheme="mqtts")
    for named in (None, tmp_path / "stranger.pem", tmp_path / "missing.pem"):
        if named is None:
            monkeypatch.delenv("SSL_CERT_FILE", raising=False)
        else:
            monkeypatch.setenv("SSL_CERT_FILE", str(named))
        yard = Yard(tmp_path / f"no-{named and named.stem}", text)
        with pytest.raises(
            PortFault,
            match="names no file" if named and "missing" in named.name else "(?i)certificate",
        ):
            record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
    broker.certificate = tmp_path / "authority.pem"  # for the publisher
    yard = Yard(tmp_path / "yes", text)
    with recording(yard) as running:
        until(lambda: "connect" in yard.kinds())
        publisher = Publisher(broker)
        send(publisher, 0, 200)
        until(lambda: len(yard.values()) == 200)
        running.end()
    publisher.close()
    broker.close()
    assert in_order(yard.values())


@pytest.mark.parametrize(
    ("port", "names"),
    [
        ("mqtt://h", "topic"), ("mqtt://h/", "topic"), ("mqtt:///t", "host"), ("mqtt://h:0/t", "host"), ("mqtt://h:x/t", "host"),
        ("mqtt://h/a/+/b", "single topic"), ("mqtt://h/a/#", "single topic"), ("mqtt://h/t?token=geheim", "token"),
        ("mqtt://u:geheim@h/t", "HAUL_MQTT_PASSWORD"), ("mqtt://u:ge/geheim@h/t", "HAUL_MQTT_PASSWORD"), ("mqtt://u:1/geheim@h/t", "%40"),
        ("mqtts://:geheim@h/t", "HAUL_MQTT_PASSWORD"), ("socket://u:geheim@h:1", "password"), ("mqtt5://u:geheim@h/t", "password"),
        ("mqtt://u:p@geheim@h/t", "HAUL_MQTT_PASSWORD"), ("spy://h:1?file=geheim", "no kind of port"),
    ],
)  # fmt: skip
def test_what_a_port_may_not_be(port: str, names: str) -> None:
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(channel("f", "force", format="json", id="f", unit="N", port=port), "s")
    said = str(caught.value)
    assert names in said and "geheim" not in said and "\n" not in said


def test_what_a_port_names() -> None:
    plain, secure = mqtt_address("mqtt://h/a/b"), mqtt_address("mqtts://my%40name@h:99/a%20b")
    assert (plain.host, plain.port, plain.user, plain.topic, plain.tls) == (
        "h",
        1883,
        None,
        "a/b",
        False,
    )
    assert (secure.port, secure.user, secure.topic, secure.tls) == (99, "my@name", "a b", True)
    assert mqtt_address("mqtts://h/t").port == 8883  # IANA: secure-mqtt
    assert without_secret("/dev/ttyUSB0") == "/dev/ttyUSB0"


def test_nothing_can_be_asked_and_no_baud_is_needed() -> None:
    for_recording(parse_sensors(mqtt(1883), "s"))
    with pytest.raises(SensorsFault, match="nothing can be asked"):
        parse_sensors(mqtt(1883, ask="R", every_s=0.1), "s")


def test_a_broker_that_is_not_there_is_told_in_one_line(tmp_path: Path) -> None:
    yard = Yard(tmp_path, mqtt(free_port()))
    with pytest.raises(PortFault) as caught:
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    assert "refused" in str(caught.value) and "\n" not in str(caught.value)


def test_a_missing_package_is_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    from logger.channels import sensors_file

    monkeypatch.setattr(sensors_file, "find_spec", lambda name: None)
    with pytest.raises(SensorsFault, match="pip install paho-mqtt"):
        for_recording(parse_sensors(mqtt(1883), "s"))
    text = channel(
        "f",
        "force",
        format="modbus",
        table="input",
        register=0,
        type="int16",
        every_s=1.0,
        unit="N",
        port="/dev/x",
        baud=9600,
    )
    with pytest.raises(SensorsFault, match="pip install pymodbus"):
        for_recording(parse_sensors(text, "s"))


SERIAL_ALONE = """
import sys
from logger.recorder.recorder import record
reasons = []
record(*sys.argv[1:4], reasons=reasons, status=lambda s: any(s.ports.values()) or reasons.append("open"))
print(sorted(name for name in sys.modules if name.split(".")[0] in ("paho", "pymodbus", "asyncio", "ssl")))
"""


def test_who_records_by_serial_alone_imports_none_of_it(tmp_path: Path) -> None:
    yard = Yard(tmp_path)
    device = yard.tcp()
    yard.write(channel("force", "force", format="xdr", id="CELL", port=device.url))
    process = yard.start(SERIAL_ALONE)
    out, err = ended(process)
    yard.close()
    assert out.splitlines()[-1] == "[]", err
