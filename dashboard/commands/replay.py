"""Plays a session again on the live page, for training, at 1 to 20 times its pace.

A copy of the session grows in a temporary folder, with REPLAY in its title; the session itself is only
read. The page can be opened on this machine alone, at the URL that is printed. Ctrl-C ends it.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from pathlib import Path

from dashboard.commands.watch import add_http
from dashboard.text.console import add_units

SLOWEST, FASTEST = 1.0, 20.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul replay`."""
    parser.add_argument("session", metavar="SESSION", help="the session's folder")
    parser.add_argument(
        "--speed", metavar="N", type=_speed, default=1.0,
        help="how many times faster than it was recorded, 1 to 20 (default 1)",
    )  # fmt: skip
    add_http(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    """Run `haul replay` and return the exit status."""
    from dashboard.commands import watch
    from dashboard.watch.replay_copy import Replay

    with tempfile.TemporaryDirectory(prefix="haul-replay-") as work:
        replay = Replay(Path(args.session), Path(work), args.speed)
        try:
            replay.start()
            watched = argparse.Namespace(
                **{
                    **vars(args),
                    "path": str(replay.path),
                    "until_sealed": False,
                    "share": None,
                    "rig": [],
                }
            )
            return watch.run(watched)
        finally:
            replay.stop()


def _speed(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not SLOWEST <= value <= FASTEST:
        raise argparse.ArgumentTypeError(f"{text!r} is not a speed: give a number from 1 to 20")
    return value
