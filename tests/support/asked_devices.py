"""Devices that speak when they are asked, on a pseudo-terminal or over TCP, each with an inbox of all that
was sent to it."""

from __future__ import annotations

import os
import pty
import select
import socket
import threading
import time
import tty
from collections.abc import Callable, Mapping

from support.waiting import joined

Answer = bytes | Callable[[int], bytes]  # or from the number of the question, counted from 0


class AskedDevice:
    """A bus whose stations answer questions; url: its port.

    answers: by question, what its station answers; a question that is missing gets no answer
    delay_s: time from a question to its answer, s
    echo: whether the bus sends each question back first, as two wires for both directions do
    inbox: all bytes that were sent to the bus
    counts: by question, how often it was asked
    """

    def __init__(self, answers: Mapping[bytes, Answer], kind: str = "pty") -> None:
        self.answers = dict(answers)
        self.delay_s = 0.0
        self.echo = False
        self.inbox = b""
        self.counts = dict.fromkeys(answers, 0)
        self.asked: list[tuple[float, bytes]] = []  # when each question came, s, and its text
        self._halt = threading.Event()
        self._server: socket.socket | None = None
        self._client: socket.socket | None = None
        if kind == "pty":
            self._master, self._slave = pty.openpty()
            tty.setraw(self._slave)
            self.url = os.ttyname(self._slave)
        else:
            self._server = socket.create_server(("127.0.0.1", 0))
            self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def say(self, data: bytes) -> None:
        """Send without a question."""
        if self._client is not None:
            self._client.sendall(data)
        else:
            os.write(self._master, data)

    def _take(self) -> bytes:
        """What came within 0.05 s."""
        if self._server is not None and self._client is None:
            if select.select([self._server], [], [], 0.05)[0]:
                self._client, _ = self._server.accept()
            return b""
        source = self._client if self._client is not None else self._master
        if not select.select([source], [], [], 0.05)[0]:
            return b""
        data = self._client.recv(4096) if self._client is not None else os.read(self._master, 4096)
        if not data and self._client is not None:
            self._client.close()
            self._client = None
        return data

    def _run(self) -> None:
        begun = b""
        while not self._halt.is_set():
            try:
                data = self._take()
            except OSError:
                return
            self.inbox += data
            begun += data
            while question := next((q for q in self.counts if q in begun), None):
                begun = begun.partition(question)[2]
                self.asked.append((time.monotonic(), question))
                count, self.counts[question] = self.counts[question], self.counts[question] + 1
                answer = self.answers.get(question, b"")
                if self.echo:
                    self.say(question)
                self._halt.wait(self.delay_s)
                said = answer if isinstance(answer, bytes) else answer(count)
                if said:
                    self.say(said)

    def close(self) -> None:
        self._halt.set()
        joined(self._thread)
        for each in (self._server, self._client):
            if each is not None:
                each.close()
        if self._server is None:
            os.close(self._master)
            os.close(self._slave)
