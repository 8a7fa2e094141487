"""Whether a session is complete and unchanged since it was sealed.

Prints complete, cut short, changed or growing, and the digest of its seal, which a person can
write down. Exit status 0 only for complete, 1 for the other states, 2 if it cannot be read.
"""

from __future__ import annotations

import argparse

from logger.errors import SessionFault, one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", metavar="SESSION", help="the session's folder")
    parser.add_argument(
        "--repair", action="store_true",
        help="a session that was cut short: put its torn end aside and seal it",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    from logger.session.verify import REFUSED, repair, verify

    found = (repair if args.repair else verify)(args.session)
    if found.state == "unreadable":
        raise SessionFault(args.session, "is unreadable: " + "; ".join(found.details[:3]))
    print(found.state)
    if found.digest is not None:
        print(f"digest {found.digest}")
    for line in (*found.details, *([REFUSED] if found.state == "changed" else [])):
        print(f"  {one_line(line)}")
    return 0 if found.state == "complete" else 1
