"""The live page over a session, growing or finished, or over a folder of them.

Served to this machine alone, or with --share to one network for those who have a code. Prints
the URL, and serves until Ctrl-C.
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
LINGERS_S = 3.0  # so that pages learn that the recording has stopped


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("path", metavar="PATH", help="a session, or a folder of sessions")
    add_http(parser)
    add_share(parser)
    add_units(parser)
    # for `record --watch` and `demo`: wait for the session to appear, end soon after it is sealed
    parser.add_argument("--until-sealed", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument(
        "--rig", metavar="RIG", action="append", default=[],
        help="a rig file that the review page may take for a what-if; may be given several times",
    )  # fmt: skip


def add_http(parser: argparse.ArgumentParser) -> None:
    """`--http PORT`, None where it is not given."""
    parser.add_argument(
        "--http", metavar="PORT", type=_port,
        help="the page's port; 0, the default, takes a free one",
    )  # fmt: skip


def add_share(parser: argparse.ArgumentParser) -> None:
    """`--share ADDRESS`, None where it is not given."""
    parser.add_argument(
        "--share", metavar="ADDRESS",
        help="serve on this address of this machine, to those who have a code",
    )  # fmt: skip


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: give 0 to 65535")
    return int(text)


def run(args: argparse.Namespace) -> int:
    path = Path(args.path)
    address = None
    if args.share is not None:
        from dashboard.web.sharing import address_to_share

        address = address_to_share(args.share)
    if args.until_sealed:
        _wait_for(path)
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
                target=_end_when_over, args=(hub, server, ended), name="until-sealed", daemon=True
            ).start()
        with _signals_end(server):  # before the URL is told: who reads it may end us at once
            printer = TerminalPrinter()  # the page is served whatever the terminal takes
            printer.line(server.url if sharing is None else shared(sharing), out=True)
            server.run()
            printer.end()
        ended.set()
    finally:
        hub.close()
    return 0


def shared(sharing: Any) -> str:
    """Both links, each alone on a line, and the viewers' as a picture."""
    from dashboard.web import qr

    viewer, operator = sharing.url("viewer"), sharing.url("operator")
    picture = qr.lines(viewer)
    tty = sys.stdout is not None and sys.stdout.isatty()
    if tty:  # dark on light, whatever the terminal's colours
        picture = [f"\x1b[30;107m{line}\x1b[0m" for line in picture]
    try:
        "".join(picture).encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        picture = ["(this terminal cannot show the picture; the operator's page has it)"]
    return "\n".join([
        viewer, "  for viewers, who see everything and can change nothing; as a picture:",
        *picture,
        operator, "  for the operator, who also marks, zeroes and ends: give it to nobody else.",
        "  Both end with this run, and a browser is let in for 12 h. Not secret: the page goes over "
        "plain HTTP.", "  Phones need their screen set to stay on.",
    ])  # fmt: skip


def rigs(names: list[str]) -> list[Path]:
    """The rig files of what-ifs; what is wrong with one is said now, not on the page."""
    from analysis.rig_file.load import load_rig

    found = [Path(name) for name in names]
    for path in found:
        load_rig(path)
    return found


def _wait_for(path: Path) -> None:
    """Until the recorder that was just started has made the session."""
    until = time.monotonic() + APPEARS_WITHIN_S
    while time.monotonic() < until and not (path / "datapackage.json").exists():
        time.sleep(0.02)


def _end_when_over(hub: Any, server: Any, ended: threading.Event) -> None:
    watch = hub.get("")
    while not ended.wait(0.1):
        if watch.finished:
            ended.wait(LINGERS_S)
            server.close()
            return


@contextlib.contextmanager
def _signals_end(server: Any) -> Any:
    """Ctrl-C and SIGTERM end the serving, in order and with 0."""

    def stop(number: int, frame: Any) -> None:
        threading.Thread(target=server.close, daemon=True).start()

    before = {s: signal.signal(s, stop) for s in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
