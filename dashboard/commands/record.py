"""Records the channels of a sensors file until Ctrl-C, SIGTERM or the end of --for.

The rig file and the sensors file are checked before a port opens. Each reading is safe on the disk within
1 s. At the end the session is sealed, so that a later change can be detected.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard import stop_signals
from dashboard.commands.file_order import check_order
from dashboard.commands.watch import add_http, add_share
from dashboard.text.alarm_headline import STOP, AlarmWords
from dashboard.text.alarm_levels import check_levels, row_text
from dashboard.text.console import add_units, positive, units
from dashboard.text.terminal_printer import TerminalPrinter
from dashboard.text.units import Units
from logger.channels.channel import Sensors
from logger.channels.sensors_file import for_recording, load_sensors
from logger.errors import CallFault, PortFault, UserFault, one_line
from logger.recorder.alarms import LEVELS, AlarmRow, LatchedAlarms, alarm_rows, split_alarm_text

if TYPE_CHECKING:
    import subprocess

    from logger.recorder.disk_retry import EventRow
    from logger.recorder.recorder import Outcome, RecorderStatus


LINE_S = 0.5
BELL_S = 2.0
WRONG = 2  # exit status for a fault that the user can correct
MOST_OPEN = 2  # alarms on the line that is written over, chosen by us: more would hide the readings
MOST_OVERRIDES = 100  # memory only: a check has fewer lines
_NUMBER = re.compile(r"[0-9]+")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul record`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file")
    parser.add_argument(
        "sensors", metavar="SENSORS", help="the sensors file, with port and baud of each channel"
    )
    parser.add_argument(
        "--out", metavar="DIR", required=True, help="folder to make, for the session"
    )
    parser.add_argument(
        "--for", dest="for_s", metavar="S", type=positive("seconds"),
        help="stop S seconds after the start",
    )  # fmt: skip
    parser.add_argument(
        "--wait",
        action="store_true",
        help="if no port opens, keep trying instead of ending with a fault",
    )
    parser.add_argument(
        "--watch",
        action="store_true",
        help="show the live page too, as `haul watch` does; --http and --share belong to it",
    )
    add_http(parser)
    add_share(parser)
    add_units(parser)
    # for the demo: the true values of its devices, and an end when the demo's process is gone
    parser.add_argument("--simulation-true", metavar="FILE", help=argparse.SUPPRESS)
    parser.add_argument("--with-parent", action="store_true", help=argparse.SUPPRESS)
    # for the desk: what a person overruled at its check before the pull, once each. It is not offered to others:
    # the event says that a check was made, which a typed text alone does not show
    parser.add_argument(
        "--override", metavar="TEXT", action="append", default=[], help=argparse.SUPPRESS
    )


def run(args: argparse.Namespace) -> int:
    """Run `haul record` and return the exit status."""
    # before numpy: its threads would take both cores of a small machine from the writer thread
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from analysis.mechanics.model import model
    from analysis.prediction.alarm_headlines import parts_at_risk
    from analysis.prediction.alarm_rows import late_cautions, limit_rows, part_texts
    from analysis.rig_file.load import load_rig
    from analysis.signals.channel_roles import check_places

    shown = units(args)
    for option, given in (("--http", args.http), ("--share", args.share)):
        if given is not None and not args.watch:
            raise CallFault(
                "record",
                f"{option} sets up the live page, which --watch starts",
                "write --watch too",
            )
    if args.share is not None:
        from dashboard.web.sharing import address_to_share

        address_to_share(args.share)  # before a port opens
    check_order("record", args.rig, args.sensors)
    sensors = load_sensors(args.sensors)
    for_recording(sensors)
    check_levels(sensors)
    rig = load_rig(args.rig)
    check_places(rig, sensors)
    truth = None if args.simulation_true is None else _truth(args.simulation_true)
    from logger.machine.machine_watch import MachineWatch
    from logger.recorder.recorder import record

    if args.with_parent:
        from dashboard.child_processes import end_with_parent

        end_with_parent()
    alarms = (*alarm_rows(sensors), *limit_rows(rig, sensors))
    words, rig_model = AlarmWords(sensors, shown), model(rig)
    words.add(part_texts(rig_model), parts_at_risk(rig_model))
    first = [
        f"recording to {one_line(args.out)}; Ctrl-C ends it and seals, from elsewhere: kill {os.getpid()}",
        *(row_text(row, sensors, words.labels, shown) for row in alarms),
        *(f"! {one.text(shown)}" for one in late_cautions(sensors, alarms, words.labels)),
    ]
    signals = stop_signals.note()
    printer = TerminalPrinter()
    line = StatusLine(sensors, words, shown, first, printer=printer)
    page = _page(args.out, args.http, args.share, shown, printer) if args.watch else None
    try:
        outcome = record(
            args.rig, args.sensors, args.out, for_s=args.for_s, wait=args.wait,
            alarms=alarms, simulation_true=truth, status=line.show,
            check_rig=lambda text, name: rig_table(sensors, text, name, words),
            machine=MachineWatch(Path(args.out), args.for_s), reasons=signals,
            overrides=tuple(one_line(text) for text in args.override[:MOST_OVERRIDES]),
        )  # fmt: skip
    except BaseException as error:
        if page is not None:
            page.kill()
        if not isinstance(error, UserFault):
            printer.end()
            raise
        stopped = isinstance(error, PortFault) and bool(signals)
        text = (
            f"record: {signals[0]} came before a port was open: there is no session"
            if stopped
            else one_line(str(error), 1500)
        )
        printer.line(f"haul: {text}")  # not by `cli`, which would wait for the terminal
        printer.end()
        return stop_signals.last_status() if stopped else WRONG
    line.end()
    silent = without_reading(outcome)
    if silent:
        printer.bell()
    for text in (*ended(outcome), *silent):
        printer.line(text, out=True)
    printer.end()
    return 0 if outcome.state == "sealed" else 1


def _page(
    out: str, port: int | None, share: str | None, shown: Units, printer: TerminalPrinter
) -> subprocess.Popen[str] | None:
    """Start the live page in a process of its own, which ends by itself; a failure does not end the
    recording."""
    from dashboard.child_processes import start

    try:
        sharing = [] if share is None else ["--share", share]
        return start(["watch", out, "--http", str(port or 0), "--until-sealed",
                      "--units", shown.name, *sharing])  # fmt: skip
    except OSError as error:
        printer.line(f"the live page cannot be started ({error.strerror}); the recording goes on")
        return None


def rig_table(sensors: Sensors, text: str, name: str, words: AlarmWords) -> tuple[AlarmRow, ...]:
    """The alarm table of a rig that is to replace the present one; raises UserFault if it cannot be used.

    text, name: of its rig file.  The sentences of its alarms are added to `words`.
    """
    from analysis.mechanics.model import model
    from analysis.prediction.alarm_headlines import parts_at_risk
    from analysis.prediction.alarm_rows import limit_rows, part_texts
    from analysis.rig_file.load import parse_rig
    from analysis.signals.channel_roles import check_places

    rig = parse_rig(text, name)
    check_places(rig, sensors)
    rig_model = model(rig)
    words.add(part_texts(rig_model), parts_at_risk(rig_model))
    return (*alarm_rows(sensors), *limit_rows(rig, sensors))


def ended(outcome: Outcome) -> list[str]:
    """The end of a recording as lines: state, length, reason, readings, digest."""
    counts = ", ".join(
        f"{one_line(name)} {n}"
        + (f" ({outcome.drops[name]} dropped)" if outcome.drops[name] else "")
        for name, n in outcome.readings.items()
    )
    lines = [
        f"{outcome.path}: {outcome.state} after {outcome.duration_s:.1f} s ({outcome.reason}); "
        f"readings: {counts}"
    ]
    if outcome.digest:
        lines.append(f"digest {outcome.digest}")
    if outcome.disk:
        lines.append(
            f"! {one_line(outcome.disk)}; make room on the disk, then run haul verify --repair"
        )
    return lines


def without_reading(outcome: Outcome) -> list[str]:
    """A line for each channel that never gave a reading, to be printed last."""
    from analysis.messages.message import message

    return [
        message("channel_without_reading", channel=one_line(name, 60)).text()
        for name, count in outcome.readings.items()
        if not count
    ]


class StatusLine:
    """Prints the progress of a recording on standard error.

    On a terminal one line is written over and over, and shows what is wrong with ports and disk; on a
    pipe only news is printed, so that logs stay short, and a fault of a port or the disk when it comes
    and when it is over.  An alarm rings the bell, on a pipe too, because a terminal may be at its end;
    a stop level rings again until it is acknowledged or over.

    words: words of the alarms.
    first: lines that are printed once, before all others.
    printer: prints without waiting for the terminal.
    on: whether standard error is a terminal.
    latched: the alarms so far.
    """

    def __init__(
        self, sensors: Sensors, words: AlarmWords, shown: Units, first: Sequence[str] = (),
        clock: Callable[[], float] = time.monotonic, printer: TerminalPrinter | None = None,
    ) -> None:  # fmt: skip
        self.sensors, self.words, self.shown, self.first = sensors, words, shown, first
        self.printer = TerminalPrinter() if printer is None else printer
        self.on = sys.stderr is not None and sys.stderr.isatty()
        self._faults: dict[str, str] = {}
        self.latched = LatchedAlarms()
        self._clock = clock
        self._line_due = self._bell_due = 0.0

    def show(self, status: RecorderStatus) -> None:
        """Print what is new; the recorder calls this again and again."""
        first, self.first = self.first, ()
        # printed once a port is open: a fault before that prints its one line alone
        for line in first:
            self._print_line(line)
        for line in status.news:
            self._print_line(one_line(line))
        if not self.on:
            self._print_faults(status)
        for row in status.alarms:
            self._alarm(row)
        now = self._clock()
        ringing = any(one.level == STOP for one in self.latched.open().values())
        if ringing and now >= self._bell_due:
            self._bell_due = now + BELL_S
            self.printer.bell()
        if self.on and now >= self._line_due:
            self._line_due = now + LINE_S
            text = status_text(status, self.sensors, self.shown)
            self.printer.status(self._open_alarms() + text[:200])

    def _open_alarms(self) -> str:
        """The headlines of the alarms that are on and not acknowledged, the worst first, each uncut."""
        ordered = sorted(self.latched.open().values(), key=lambda one: (-one.level, one.time_s))
        said = (
            f"{LEVELS[one.level].upper()}: "
            + self.words.headline(one.channel, one.label, one.level, one.value)
            for one in ordered
            if one.level
        )
        return "".join(f"{text}  " for text in list(said)[:MOST_OPEN])

    def _print_faults(self, status: RecorderStatus) -> None:
        """Print each fault of a port or the disk when it comes, when it changes and when it is over."""
        from logger.recorder.recorder import OPENING

        faults = {f"port {url}": why for url, why in status.ports.items() if why != OPENING}
        faults["disk"] = status.disk
        for place, why in faults.items():
            before, self._faults[place] = self._faults.get(place, ""), why
            if _NUMBER.sub("", why) == _NUMBER.sub("", before):  # "no answer for 3 s" goes on
                continue
            if why and any(one_line(line).endswith(one_line(why)) for line in status.news):
                continue
            self._print_line(
                one_line(f"{place}: {why}" if why else f"{place}: well again, after: {before}")
            )

    def _alarm(self, row: EventRow) -> None:
        """Print an alarm or an acknowledgement, and ring the bell for an alarm."""
        if row.kind == "ack":
            before = self.latched.open()
            self.latched.ack(row.channel, row.text)
            over = sorted(before.keys() - self.latched.open().keys(), key=lambda key: key[1])
            labels = ", ".join(self.words.subject(*key, before[key].level).what for key in over)
            self._print_line(f"alarm acknowledged at {row.time_s:.1f} s: {labels or row.text}")
            return
        self.latched.alarm(row.channel, row.text, row.time_s, row.value)
        word, label = split_alarm_text(row.text)
        level = LEVELS.index(word) if word in LEVELS else 0
        at = f"at {row.time_s:.1f} s"
        if level:
            how = self.words.subject(row.channel, label, level).how
            headline = self.words.headline(row.channel, label, level, row.value)
            self._print_line(f"\a{word.upper()}: {headline}, {at}" + (f" ({how})" if how else ""))
        else:
            said = self.words.now(row.channel, label, row.value)
            self._print_line(f"alarm over: {said} {at}")
        if level == STOP:
            self._bell_due = self._clock() + BELL_S

    def _print_line(self, line: str) -> None:
        """Print a line that stays; the line that is written over begins again below it."""
        self._line_due = 0.0
        self.printer.line(line)

    def end(self) -> None:
        """Leave the line that is written over."""
        if self.on:
            self.printer.line("")


def status_text(status: RecorderStatus, sensors: Sensors, shown: Units) -> str:
    """The state of a recording on one line: latest values, readings, dropped lines, faults of ports
    and disk."""
    parts = [f"{status.time_s:7.1f} s"]
    for channel in sensors.channels:
        value = "no reading yet"
        with contextlib.suppress(ValueError):
            si = channel.si(float(status.latest[channel.name] or "none"))
            value = (shown.force if channel.quantity == "force" else shown.length)(si)
        count, lost = status.readings[channel.name], status.drops[channel.name]
        parts.append(f"{channel.name} {value} ({count}{f', {lost} dropped' if lost else ''})")
    parts += [f"PORT {url}: {why}" for url, why in status.ports.items() if why]
    if status.disk:
        parts.append(f"DISK: {status.disk}")
    return one_line("  ".join(parts))


def _truth(file: str) -> dict[str, Any]:
    import json

    from logger.toml_tables import read_text

    try:
        truth = json.loads(read_text(file, CallFault))
    except ValueError:
        truth = None
    if not isinstance(truth, dict):
        raise CallFault(file, "is not a JSON object", "give the file that the demo wrote")
    return truth
