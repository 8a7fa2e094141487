"""A WSGI application on a port of this machine alone, served by waitress; the log of what it breaks on."""

from __future__ import annotations

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
    """Waitress on 127.0.0.1; port 0 takes a free one.  url: what to open; hosts: what a request may
    call this server.

    Raises CallFault where the port is taken.
    """

    def __init__(self, call: Callable[..., Iterable[bytes]], port: int = 0) -> None:
        from waitress.server import create_server

        try:
            listening = socket.create_server((HOST, port))
        except OSError as error:
            raise CallFault(
                "--http",
                f"port {port} of {HOST} cannot be used ({error.strerror})",
                "give another, or 0 for a free one",
            ) from None
        self._waitress: Any = create_server(
            call, sockets=[listening], threads=6, ident=None, connection_limit=100,
            channel_timeout=20, cleanup_interval=10, max_request_header_size=16384,
            max_request_body_size=65536, clear_untrusted_proxy_headers=True, asyncore_use_poll=True,
        )  # fmt: skip
        self.port = int(listening.getsockname()[1])
        self.url = f"http://{HOST}:{self.port}/"
        self.hosts = frozenset({f"{HOST}:{self.port}", f"localhost:{self.port}"})

    def run(self) -> None:
        """Serve until `close`."""
        self._waitress.run()

    def close(self) -> None:
        """End `run`, from another thread."""
        from waitress import wasyncore

        held = self._waitress
        held.task_dispatcher.shutdown(timeout=1.0)
        # in the thread that serves, between two rounds of its loop
        held.trigger.pull_trigger(lambda: wasyncore.close_all(held._map, ignore_all=True))
