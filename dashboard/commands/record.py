"""Record from the ports of a sensors file until Ctrl-C, SIGTERM or the time given.

The rig and the sensors file are checked before any port opens. Each row is on the disk within
1 s; the session is sealed at the end.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dashboard.commands.common import add_units, positive, units
from dashboard.commands.watch import add_http
from dashboard.units import Units
from logger.errors import CallFault, one_line
from logger.sensors import Sensors, for_recording, load_sensors

if TYPE_CHECKING:
    import subprocess

    from logger.alarms import AlarmRow
    from logger.recorder import Outcome, Status


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rig", metavar="RIG", help="the rig file")
    parser.add_argument("sensors", metavar="SENSORS", help="the sensors file, with port and baud")
    parser.add_argument("--out", metavar="DIR", required=True, help="a new folder, the session")
    parser.add_argument(
        "--for", dest="for_s", metavar="S", type=positive("seconds"),
        help="stop after this many seconds from the start",
    )  # fmt: skip
    parser.add_argument(
        "--wait", action="store_true", help="if no port opens, keep trying instead of ending"
    )
    parser.add_argument(
        "--watch", action="store_true", help="serve the live page too, in a process of its own"
    )
    add_http(parser)
    add_units(parser)
    # the demo's way in: the truth that its devices were given, and an end when the demo is gone
    parser.add_argument("--simulation-true", metavar="FILE", help=argparse.SUPPRESS)
    parser.add_argument("--with-parent", action="store_true", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    from analysis.alarm_table import limit_rows
    from analysis.rig import load_rig
    from analysis.roles import check_places

    shown = units(args)
    if args.http is not None and not args.watch:
        raise CallFault("record", "--http is of use with --watch alone", "add --watch")
    sensors = load_sensors(args.sensors)
    for_recording(sensors)
    rig = load_rig(args.rig)
    check_places(rig, sensors)
    truth = None if args.simulation_true is None else _truth(args.simulation_true)
    from logger.recorder import record

    if args.with_parent:
        from dashboard.commands.processes import end_with_parent

        end_with_parent()
    alarms = (*alarm_rows(sensors), *limit_rows(rig, sensors))
    line = StatusLine(sensors, shown, [_alarm(row, sensors, shown) for row in alarms])
    page = _page(args.out, args.http) if args.watch else None
    try:
        outcome = record(
            args.rig, args.sensors, args.out, for_s=args.for_s, wait=args.wait,
            alarms=alarms, simulation_true=truth, status=line.show,
            check_rig=lambda text, name: rig_table(sensors, text, name),
        )  # fmt: skip
    except BaseException:
        if page is not None:
            page.kill()
        raise
    line.end()
    print("\n".join(ended(outcome)))
    return 0 if outcome.state == "sealed" else 1


def _page(out: str, port: int | None) -> subprocess.Popen[str] | None:
    """The live page in a process of its own, which ends by itself; whatever it does, recording goes on."""
    from dashboard.commands.processes import start

    try:
        return start(["watch", out, "--http", str(port or 0), "--until-sealed"])
    except OSError as error:
        _tell(f"no live page: {error.strerror}")
        return None


def alarm_rows(sensors: Sensors) -> tuple[AlarmRow, ...]:
    """The plain table that the recorder judges by: the levels that the sensors file states."""
    from logger.alarms import HOLD_S, AlarmRow

    return tuple(
        AlarmRow(
            channel.name, channel.name, caution=channel.warn_at, stop=channel.stop_at, hold_s=HOLD_S
        )
        for channel in sensors.channels
        if channel.warn_at is not None or channel.stop_at is not None
    )


def rig_table(sensors: Sensors, text: str, name: str) -> tuple[AlarmRow, ...]:
    """What the recorder asks before it takes a rig: its alarm table; raises a UserFault."""
    from analysis.alarm_table import limit_rows
    from analysis.rig import parse_rig
    from analysis.roles import check_places

    rig = parse_rig(text, name)
    check_places(rig, sensors)
    return (*alarm_rows(sensors), *limit_rows(rig, sensors))


def ended(outcome: Outcome) -> list[str]:
    """What a recording came to, as lines."""
    counts = ", ".join(
        f"{one_line(name)} {n}" + (f" ({outcome.drops[name]} dropped)" if outcome.drops[name] else "")
        for name, n in outcome.readings.items()
    )
    lines = [
        f"{outcome.path}: {outcome.state} after {outcome.duration_s:.1f} s ({outcome.reason}); "
        f"readings: {counts}"
    ]
    if outcome.digest:
        lines.append(f"digest {outcome.digest}")
    if outcome.disk:
        lines.append(f"! {one_line(outcome.disk)}; when there is room: haul verify --repair")
    return lines


class StatusLine:
    """One line on a terminal, written over; on a pipe nothing, so that logs stay short."""

    def __init__(self, sensors: Sensors, shown: Units, first: Sequence[str] = ()) -> None:
        self.sensors, self.shown, self.first = sensors, shown, first
        self.on = sys.stderr is not None and sys.stderr.isatty()
        self.width = 0

    def show(self, status: Status) -> None:
        for line in self.first:  # said once a port is open: a fault before has the one line
            _tell(line)
        self.first = ()
        if self.on:
            line = status_text(status, self.sensors, self.shown)[:200]
            print("\r" + line.ljust(self.width), end="", file=sys.stderr, flush=True)
            self.width = len(line)

    def end(self) -> None:
        if self.on and self.width:
            _tell("")


def status_text(status: Status, sensors: Sensors, shown: Units) -> str:
    """The state of a recording on one line: latest values, readings, drops, what is wrong."""
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


def _alarm(row: AlarmRow, sensors: Sensors, shown: Units) -> str:
    """The levels of one row as the channel will read them, and as the thing at risk feels them."""
    text = shown.force if sensors.by_name(row.channel).quantity == "force" else shown.length
    if (row.gain, row.offset) == (1.0, 0.0):
        caution, stop = ("none" if v is None else text(v) for v in (row.caution, row.stop))
        return f"alarm {one_line(row.label)}: caution {caution}, stop {stop}"
    levels = [
        f"{word} at {text((level - row.offset) / row.gain)} of {row.channel} ({text(level)} on it)"
        for word, level in (("caution", row.caution), ("stop", row.stop))
        if level is not None
    ]
    return one_line(f"alarm {row.label}: {', '.join(levels)}")


def _tell(text: str) -> None:
    # a terminal that is gone ends no recording
    with contextlib.suppress(OSError):
        print(text, file=sys.stderr)


def _truth(file: str) -> dict[str, Any]:
    import json

    from logger.tables import read_text

    try:
        found = json.loads(read_text(file, CallFault))
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise CallFault(file, "is not a JSON object", "give what the demo wrote")
    return found
