"""Follows one session in a thread: reads new rows, has them analysed, and sends the results to pages."""

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
SHARE = 0.1  # of processor time that one kind of work takes at most


class Pace:
    """Decides when one kind of work is due again.

    every_s: least time between two runs, s.
    due_s: when it is due, s of the clock that `run` is called with; at first it is due at once.
    """

    def __init__(self, every_s: float) -> None:
        self.every_s, self.due_s = every_s, -math.inf

    def run(self, mono_s: float, work: Callable[[], None]) -> None:
        """Do the work at mono_s of the monotonic clock, and set when it is due again.

        Work that takes long is done more seldom, so that it takes at most SHARE of the time.  Processor
        time counts: on a busy machine the thread waits at no cost, and must not run even more seldom.
        """
        began = time.thread_time()
        work()
        self.due_s = mono_s + max(self.every_s, (time.thread_time() - began) / SHARE)


class FollowerThread:
    """The thread that follows one session.  Each tick takes time in proportion to the new rows.

    live: the analysis of the session so far; takes new rows.
    publisher: sends results to the pages.
    clock: a monotonic clock, s.
    log: takes an exception of our own; None: it is not logged.
    strokes: when strokes are searched again.
    estimate: when the estimates are computed again.
    loads: when the loads of strands and parts are sent again.
    channels: when the channels are sent again.
    ticked: when the last tick was, s of the clock; None before the first.
    finished: whether the recording is over and all of it has been read.
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
                self.publisher.fault(
                    "our own fault: the program failed and this page no longer follows the session; see the log"
                )
                if self.log is not None:
                    self.log(error)
                return
            if self._stop.wait(IDLE_TICK_S if self.finished else TICK_S):
                return

    def tick(self) -> None:
        """One round: read new rows, analyse what is due, send the results.  Raises SessionFault."""
        mono_s, live, publisher = self.clock(), self.live, self.publisher
        live.recording.look(
            mono_s
        )  # before the rows are read, so that the last rows are not missed
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
        """Time since the last tick, s: 0 once the session is finished, None before the first tick."""
        if self.ticked is None:
            return None
        return 0.0 if self.finished else self.clock() - self.ticked
