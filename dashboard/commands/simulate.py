"""Runs virtual devices for the ports of a sensors file: they send the readings of a simulated haul.

A port that is a path becomes a link to a pseudo-terminal; nothing may be at that path before. For a port
socket://127.0.0.1:PORT the program listens there. Each port is printed on a line. The devices send until
Ctrl-C, readings at rest once the haul is over.
"""

from __future__ import annotations

import argparse
import contextlib
import re
import sys
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.child_processes import end_with_parent, sigterm_as_ctrl_c
from dashboard.commands.file_order import check_order
from logger.channels.modbus_registers import MODBUS
from logger.channels.port_schemes import refusal, scheme_of, split_port
from logger.channels.sensors_file import for_recording, load_sensors
from logger.errors import PortFault

if TYPE_CHECKING:
    from logger.channels.channel import Sensors
    from logger.transports.simulated import Device

Row = tuple[float, Mapping[str, float]]
AT_REST_S = (
    0.05  # between two lines of a device at rest; chosen by us: a page sees at once that it lives
)
TCP = re.compile(r"socket://(?:127\.0\.0\.1|localhost):([0-9]{1,5})")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul simulate`."""
    parser.add_argument("rig", metavar="RIG", help="the rig file")
    parser.add_argument(
        "sensors", metavar="SENSORS", help="the sensors file, with a port in each channel"
    )
    parser.add_argument(
        "--true",
        metavar="FILE",
        required=True,
        help="true values of the haul: load force, pulley efficiency, rope speed ... (TOML)",
    )
    # for the demo: wait for a line on standard input, end when standard input ends
    parser.add_argument("--hold", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--launch", action="store_true", help=argparse.SUPPRESS)
    # for the desk: send at rest, and a haul for each line on standard input
    parser.add_argument("--each-go", action="store_true", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Run `haul simulate` and return the exit status."""
    from analysis.rig_file.load import load_rig
    from analysis.signals.channel_roles import check_places
    from analysis.simulation.stated_haul import read_stated, rows, truth
    from logger.transports.simulated import Player

    check_order("simulate", args.rig, args.sensors)
    rig, sensors = load_rig(args.rig), load_sensors(args.sensors)
    check_lines(sensors)
    for_recording(sensors)
    check_places(rig, sensors)
    stated = read_stated(args.true)
    if args.launch:
        from analysis.simulation.demo_haul import simulate

        sent = simulate(stated.seed, stated.for_s).rows()
    else:
        truth(rig, stated)  # raises a fault before a port is served
        sent = rows(rig, sensors, stated)
    with contextlib.ExitStack() as stack:
        stack.enter_context(sigterm_as_ctrl_c())
        stack.enter_context(
            contextlib.suppress(KeyboardInterrupt)
        )  # how the command is ended as a rule
        devices = []
        for port, channels in sensors.ports().items():
            device, url = stack.enter_context(serving(port, sensors.file))
            devices.append((device, channels))
            print(url, flush=True)
        if args.hold:
            if not sys.stdin.readline():
                return 0
            end_with_parent()
        played = and_rest(sent)
        if args.each_go:
            played = hauls(list(sent), go_on_each_line())
        Player(devices, played).run()
    return 0


def check_lines(sensors: Sensors) -> None:
    """Raise PortFault for a channel that no virtual device can serve: those send lines by a serial port or TCP."""
    for channel in sensors.channels:
        scheme = split_port(channel.port or "")[0].lower()
        if channel.format == MODBUS or scheme in ("mqtt", "mqtts"):
            kind = (
                "registers (Modbus)"
                if channel.format == MODBUS
                else "messages through a broker (MQTT)"
            )
            raise PortFault(
                sensors.file, f"channel {channel.name} takes {kind}, and virtual devices send lines",
                'write a format of lines such as "json", and port = "socket://127.0.0.1:7001", in a copy of the file',
            )  # fmt: skip


def and_rest(sent: Iterable[Row]) -> Iterator[Row]:
    """The rows (time_s, reading by channel), then the last one repeated without end: devices go on sending
    when nobody pulls."""
    before = 0.0
    row: Row = (0.0, {})
    for following in sent:
        before, row = row[0], following
        yield row
    step = max(row[0] - before, 0.01)
    while True:
        row = (row[0] + step, row[1])
        yield row


def go_on_each_line() -> threading.Event:
    """An event that each line on standard input sets; where that ends, this process does, as by SIGTERM."""
    go = threading.Event()
    end_with_parent(go.set)
    return go


def hauls(sent: Sequence[Row], go: threading.Event) -> Iterator[Row]:
    """The first row (time_s, reading by channel) until `go` is set, then all rows, then the last one until it
    is set again, and so on without end."""
    now_s, still = 0.0, sent[0][1]
    while True:
        while not go.is_set():
            now_s += AT_REST_S
            yield now_s, still
        go.clear()
        begin_s = now_s - sent[0][0] + AT_REST_S
        for time_s, still in sent:
            now_s = begin_s + time_s
            yield now_s, still


@contextlib.contextmanager
def serving(port: str, file: str) -> Iterator[tuple[Device, str]]:
    """A virtual device at the port that a sensors file names, as (device, URL); raises PortFault.

    file: the sensors file, for the fault.
    """
    from logger.transports.simulated import serve_pty, serve_tcp

    if scheme_of(port) is None:
        raise PortFault(file, *refusal(port))
    tcp = TCP.fullmatch(port)
    if tcp:
        device: Device = serve_tcp(int(tcp[1]))
        try:
            yield device, device.url
        finally:
            device.close()
        return
    path = Path(port)
    if split_port(port)[0] or sys.platform == "win32":
        raise PortFault(
            file, f"no virtual device can be at {port}",
            "write port = \"socket://127.0.0.1:7001\""
            + ("" if sys.platform == "win32" else " or a path where nothing is"),
        )  # fmt: skip
    if path.exists() or not path.parent.is_dir():
        what = "exists already" if path.exists() else "is in a folder that does not exist"
        raise PortFault(
            file,
            f"port {port} {what}",
            "write a path where nothing is yet, in a folder that exists",
        )
    device = serve_pty()
    try:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()  # a dead link of an earlier run
        path.symlink_to(device.url)
    except OSError as error:
        device.close()
        raise PortFault(
            file,
            f"port {port} cannot be made ({error.strerror})",
            "write a path in a folder that you can write to",
        ) from None
    try:
        yield device, port
    finally:
        with contextlib.suppress(OSError):
            path.unlink()
        device.close()
