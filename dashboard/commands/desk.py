"""Serves the whole job on pages: sensors, rig, check, haul, result, sessions, in one folder and at one address.

The page can be opened on this machine alone; with --share, on one network, by those who have a code.
The link that is printed is the operator's: it ends with a code, without which the pages show everything and
change nothing. What is made there are the same files that the other commands read. Ctrl-C ends the pages; a
recording goes on, and the next desk shows it.
"""

from __future__ import annotations

import argparse
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.watch import (
    add_http,
    add_share,
    end_when_over,
    shared,
    signals_end,
    wait_for,
)
from dashboard.text.console import add_units, units
from dashboard.text.terminal_printer import TerminalPrinter
from logger.errors import CallFault

if TYPE_CHECKING:
    from dashboard.desk_server.server import DeskServer


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul desk`."""
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", default=".",
        help="folder of rigs, sensors files and sessions (default: the one you are in)",
    )  # fmt: skip
    add_http(parser)
    add_share(parser)
    add_units(parser)
    # used by `demo`: wait for this session, lead to its live page, and end soon after it is sealed
    parser.add_argument("--until-sealed", metavar="SESSION", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Run `haul desk` and return the exit status."""
    address = None
    if args.share is not None:
        from dashboard.web.sharing import address_to_share

        address = address_to_share(args.share)
    folder = Path(args.folder)
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "there is no such folder"
        raise CallFault(folder, what, "make the folder, or give one that exists")
    from dashboard.desk_server.server import DeskServer
    from dashboard.web.sharing import Sharing

    sharing = None if address is None else Sharing(address)
    server = DeskServer(folder.resolve(), args.http or 0, sharing, units(args))
    ended = threading.Event()
    try:
        # before the link is printed: its reader may send a signal at once
        with signals_end(server):
            session = args.until_sealed
            if session is not None and not _follows(server, session, ended):
                return 0
            printer = TerminalPrinter()  # the pages are served whatever the terminal takes
            printer.line(_link(server, session) if sharing is None else shared(sharing), out=True)
            server.run()
            printer.end()
    finally:
        ended.set()
        server.end()
    return 0


def _follows(server: DeskServer, session: str, ended: threading.Event) -> bool:
    """Whether the session appears; then the server ends soon after it is sealed, or when `ended` is set."""
    wait_for(server.desk.folder / session)
    if server.hub.get(session) is None:
        return False
    threading.Thread(
        target=end_when_over,
        args=(server.hub, session, server, ended),
        name="until-sealed",
        daemon=True,
    ).start()
    return True


def _link(server: DeskServer, session: str | None) -> str:
    """The operator's link: to the home page, or to the live page of a session."""
    from dashboard.desk.strip import session_address

    link = server.sharing.url("operator")
    return link if session is None else link.replace("/#", f"{session_address(session)}#")
