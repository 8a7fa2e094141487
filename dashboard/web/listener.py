"""Serves a WSGI application on a port of one address with waitress, and logs its exceptions."""

from __future__ import annotations

import errno
import os
import socket
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from logger.errors import CallFault

HOST = "127.0.0.1"
THREADS = 6
MOST_LOGGED = 50


class FaultLog:
    """Writes traces of exceptions to a file in the temporary folder, which the first one creates.

    path: of the file; None before the first exception.
    """

    def __init__(self) -> None:
        self.path: Path | None = None
        self._count = 0
        self._lock = threading.Lock()

    def __call__(self, error: Exception) -> None:
        with self._lock, suppress(OSError):
            self._count += 1
            if self._count > MOST_LOGGED:
                return
            if self.path is None:
                handle, name = tempfile.mkstemp(prefix="haul-page-", suffix=".log")
                os.close(handle)
                self.path = Path(name)
            with self.path.open("a", encoding="utf-8", errors="replace") as log:
                log.write(time.strftime("%Y-%m-%dT%H:%M:%S\n"))
                traceback.print_exception(error, file=log)


class Listening:
    """A waitress server that listens on 127.0.0.1, or on one other address alone.

    port: that it listens on; 0 asks for a free one.
    url: address of the page.
    hosts: values of the Host header that name this server.
    Raises CallFault where the address or the port cannot be used.
    """

    def __init__(
        self, call: Callable[..., Iterable[bytes]], port: int = 0, address: str | None = None
    ) -> None:
        from dashboard.web.connection_limits import PageServer

        listening = _listen(address or HOST, port)
        self._waitress: Any = PageServer(call, listening, THREADS)
        self._open = threading.Semaphore(1)
        self.port = int(listening.getsockname()[1])
        names = (HOST, "localhost") if address is None else (address,)
        hosts = [f"[{n}]:{self.port}" if ":" in n else f"{n}:{self.port}" for n in names]
        self.url = f"http://{hosts[0]}/"
        if self.port == 80:  # browsers leave it out of Host
            hosts += [host.removesuffix(":80") for host in hosts]
        self.hosts = frozenset(hosts)

    def run(self) -> None:
        """Serve until `close`."""
        self._waitress.run()

    def close(self) -> None:
        """End `run`, from another thread; a second call does nothing."""
        from waitress import wasyncore

        if not self._open.acquire(blocking=False):
            return
        server = self._waitress
        server.task_dispatcher.shutdown(timeout=1.0)
        # the trigger closes all sockets in the serving thread, between two rounds of its loop
        with suppress(OSError):  # the loop has ended already
            server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map, ignore_all=True))


def _listen(address: str, port: int) -> socket.socket:
    """A socket that listens; raises CallFault."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        return socket.create_server((address, port), family=family)
    except OSError as error:
        if error.errno in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
            raise CallFault(
                "--share",
                f"{address} is not an address of this machine",
                "give one of its own addresses",
            ) from None
        raise CallFault(
            "--http",
            f"port {port} of {address} cannot be used ({error.strerror})",
            "give another port, or 0 for a free one",
        ) from None
