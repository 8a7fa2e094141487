"""Reads a stream of bytes, a file descriptor or a socket, in timed chunks.

A descriptor is read directly: pyserial's own read drops its bytes when the port is lost, and wakes
at every byte.
"""

from __future__ import annotations

import array
import contextlib
import select
import time
from collections.abc import Callable, Sequence
from typing import Any

from logger import clock
from logger.channels.channel import Channel
from logger.channels.modbus_registers import MODBUS
from logger.formats.line_ends import PAUSE, PAUSE_STEP_S
from logger.transports.base import CYCLE_S, STALL_S, Chunk, chunk_end, error_text

READ_BYTES = 4096
MOST_CHUNK = 65536
BUSY_BYTES = 8192  # bytes a cycle from which the stream is read without a pause
FULL_BYTES = 4095  # what a terminal's buffer of the Linux kernel holds (N_TTY_BUF_SIZE - 1)
# after an overflow: longest wait between two pieces of what the kernel still holds, and the time in
# which the device's own buffer follows; chosen by us: a USB bridge sends what it holds within 16 ms
PIECE_S, FOLLOWS_S = 0.005, 0.05
MOST_HELD = 262_144  # memory only: bytes read in one go after an overflow
LEAST_DOUBT = 128  # bytes; chosen by us: some lines before the place where bytes may be missing
ANSWER_S = 0.002  # speed only: an answer of Modbus in few chunks, and soon
RATE_S = 1.0  # time over which the stream's rate is taken; chosen by us: long against its lines


class Stream:
    """Reads one open stream until it ends.

    source: file descriptor or socket, as `select` takes it
    receive: reads at most that many bytes; b"" at the end of the stream
    waiting: returns how many bytes wait in the buffer of the terminal; None if it is no terminal
    byte_rate: bytes a second that the device can send, used before it is measured
    gather_s: time after the first byte in which one chunk takes further bytes, s
    """

    def __init__(
        self,
        source: Any,
        receive: Callable[[int], bytes],
        waiting: Callable[[], int] | None = None,
        byte_rate: float = 0.0,
    ) -> None:
        self._source, self._receive, self._waiting = source, receive, waiting
        self._byte_rate = byte_rate
        self.gather_s = CYCLE_S
        self._busy = False
        self._looked = self._counted_from = clock.awake()  # when the last read returned
        self._counted = 0
        self._pieces: list[bytes] = []
        self._size = 0
        self._lost: str | None = None
        self._doubt_from: int | None = None

    def read(self) -> Chunk:
        """Wait up to CYCLE_S for the first byte; unless the stream is busy, gather_s more, so that
        one chunk takes several lines."""
        self._pieces, self._size, self._lost, self._doubt_from = [], 0, None, None
        began, awake = clock.now(), clock.awake()
        more = False
        try:
            if not self._ready(CYCLE_S):
                self._busy = False
                self._count()
                return Chunk(began, began, b"")
            began, awake = clock.now(), clock.awake()
            if not self._busy:
                time.sleep(self.gather_s)
            more = self._drain()
        except BlockingIOError:
            pass
        except (OSError, ValueError) as error:
            self._lost = error_text(error)
        if not self._busy:
            self._busy = self._size >= BUSY_BYTES
        end = chunk_end(began, awake)
        self._count()
        return Chunk(
            from_s=began,
            to_s=end,
            content=b"".join(self._pieces),
            lost=self._lost,
            more=more,
            doubt_from=self._doubt_from,
        )

    def _count(self) -> None:
        """Measure the stream's rate, but not over a stall."""
        before, self._looked = self._looked, clock.awake()
        self._counted += self._size
        passed_s = self._looked - self._counted_from
        if self._looked - before >= STALL_S:
            self._counted, self._counted_from = 0, self._looked
        elif passed_s >= RATE_S:
            if self._counted:
                self._byte_rate = self._counted / passed_s
            self._counted, self._counted_from = 0, self._looked

    def _ready(self, wait_s: float) -> bool:
        return bool(select.select([self._source], [], [], wait_s)[0])

    def _take(self, most: int) -> bool:
        """Read one piece; False at the end of the stream."""
        data = self._receive(most)
        if not data:
            self._lost = "the other side closed it"
            return False
        self._pieces.append(data)
        self._size += len(data)
        return True

    def _drain(self) -> bool:
        """Read what waits; returns whether it stopped before the end of that."""
        looked = self._looked
        while self._size < MOST_CHUNK:
            if self._pieces and not self._ready(0):
                return False
            before = self._size
            if not self._take(READ_BYTES):
                return False
            # a stall may begin anywhere, between two pieces too
            if self._overflowed(looked, self._size - before):
                self._drain_after_overflow()
                return False
            looked = clock.awake()
            if self._busy and self._size >= READ_BYTES:
                return True
        return True

    def _overflowed(self, looked: float, taken: int) -> bool:
        """Whether the terminal's buffer was full after a stall, so that bytes may be lost.

        looked: when the read before this piece returned; taken: bytes of this piece.
        Without a stall a full buffer loses nothing: its writer waits, or it is emptied in time.
        """
        if self._waiting is None or clock.awake() - looked < STALL_S:
            return False
        with contextlib.suppress(OSError):
            return taken + self._waiting() >= FULL_BYTES
        return False

    def _drain_after_overflow(self) -> None:
        """Read what the kernel and the device still hold, and note from which byte on some may be
        missing.

        What waits was sent right after the stall began.  Then bytes are missing, then comes what is
        sent now.  So the missing piece lies behind what waits, or before what came during the
        reading.
        """
        began = clock.awake()
        while self._size < MOST_HELD and self._ready(PIECE_S):
            if not self._take(READ_BYTES):
                break
        came = 2 * self._byte_rate * (clock.awake() - began)
        if self._size >= MOST_HELD:  # the device sends on without a pause
            came = self._size - FULL_BYTES
        self._doubt_from = max(0, self._size - max(LEAST_DOUBT, int(came)))
        until = clock.awake() + FOLLOWS_S
        while self._lost is None and self._size < MOST_HELD:
            left = until - clock.awake()
            if left <= 0 or (self._ready(left) and not self._take(READ_BYTES)):
                break


def gather_s(channels: Sequence[Channel]) -> float:
    """The time in which one chunk of these channels' port takes further bytes, s.

    Where a silence ends a line, it is short, so that the silence can be measured; where registers are
    read, so that the next question soon follows the answer.
    """
    if channels[0].format == MODBUS:
        return ANSWER_S
    return PAUSE_STEP_S if channels[0].ends == PAUSE else CYCLE_S


def terminal_bytes(fd: int) -> Callable[[], int] | None:
    """A function that returns the bytes that wait in a terminal's buffer; None for no terminal."""
    try:
        import fcntl
        import termios

        termios.tcgetattr(fd)
    except (ImportError, OSError, ValueError, termios.error):
        return None

    def waiting() -> int:
        """Bytes that wait in the buffer."""
        count = array.array("i", [0])
        fcntl.ioctl(fd, termios.FIONREAD, count)
        return count[0]

    return waiting
