"""Checks a rig from a request in a thread of its own, with a time limit.

A rig with hundreds of pulleys takes seconds to check, and the writer thread must write rows
meanwhile.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from logger.errors import UserFault
from logger.recorder.request_inbox import Request

# longest time for a check; chosen by us: the largest rig that is allowed, 400 stations, takes 2 s
MOST_CHECK_S = 15.0


@dataclass(frozen=True)
class RigVerdict:
    """The result of a check."""

    refusal: str  # why the rig is refused, one line; "" if it is taken
    answer: object = None  # what the check returned, e.g. the rig's alarm table; None: nothing


@dataclass
class PendingRigCheck:
    """A check of a rig that goes on in its own thread; `verdict` says how it came out."""

    request: Request  # that asked for the rig
    name: str  # file name of the rig in the session
    data: bytes  # text of the rig file, UTF-8
    check_rig: Callable[[str, str], object]  # see `record`
    _began: float = field(default_factory=time.monotonic)  # when it began, s
    _verdict: RigVerdict | None = None  # None while it goes on

    def start(self) -> None:
        """Begin the check; returns at once."""
        threading.Thread(target=self._run, name=f"check {self.name}", daemon=True).start()

    def verdict(self) -> RigVerdict | None:
        """The result; None while the check goes on.  Beyond the time limit, a refusal."""
        if self._verdict is None and time.monotonic() - self._began > MOST_CHECK_S:
            return RigVerdict(
                f"its check takes longer than {MOST_CHECK_S:.0f} s; write a smaller rig"
            )
        return self._verdict

    def _run(self) -> None:
        try:
            answer = self.check_rig(self.data.decode("utf-8"), self.name)
        except UserFault as fault:
            self._verdict = RigVerdict(str(fault))
        except Exception as error:  # no request may end the recording
            self._verdict = RigVerdict(f"cannot be done ({type(error).__name__})")
        else:
            self._verdict = RigVerdict(answer if isinstance(answer, str) else "", answer)
