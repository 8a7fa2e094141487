"""Modbus devices behind pymodbus' own server, on a pseudo-terminal (RTU) or over TCP, with an inbox of all that
was sent to them.

Between server and recorder stands a relay, which cuts answers into pieces, delays or damages them, and hangs
up.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import socket
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from support.hanging_up import HangsUp
from support.serial_wire import forget, own_terminal, settings_of
from support.waiting import joined, until

Words = dict[int, int]  # by address, from 0, the 16 bits of a register
READ_HOLDING, READ_INPUT = 3, 4  # MODBUS application protocol 1.1b3, sections 6.3 and 6.4


class ModbusBus(HangsUp):
    """Devices on one bus; url: the port to record from.

    holding, input: words by device and address; a test may change them while the bus runs
    inbox: all bytes that were sent to the bus
    cut: length of the pieces in which answers are passed on; 0: as they come
    silent: whether answers are kept back
    echo: whether each question is sent back first, as two wires for both directions do
    damage: changes the bytes of an answer
    before: bytes that stand before each answer, as noise does
    answering: called before each answer with device, table, first register and how many
    """

    def __init__(
        self,
        holding: Mapping[int, Words],
        input: Mapping[int, Words] | None = None,
        kind: str = "tcp",
        port: int = 0,
        link: Path | None = None,
    ) -> None:
        """link: where the terminal of a serial bus is linked, so that `hang_up` unplugs it and plugs it in
        again."""
        self.holding = {number: dict(words) for number, words in holding.items()}
        self.input = {number: dict(words) for number, words in (input or {}).items()}
        self.inbox, self.cut, self.silent, self.echo = b"", 0, False, False
        self.damage: Callable[[bytes], bytes] = bytes
        self.before = b""
        self.answering: Callable[[int, str, int, int], None] = lambda *_: None
        self.delay_s = 0.0
        self._kind = kind
        self._halt = threading.Event()
        super().__init__()
        self._ended = threading.Event()
        self._loop = asyncio.new_event_loop()
        self._up = threading.Event()
        with socket.create_server(("127.0.0.1", 0)) as free:
            self._upstream = ("127.0.0.1", int(free.getsockname()[1]))
        self._threads = [threading.Thread(target=self._serve, daemon=True)]
        self._threads[0].start()
        until(self._up.is_set)
        if kind == "tcp":
            self._front = socket.create_server(("127.0.0.1", port))
            self.port = int(self._front.getsockname()[1])
            self.url = f"modbus://127.0.0.1:{self.port}"
        else:
            self._link = link
            self._plug()
            self.url = str(link or os.ttyname(self._slave))
        self._threads.append(threading.Thread(target=self._relay, daemon=True))
        self._threads[1].start()

    # -- the server ------------------------------------------------------------------------------
    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._run())
        self._loop.close()

    async def _run(self) -> None:
        from pymodbus.framer import FramerType
        from pymodbus.server import ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        devices = []
        for number in sorted({*self.holding, *self.input}):
            tables = []
            for words in (self.holding.get(number, {0: 0}), self.input.get(number, {0: 0})):
                tables.append(
                    [SimData(at, values=[0], datatype=DataType.REGISTERS) for at in sorted(words)]
                )
            bits = [SimData(0, values=[False], datatype=DataType.BITS)]
            devices.append(SimDevice(number, simdata=(bits, bits, *tables)))
        framer = FramerType.SOCKET if self._kind == "tcp" else FramerType.RTU
        self._server = ModbusTcpServer(
            devices, framer=framer, address=self._upstream, trace_pdu=self._filled, ignore_missing_devices=True
        )  # fmt: skip
        await self._server.serve_forever(background=True)
        self._up.set()
        while not self._ended.is_set():
            await asyncio.sleep(0.02)  # the server runs until the test ends
        await asyncio.sleep(0.05)  # it sees its connections end
        await self._server.shutdown()
        await asyncio.sleep(0)

    def _filled(self, sending: bool, pdu: Any) -> Any:
        """A read's answer with the words as they are now."""
        if not sending:
            self._first = getattr(pdu, "address", 0)
            return pdu
        table = {READ_HOLDING: self.holding, READ_INPUT: self.input}.get(pdu.function_code)
        if table is not None:
            name = "holding" if pdu.function_code == READ_HOLDING else "input"
            self.answering(pdu.dev_id, name, self._first, len(pdu.registers))
            words = table.get(pdu.dev_id, {})
            pdu.registers = [words.get(self._first + i, 0) for i in range(len(pdu.registers))]
        return pdu

    # -- the terminal ----------------------------------------------------------------------------
    def _plug(self) -> None:
        """Make the terminal of a serial bus."""
        self._master, self._slave = own_terminal()
        os.set_blocking(self._master, True)
        forget(os.ttyname(self._slave))
        if self._link is not None:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(os.ttyname(self._slave))

    def _unplug(self) -> None:
        os.close(self._master)
        os.close(self._slave)

    def seen(self) -> tuple[int, str]:
        """Rate in bit/s and framing that the reader has set; see `serial_wire.noting_framings`."""
        return settings_of(self._master, os.ttyname(self._slave))

    # -- the relay -------------------------------------------------------------------------------
    def _relay(self) -> None:
        while not self._halt.is_set():
            client = self._client()
            if client is None:
                continue
            with contextlib.suppress(OSError), socket.create_connection(self._upstream) as server:
                self._shuttle(client, server)
            if isinstance(client, socket.socket):
                client.close()
            elif self._hang_up.is_set() and self._link is not None:
                self._unplug()
                self._plug()
            self._hang_up.clear()

    def _client(self) -> socket.socket | int | None:
        if self._kind != "tcp":
            return self._master
        if not select.select([self._front], [], [], 0.05)[0]:
            self._hang_up.clear()
            return None
        return self._front.accept()[0]

    def _shuttle(self, client: socket.socket | int, server: socket.socket) -> None:
        while not self._halt.is_set() and not self._hang_up.is_set():
            ready = select.select([client, server], [], [], 0.02)[0]
            if client in ready:
                sent = (
                    client.recv(4096)
                    if isinstance(client, socket.socket)
                    else os.read(client, 4096)
                )
                if not sent:
                    return
                self.inbox += sent
                if self.echo:
                    self._say(client, sent)
                server.sendall(sent)
            if server in ready:
                answer = server.recv(4096)
                if not answer:
                    return
                self._halt.wait(self.delay_s)
                there = answer[6 if self._kind == "tcp" else 0] in {*self.holding, *self.input}
                if (
                    there and not self.silent
                ):  # the server answers for devices that are not there, too
                    self._say(client, self.before + self.damage(answer))

    def _say(self, client: socket.socket | int, data: bytes) -> None:
        step = self.cut or len(data)
        for at in range(0, len(data), step):
            piece = data[at : at + step]
            if isinstance(client, socket.socket):
                client.sendall(piece)
            else:
                os.write(client, piece)
            if self.cut:
                self._halt.wait(0.003)  # longer than the recorder gathers one piece

    def close(self) -> None:
        self._halt.set()
        joined(self._threads[1])
        self._ended.set()
        joined(self._threads[0])
        if self._kind == "tcp":
            self._front.close()
        else:
            self._unplug()


def requests_in(inbox: bytes, tcp: bool) -> set[tuple[int, int]]:
    """Device and function of all requests in an inbox; raises where anything else stands in it.

    Frames as in MODBUS messaging on TCP/IP 1.0b, 3.1.3, and MODBUS over serial line 1.02, 2.3: a read has
    eight bytes on the serial line and twelve over TCP.
    """
    size = 12 if tcp else 8
    assert len(inbox) % size == 0
    seen = set()
    for start in range(0, len(inbox), size):
        frame = inbox[start : start + size]
        assert not tcp or frame[2:6] == b"\0\0\0\6"
        body = frame[6:] if tcp else frame
        seen.add((body[0], body[1]))
    return seen
