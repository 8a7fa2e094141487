"""What a device sent before its end is read with that end, never instead of it."""

from __future__ import annotations

import socket
import struct

import pytest
from support.waiting import until

from logger.channels.channel import Channel
from logger.transports.tcp import TcpTransport

LAST = b"$YXXDR,N,612.5,N,HAUL*49\r\n"


def closed_behind(sent: bytes, reset: bool) -> TcpTransport:
    """An open transport whose device has sent its bytes and is gone before anything was read.

    reset: whether the device ends the connection by a reset instead of an orderly end.
    """
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        transport = TcpTransport(
            f"socket://127.0.0.1:{port}",
            (
                Channel(
                    name="f",
                    quantity="force",
                    at="haul",
                    port="",
                    baud=None,
                    format="xdr",
                    unit="N",
                ),
            ),
        )
        transport.open()
        device, _ = listener.accept()
    device.sendall(sent)
    waiting = transport._socket
    assert waiting is not None
    until(lambda: received(waiting) == sent, 5, "the device's bytes arrive")
    if reset:
        device.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    device.close()
    return transport


def received(waiting: socket.socket) -> bytes:
    """What lies in the kernel's buffer, left there."""
    try:
        return waiting.recv(65536, socket.MSG_PEEK)
    except BlockingIOError:
        return b""


@pytest.mark.parametrize("lines", [1, 40])
def test_the_last_whole_line_before_a_tcp_device_closes_comes_with_the_end(lines):
    transport = closed_behind(LAST * lines, reset=False)
    chunk = transport.read()
    assert (chunk.content, chunk.lost) == (LAST * lines, "the other side closed it")
    transport.close()


def test_the_end_alone_brings_no_bytes():
    transport = closed_behind(b"", reset=False)
    chunk = transport.read()
    assert (chunk.content, chunk.lost) == (b"", "the other side closed it")
    transport.close()


def test_a_reset_is_told_as_a_lost_connection():
    transport = closed_behind(b"", reset=True)
    chunk = transport.read()
    assert chunk.content == b"" and chunk.lost
    transport.close()
