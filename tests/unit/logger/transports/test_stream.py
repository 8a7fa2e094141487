"""What a device sent before its end is read with that end, never instead of it."""

from __future__ import annotations

import contextlib
import os
import pty
import socket
import struct
import threading
import time
import tty

import pytest
from support.systems import pseudo_terminals
from support.waiting import joined, until

from logger.channels.channel import Channel
from logger.transports.base import STALL_S
from logger.transports.stream import LEAST_DOUBT, Stream, terminal_bytes
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


AFTER = LEAST_DOUBT // 10 - 1  # lines of ten bytes that come while the stream is read


class FilledTerminal:
    """A terminal whose device counts up in lines of ten bytes and throws away what the system does not take."""

    def __init__(self) -> None:
        self.device, self.ours = pty.openpty()
        for end in (self.device, self.ours):
            tty.setraw(end)
            os.set_blocking(end, False)
        self.count = 0

    def send(self, lines: int) -> None:
        for _ in range(lines):
            self.count += 1
            with contextlib.suppress(BlockingIOError):
                os.write(self.device, b"%08d\r\n" % self.count)

    def send_on(self, lines: int) -> threading.Thread:
        """Send so many lines in a thread, each as soon as the system takes it."""
        first = self.count + 1
        self.count += lines

        def run() -> None:
            os.set_blocking(self.device, True)
            for number in range(first, first + lines):
                os.write(self.device, b"%08d\r\n" % number)

        thread = threading.Thread(target=run)
        thread.start()
        return thread

    def close(self) -> None:
        os.close(self.device)
        os.close(self.ours)


@pytest.fixture
def wire():
    with contextlib.closing(FilledTerminal()) as opened:
        yield opened


@pseudo_terminals
@pytest.mark.parametrize("held_up_in", [1, 2, 3])
def test_bytes_that_were_lost_while_the_reader_was_held_up_are_in_doubt_wherever_it_was(
    wire, held_up_in
):
    """The stall lies before the first piece, or between two pieces of one chunk."""
    reads, sending = 0, []

    def receive(most: int) -> bytes:
        nonlocal reads
        reads += 1
        if reads == held_up_in:
            wire.send(20_000)  # far more than the system keeps
            time.sleep(STALL_S * 1.2)  # the stall itself
        data = os.read(wire.ours, min(most, 1000) if reads < held_up_in else most)
        if reads == held_up_in:
            sending.append(wire.send_on(AFTER))
        return data

    stream = Stream(wire.ours, receive, terminal_bytes(wire.ours))
    wire.send(300)
    chunk = stream.read()
    joined(sending[0])
    assert b"\r\n%08d\r\n" % (wire.count - AFTER // 2) in chunk.content, "sent after the stall"
    assert chunk.doubt_from is not None
    sure = [int(line) for line in chunk.content[: chunk.doubt_from].split(b"\r\n")[:-1]]
    assert sure == list(range(1, len(sure) + 1)) and len(sure) > 300


@pseudo_terminals
def test_a_stall_with_little_in_the_buffer_doubts_nothing(wire):
    def receive(most: int) -> bytes:
        wire.send(20)
        time.sleep(STALL_S * 1.2)  # the stall itself
        return os.read(wire.ours, most)

    wire.send(20)
    chunk = Stream(wire.ours, receive, terminal_bytes(wire.ours)).read()
    assert chunk.doubt_from is None and chunk.content.count(b"\n") == 40
