"""Checks that a session is complete, and unchanged since it was sealed.

Prints complete, cut short (the recording was interrupted), changed or growing (it is being recorded),
and the digest of the seal, which you can write down to prove the record later. Exit status 0 for
complete, 1 for the other states, 2 if the session cannot be read.
"""

from __future__ import annotations

import argparse

from logger.errors import SessionFault, one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul verify`."""
    parser.add_argument("session", metavar="SESSION", help="the session's folder")
    parser.add_argument(
        "--repair", action="store_true",
        help="seal a session that was cut short; an incomplete end is moved to torn-tail.bin",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run `haul verify` and return the exit status."""
    from logger.session.verify import REFUSED, repair, verify

    checked = (repair if args.repair else verify)(args.session)
    if checked.state == "unreadable":
        raise SessionFault(args.session, "unreadable: " + "; ".join(checked.details[:3]))
    print(checked.state)
    if checked.digest is not None:
        print(f"digest {checked.digest}")
    for line in (*checked.details, *([REFUSED] if checked.state == "changed" else [])):
        print(f"  {one_line(line)}")
    return 0 if checked.state == "complete" else 1
