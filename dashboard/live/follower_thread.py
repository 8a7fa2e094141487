"""Follows one session in a thread: reads its new rows, has them worked out, and keeps time."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable

from analysis.live.live_state import LiveState
from dashboard.live.publisher import Publisher
from logger.errors import UserFault
from logger.session.reader import Follower

TICK_S, IDLE_TICK_S = 0.05, 0.5
STROKES_EVERY_S, ESTIMATE_EVERY_S = 0.2, 0.4
LOADS_EVERY_S, CHANNELS_EVERY_S = 0.2, 0.4
SHARE = 0.1  # of the time that one piece of work takes at most


class Pace:
    """When a piece of work is due again.

    every_s: at most so often.
    due_s: by the clock of `run`; at the start at once.
    """

    def __init__(self, every_s: float) -> None:
        self.every_s, self.due_s = every_s, -math.inf

    def run(self, mono_s: float, work: Callable[[], None]) -> None:
        """Do it now; it is due again later where it took long: by processor time, since waiting for
        a busy machine costs nothing here and must not make the page older still."""
        began = time.thread_time()
        work()
        self.due_s = mono_s + max(self.every_s, (time.thread_time() - began) / SHARE)


class FollowerThread:
    """One session followed; per tick the work is that of the new rows.

    live, publisher: what takes the rows, and what tells of them.
    clock: monotonic, s.
    log: takes a fault of our own.
    strokes, estimate, loads, channels: when they are due.
    ticked: when the last tick was, by the clock; None before the first.
    finished: whether the recording is over and all of it was read.
    """

    def __init__(
        self, live: LiveState, publisher: Publisher, clock: Callable[[], float],
        log: Callable[[Exception], None] | None,
    ) -> None:  # fmt: skip
        self.live, self.publisher, self.clock, self.log = live, publisher, clock, log
        self._rows = Follower(live.path)
        self.strokes, self.estimate = Pace(STROKES_EVERY_S), Pace(ESTIMATE_EVERY_S)
        self.loads, self.channels = Pace(LOADS_EVERY_S), Pace(CHANNELS_EVERY_S)
        self.ticked: float | None = None
        self.finished = False
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Follow in a thread of its own until `stop`."""
        self._thread = threading.Thread(target=self._run, name="follower", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(2.0)

    def _run(self) -> None:
        while True:
            try:
                self.tick()
            except UserFault as fault:
                self.publisher.fault(str(fault))
            except Exception as error:
                self.publisher.fault("our own fault: nothing is followed any more; see the log")
                if self.log is not None:
                    self.log(error)
                return
            if self._stop.wait(IDLE_TICK_S if self.finished else TICK_S):
                return

    def tick(self) -> None:
        """One round: read what is new, work out, put it on the board.  Raises SessionFault."""
        mono_s, live, publisher = self.clock(), self.live, self.publisher
        live.recording.look(mono_s)  # first: after the last row nothing comes, so none is missed
        news = live.take(self._rows.read(), mono_s, publisher.board.lock)
        publisher.head()
        over = live.recording.alive(mono_s).over
        last = over and (news or not self.finished)
        estimated = last or (not self.finished and mono_s >= self.estimate.due_s)
        if estimated or (not self.finished and mono_s >= self.strokes.due_s):
            self.strokes.run(mono_s, live.find_strokes)
        if estimated:
            self.estimate.run(mono_s, lambda: publisher.estimate(live.estimate()))
        self.finished = over
        moment = live.moment(mono_s)
        publisher.now(moment)
        if over or mono_s >= self.loads.due_s:
            self.loads.run(mono_s, lambda: publisher.loads(moment))
        if over or mono_s >= self.channels.due_s:
            self.channels.run(mono_s, lambda: publisher.channels(moment))
        publisher.fault(None)
        self.ticked = mono_s

    def late_s(self) -> float | None:
        """How long ago the last tick was, 0 when there is nothing more to follow; None before the first."""
        if self.ticked is None:
            return None
        return 0.0 if self.finished else self.clock() - self.ticked
