"""Ctrl-C and SIGTERM from the first line of the program on: no trace, 130 or 143.

Imported before anything slow.  Until `main` runs, a signal ends the process at once.  While it
runs, a signal raises KeyboardInterrupt, so that what a command began is cleaned up; a command that
must end in order calls `note` and looks at the names of the signals that came.
"""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType


SHELL_BASE = 128  # a shell's exit status of a process that a signal ended, less the signal's number
_last = [2]  # number of the signal that came last; SIGINT, which Python raises by itself


def _is_program() -> bool:
    """Whether this process is `haul`, and not a program that imports it."""
    spec = getattr(sys.modules.get("__main__"), "__spec__", None)
    name = sys.argv[0].replace("\\", "/").rpartition("/")[2] if sys.argv else ""
    return getattr(spec, "name", "") == "dashboard.cli" or name in ("haul", "haul.exe")


def _no_trace(kind: type[BaseException], error: BaseException, trace: object) -> None:
    if issubclass(kind, KeyboardInterrupt):
        os._exit(SHELL_BASE + _last[0])
    sys.__excepthook__(kind, error, error.__traceback__)


def _no_trace_unraised(problem: sys.UnraisableHookArgs) -> None:
    # an interrupt that fell where no exception can pass would be lost
    if isinstance(problem.exc_value, KeyboardInterrupt):
        os._exit(SHELL_BASE + _last[0])
    sys.__unraisablehook__(problem)


if _is_program():
    sys.excepthook = _no_trace
    sys.unraisablehook = _no_trace_unraised

# after the hooks, because these take some milliseconds
import signal  # noqa: E402
from contextlib import contextmanager  # noqa: E402

NUMBERS = (signal.SIGINT, signal.SIGTERM)

_names: list[str] = []  # of the signals that came
_raises = True  # whether a signal raises KeyboardInterrupt


def status_of(name: str) -> int:
    """The exit status for the name of a signal: 130 for SIGINT, 143 for SIGTERM."""
    return SHELL_BASE + signal.Signals[name]


def last_status() -> int:
    """The exit status for the last signal that came; 130 if none did."""
    return status_of(_names[-1] if _names else "SIGINT")


def raised() -> bool:
    """Whether a signal came that raised KeyboardInterrupt."""
    return _raises and bool(_names)


def note() -> list[str]:
    """From now on a signal raises nothing, but appends its name to the list that is returned."""
    global _raises
    _raises = False
    return _names


@contextmanager
def handled() -> Iterator[None]:
    """In this context a signal raises KeyboardInterrupt, or is noted after `note`.

    Outside the main thread, and for a signal that this process ignores, nothing changes.  At the
    end of the program the handlers stay, so that a late signal changes no exit status.
    """
    global _raises
    before = {}
    _names.clear()
    _raises = True
    try:
        for number in NUMBERS:
            if signal.getsignal(number) is not signal.SIG_IGN:
                before[number] = signal.signal(number, _handle)
    except ValueError:  # not the main thread
        yield
        return
    try:
        yield
    finally:
        _raises = False
        if not _is_program():
            for number, handler in before.items():
                signal.signal(number, handler)


def _handle(number: int, frame: FrameType | None) -> None:
    _names.append(signal.Signals(number).name)
    _last[0] = number
    if _raises:
        raise KeyboardInterrupt


def _end_now(number: int, frame: FrameType | None) -> None:
    os._exit(SHELL_BASE + number)


if _is_program():
    for _number in NUMBERS:
        if signal.getsignal(_number) is not signal.SIG_IGN:
            signal.signal(_number, _end_now)
