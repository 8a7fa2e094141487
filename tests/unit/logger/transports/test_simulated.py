"""Virtual devices are real channels: anything that opens a port can read them."""

from __future__ import annotations

import threading
import time
from typing import Any

import pytest
import serial
from support.systems import pseudo_terminals
from support.waiting import patience, until

from logger.errors import PortFault
from logger.transports.simulated import Player, serve_tcp


@pseudo_terminals
@pytest.mark.parametrize("kind", ["pty", "tcp"])
def test_a_player_sends_rows_that_pyserial_reads(
    yard: Any, force: str, travel: str, kind: str
) -> None:
    device = getattr(yard, kind)()
    channels = yard.write(force + travel).channels
    played = [(i * 0.01, {"haul_force": 100.0 + i, "haul_travel": i / 10}) for i in range(20)]
    with serial.serial_for_url(device.url, timeout=600) as port:
        if kind == "tcp":
            until(lambda: device.wait_client(0.1))
        began = time.monotonic()
        player = Player([(device, channels)], played).start()
        lines = [port.readline() for _ in played]
        assert 0.15 < time.monotonic() - began < 2.0 * patience(began)
        until(lambda: player.join(0.1), 60, "the last row")
        assert player.sent == 20
    assert lines[3].startswith(b"$YXXDR,N,103,N,HAUL,D,0.3,M,ROPE*") and lines[3].endswith(b"\r\n")


def test_full_speed_waits_for_the_reader_and_loses_nothing(yard: Any, force: str) -> None:
    device = yard.tcp()
    channels = yard.write(force).channels
    played = ((0.0, {"haul_force": float(i)}) for i in range(20_000))
    with serial.serial_for_url(device.url, timeout=0.05) as port:
        until(lambda: device.wait_client(0.1))
        player = Player([(device, channels)], played, speed=None).start()
        seen = b""

        def more() -> bool:
            nonlocal seen
            seen += port.read(65536)
            return seen.count(b"\n") >= 20_000

        until(more, 30.0, "all lines")
        until(lambda: player.join(0.1), 60, "the last row")
    assert seen.count(b"N,19999,N") == 1


def test_a_port_in_use_is_one_line(yard: Any) -> None:
    with pytest.raises(PortFault, match="cannot be served"):
        serve_tcp(yard.tcp().port)
    with pytest.raises(PortFault, match="cannot be served"):
        serve_tcp(70_000)


def test_closing_leaves_no_thread(yard: Any) -> None:
    before = threading.active_count()
    device = serve_tcp()
    device.close()
    until(lambda: threading.active_count() <= before, what="the end of its thread")
