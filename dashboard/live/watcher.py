"""Watches one session for its pages: follows it in a thread, analyses it, and answers what pages ask."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from analysis.live.live_state import LiveState
from dashboard.live.conversion_panel import ConversionPanel
from dashboard.live.follower_thread import FollowerThread
from dashboard.live.load_display import draw_rig
from dashboard.live.publisher import Publisher
from dashboard.text.units import METRIC, Units

STUCK_S = 1.0  # time without a tick after which pages show that this server is behind


class Watch:
    """One session with all that its live pages need.  Raises UserFault if it cannot be opened.

    path: folder of the session.
    live: the analysis of the session so far.
    publisher: sends results to the pages.
    follower: the thread that reads the session.
    conversion: the planned conversion of its rig.
    """

    def __init__(
        self, path: Path, run: str = "run", log: Callable[[Exception], None] | None = None,
        clock: Callable[[], float] = time.monotonic, shown: Units = METRIC,
    ) -> None:  # fmt: skip
        self.path, self._shown = path, shown
        self.live = LiveState(path)
        self.publisher = Publisher(live=self.live, run=run, shown=shown)
        follower = FollowerThread(live=self.live, publisher=self.publisher, clock=clock, log=log)
        self.follower = follower
        self.conversion = ConversionPanel(self.live, shown, log)
        self.start, self.stop, self.tick = follower.start, follower.stop, follower.tick

    @property
    def ticked(self) -> float | None:
        """When the last tick of the follower was, s of its clock; None before the first."""
        return self.follower.ticked

    @property
    def finished(self) -> bool:
        """Whether the recording is over and all of it has been read."""
        return self.follower.finished

    def time_s(self) -> float:
        """The time of the session now, s."""
        return self.live.recording.now_s(self.follower.clock())

    def since(self, seq: int, version: int, span: str) -> bytes:
        """The answer to a page as JSON, see `Board.since`; it shows PAGE IS BEHIND while the follower is
        late."""
        late_s = self.follower.late_s()
        if late_s is None or late_s > STUCK_S:
            self.publisher.waiting(late_s)
        return self.publisher.board.since(seq, version, span)

    def drawing(self, width: int) -> tuple[str, int]:
        """The rig in its present position as SVG, `width` pixels wide, and the number of this
        drawing."""
        rig = self.live.rig_now
        return draw_rig(rig.model, rig.stands_m, width, self._shown.name), rig.drawing
