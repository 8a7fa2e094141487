"""A WSGI application on a port of one address, served by waitress; the log of what it breaks on."""

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
    """Traces of our own faults in one file of the temporary folder, made at the first of them."""

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
    """Waitress on 127.0.0.1, or on one other address alone; port 0 takes a free one.  url: what to
    open; hosts: what a request may call this server.

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
        if self.port == 80:  # which browsers leave out
            hosts += [host.removesuffix(":80") for host in hosts]
        self.hosts = frozenset(hosts)

    def run(self) -> None:
        """Serve until `close`."""
        self._waitress.run()

    def close(self) -> None:
        """End `run`, from another thread; what is closed already stays so."""
        from waitress import wasyncore

        if not self._open.acquire(blocking=False):
            return
        held = self._waitress
        held.task_dispatcher.shutdown(timeout=1.0)
        # in the thread that serves, between two rounds of its loop
        with suppress(OSError):  # it ended by itself meanwhile
            held.trigger.pull_trigger(lambda: wasyncore.close_all(held._map, ignore_all=True))


def _listen(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        return socket.create_server((address, port), family=family)
    except OSError as error:
        if error.errno in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
            raise CallFault(
                "--share", f"{address} is no address of this machine", "give one that it has"
            ) from None
        raise CallFault(
            "--http", f"port {port} of {address} cannot be used ({error.strerror})",
            "give another, or 0 for a free one",
        ) from None
