"""Limits the time and the number of connections of a waitress server.

Waitress reads requests without a thread each and passes complete ones to its workers.  It sets no
limit to a request that arrives too slowly, to an answer that the client does not read (a worker
waits where such answers pile up), and to the connections of one address.  This module does.
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
IDLE_S = 20  # a connection without a request is closed after this time
CHECK_EVERY_S = 2
MOST_CONNECTIONS = 240
MOST_OF_ONE_ADDRESS = 60  # a browser opens six


class HttpConnection(HTTPChannel):  # type: ignore[misc]
    """One connection, with the times that its limits need.

    coming_since: when the first byte of an incomplete request came, s of the monotonic clock.
    unsent_since: since when an answer waits for the client to read it, s of the monotonic clock.
    served: complete requests so far.
    """

    coming_since: float | None = None
    unsent_since: float | None = None
    served = 0

    def received(self, data: bytes) -> bool:
        """Take bytes from the client; return whether waitress goes on reading, as its own method
        does."""
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

    def late(self, now_s: float) -> bool:
        """Whether a request takes too long to arrive, or its answer too long to be read, at now_s of the
        monotonic clock."""
        if not self.total_outbufs_len:
            self.unsent_since = None
        elif self.unsent_since is None:
            self.unsent_since = now_s
        return any(
            since is not None and now_s - since > within_s
            for since, within_s in (
                (self.coming_since, REQUEST_WITHIN_S), (self.unsent_since, ANSWER_WITHIN_S),
            )
        )  # fmt: skip


class PageServer(TcpWSGIServer):  # type: ignore[misc]
    """A waitress server on a socket that already listens, with limits to its connections."""

    channel_class = HttpConnection

    def __init__(self, app: Callable[..., Any], listening: socket.socket, threads: int) -> None:
        adjusted = Adjustments(
            threads=threads, ident=None, connection_limit=MOST_CONNECTIONS + 20,
            channel_timeout=IDLE_S, cleanup_interval=CHECK_EVERY_S, max_request_header_size=16384,
            max_request_body_size=65536, clear_untrusted_proxy_headers=True, asyncore_use_poll=True,
        )  # fmt: skip
        quiet = logging.getLogger("waitress")  # else it would write on the terminal of a recording
        quiet.addHandler(logging.NullHandler())
        quiet.propagate = False
        place = (listening.family, listening.type, listening.proto, listening.getsockname())
        super().__init__(app, _sock=listening, adj=adjusted, sockinfo=place, bind_socket=False)

    def handle_accept(self) -> None:
        """Accept a waiting connection, or close it at once where the limits leave no room."""
        try:
            pair = self.accept()
            if pair is None:
                return
            connection, address = pair
            self.set_socket_options(connection)
        except OSError:
            return
        if not self._make_room(address[0]):
            connection.close()
            return
        HttpConnection(self, connection, address, self.adj, map=self._map)

    def _make_room(self, address: str) -> bool:
        """Whether one more connection of this address is accepted.

        Where a limit is reached, the oldest connection that has sent no complete request is closed.
        """
        everyone = list(self.active_channels.values())
        own = [channel for channel in everyone if channel.addr[0] == address]
        for group, most in ((own, MOST_OF_ONE_ADDRESS), (everyone, MOST_CONNECTIONS)):
            if len(group) < most:
                continue
            silent = [c for c in group if not c.served]
            if not silent:
                return False
            min(silent, key=lambda c: c.creation_time).handle_close()
            if group is own:
                return True
        return True

    def maintenance(self, now: float) -> None:
        """Close idle and late connections; waitress calls it with now, s since 1970."""
        super().maintenance(now)
        now_s = time.monotonic()
        for channel in list(self.active_channels.values()):
            if channel.late(now_s):
                # close at once: waitress closes a connection when it is writable, and one whose
                # client reads no answer never is
                channel.handle_close()
