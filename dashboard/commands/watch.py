"""Shows the live page of a session, while it is recorded or afterwards, or a list of a folder's sessions.

The page can be opened on this machine alone; with --share, on one network, by those who have a code.
The link that is printed is the operator's: it ends with a code, without which a page shows everything and
changes nothing. Ctrl-C ends the page; a recording goes on.
"""

from __future__ import annotations

import argparse
import contextlib
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

from dashboard.text.console import add_units, units
from dashboard.text.terminal_printer import TerminalPrinter
from logger.errors import CallFault

APPEARS_WITHIN_S = 15.0
LINGERS_S = 3.0  # the server stays up so long, so that pages show that the recording has stopped


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul watch`."""
    parser.add_argument(
        "path", metavar="PATH", help="folder of a session, or a folder with several sessions"
    )
    add_http(parser)
    add_share(parser)
    add_units(parser)
    # used by `record --watch` and `demo`: wait for the session to appear, end soon after it is sealed
    parser.add_argument("--until-sealed", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument(
        "--rig", metavar="RIG", action="append", default=[],
        help="a rig file that the review page offers as a what-if; may be given several times",
    )  # fmt: skip


def add_http(parser: argparse.ArgumentParser) -> None:
    """Add `--http PORT`; None where it is not given."""
    parser.add_argument(
        "--http", metavar="PORT", type=_port,
        help="port of the page (default 0: a free one)",
    )  # fmt: skip


def add_share(parser: argparse.ArgumentParser) -> None:
    """Add `--share ADDRESS`; None where it is not given."""
    parser.add_argument(
        "--share", metavar="ADDRESS",
        help="address of this machine to share the page on, with those who have a code",
    )  # fmt: skip


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: give a number from 0 to 65535")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Run `haul watch` and return the exit status."""
    path = Path(args.path)
    address = None
    if args.share is not None:
        from dashboard.web.sharing import address_to_share

        address = address_to_share(args.share)
    if args.until_sealed:
        wait_for(path)
    if not path.exists():
        raise CallFault(path, "there is no such folder", "give the folder of a session")
    from dashboard.live.session_hub import Hub
    from dashboard.watch.server import FaultLog, Server
    from dashboard.web.sharing import Sharing

    hub = Hub(path, FaultLog(), rigs(getattr(args, "rig", None) or []), units(args))
    try:
        sharing = None if address is None else Sharing(address)
        server = Server(hub, args.http or 0, sharing)
        ended = threading.Event()
        if args.until_sealed and not hub.many:
            threading.Thread(
                target=end_when_over,
                args=(hub, "", server, ended),
                name="until-sealed",
                daemon=True,
            ).start()
        # before the URL is printed: its reader may send a signal at once
        with signals_end(server):
            printer = TerminalPrinter()  # the page is served whatever the terminal takes
            link = server.sharing.url("operator") if sharing is None else shared(sharing)
            printer.line(link, out=True)
            server.run()
            printer.end()
        ended.set()
    finally:
        hub.close()
    return 0


def shared(sharing: Any) -> str:
    """The text that is printed: both links, each alone on a line, and the viewers' as a QR code."""
    from dashboard.web import qr

    viewer, operator = sharing.url("viewer"), sharing.url("operator")
    picture = qr.lines(viewer)
    tty = sys.stdout is not None and sys.stdout.isatty()
    if tty:  # dark on light, whatever the terminal's colours
        picture = [f"\x1b[30;107m{line}\x1b[0m" for line in picture]
    try:
        "".join(picture).encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        picture = ["(this terminal cannot show the QR code; the operator's page shows it)"]
    return "\n".join([
        viewer, "  for viewers, who see everything and can change nothing; the same link as a QR code:",
        *picture,
        operator, "  for the operator, who can also mark, zero and end the recording: give it to nobody else.",
        "  Both links end with this run; a browser stays logged in for 12 h. The page goes over plain HTTP: "
        "others on the network can read it.", "  Phones need their screen set to stay on.",
    ])  # fmt: skip


def rigs(names: list[str]) -> list[Path]:
    """The paths of the rig files for what-ifs; raises RigFault now instead of later on the page."""
    from analysis.rig_file.load import load_rig

    paths = [Path(name) for name in names]
    for path in paths:
        load_rig(path)
    return paths


def wait_for(path: Path) -> None:
    """Wait until the recorder that was just started has made the session, at most
    APPEARS_WITHIN_S."""
    until = time.monotonic() + APPEARS_WITHIN_S
    while time.monotonic() < until and not (path / "datapackage.json").exists():
        time.sleep(0.02)


def end_when_over(hub: Any, name: str, server: Any, ended: threading.Event) -> None:
    """Close the server some seconds after the recording of a session is over, unless `ended` is set before."""
    watch = hub.get(name)
    while not ended.wait(0.1):
        if watch.finished:
            ended.wait(LINGERS_S)
            server.close()
            return


@contextlib.contextmanager
def signals_end(server: Any) -> Any:
    """Let Ctrl-C and SIGTERM close the server, so that the command ends with exit status 0."""

    def stop(number: int, frame: Any) -> None:
        """Close the server in another thread: closing waits for the thread that serves."""
        threading.Thread(target=server.close, daemon=True).start()

    before = {s: signal.signal(s, stop) for s in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
