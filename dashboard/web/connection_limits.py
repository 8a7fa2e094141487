"""Waitress with bounds in time and number, so that a slow or greedy client holds nothing.

Waitress takes requests in without a thread and hands whole ones to its workers.  What it leaves
open is closed here: a request that trickles in for ever, an answer that is never read (a worker
waits where many of them pile up), and connections that fill every place.
"""

from __future__ import annotations

import logging
import socket
import time
from collections.abc import Callable
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer

REQUEST_WITHIN_S = 10.0  # from the first byte of a request to its last
ANSWER_WITHIN_S = 90.0  # the largest answer is 5 MB: 0.5 Mbit/s is enough
IDLE_S = 20
LOOK_EVERY_S = 2
MOST_CONNECTIONS = 240
MOST_OF_ONE_ADDRESS = 60  # a browser opens six


class HttpConnection(HTTPChannel):  # type: ignore[misc]
    """One connection.  served: requests that came in whole."""

    coming_since: float | None = None
    unsent_since: float | None = None
    served = 0

    def received(self, data: bytes) -> bool:
        before = len(self.requests)
        going = bool(super().received(data))
        waiting = len(self.requests)
        if waiting > before:
            self.served += waiting - before
            self.coming_since = self.unsent_since = None
        if waiting > 1:  # no browser sends a second request before the answer to the first
            self.will_close = True
        if self.request is None:
            self.coming_since = None
        elif self.coming_since is None:
            self.coming_since = time.monotonic()
        return going

    def late(self, now: float) -> bool:
        """Whether a request takes too long to come in, or an answer to be taken."""
        if not self.total_outbufs_len:
            self.unsent_since = None
        elif self.unsent_since is None:
            self.unsent_since = now
        return any(
            since is not None and now - since > within
            for since, within in (
                (self.coming_since, REQUEST_WITHIN_S), (self.unsent_since, ANSWER_WITHIN_S),
            )
        )  # fmt: skip


class PageServer(TcpWSGIServer):  # type: ignore[misc]
    """Serves an application on a socket that listens already."""

    channel_class = HttpConnection

    def __init__(self, app: Callable[..., Any], listening: socket.socket, threads: int) -> None:
        adjusted = Adjustments(
            threads=threads, ident=None, connection_limit=MOST_CONNECTIONS + 20,
            channel_timeout=IDLE_S, cleanup_interval=LOOK_EVERY_S, max_request_header_size=16384,
            max_request_body_size=65536, clear_untrusted_proxy_headers=True, asyncore_use_poll=True,
        )  # fmt: skip
        quiet = logging.getLogger("waitress")  # else it writes on the terminal of a recording
        quiet.addHandler(logging.NullHandler())
        quiet.propagate = False
        place = (listening.family, listening.type, listening.proto, listening.getsockname())
        super().__init__(app, _sock=listening, adj=adjusted, sockinfo=place, bind_socket=False)

    def handle_accept(self) -> None:
        try:
            pair = self.accept()
            if pair is None:
                return
            connection, address = pair
            self.set_socket_options(connection)
        except OSError:
            return
        if not self._room(address[0]):
            connection.close()
            return
        HttpConnection(self, connection, address, self.adj, map=self._map)

    def _room(self, address: str) -> bool:
        """Whether one more is taken; the oldest that never asked anything gives up its place."""
        everyone = list(self.active_channels.values())
        own = [channel for channel in everyone if channel.addr[0] == address]
        for found, most in ((own, MOST_OF_ONE_ADDRESS), (everyone, MOST_CONNECTIONS)):
            if len(found) < most:
                continue
            silent = [c for c in found if not c.served]
            if not silent:
                return False
            min(silent, key=lambda c: c.creation_time).handle_close()
            if found is own:
                return True
        return True

    def maintenance(self, now: float) -> None:
        super().maintenance(now)
        moment = time.monotonic()
        for channel in list(self.active_channels.values()):
            if channel.late(moment):
                # at once: one that takes no answer is never writable, when waitress would close it
                channel.handle_close()
