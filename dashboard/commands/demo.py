"""Shows the program at work without a device: a boatyard hauls a launch on its cradle up a slipway.

Virtual devices send over real serial channels to the real recorder, each in a process of its own. Without
--out the page is the desk of the demo's folder, with --out the live page of the session alone. At the
end the results are printed beside the true values of the simulation. Ctrl-C ends all of it and seals the
session.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from dashboard import stop_signals
from dashboard.child_processes import end, start
from dashboard.commands.watch import add_http
from dashboard.text.console import add_units, new_folder, positive, table, units
from dashboard.text.terminal_printer import TerminalPrinter
from dashboard.text.units import METRIC, Units, number, plus_minus
from logger.errors import CallFault

DEFAULT_S = 60.0
LEAST_S = 2.0
MARGIN_S = 0.5  # the pull is shorter than the recording: the devices start after the recorder
# chosen by us: a busy small machine takes 20 s for a start, and kills nothing that seals
START_WITHIN_S = 60.0
SEAL_WITHIN_S = 30.0
LOOK_S = 0.02  # period of the look for a signal
PAGE_ENDS_WITHIN_S = 6.0
BESIDE = (
    ("actual_ma", "mechanical advantage", "number"),
    ("efficiency", "efficiency", "number"),
    ("pulley_efficiency", "efficiency of one pulley", "number"),
    ("haul_force_N", "haul force", "force"),
    ("load_force_N", "load force", "force"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul demo`."""
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="folder to make, for the session (default: one in the temporary directory)",
    )
    parser.add_argument(
        "--for", dest="for_s", metavar="S", type=positive("seconds"), default=DEFAULT_S,
        help=f"seconds to record (default {DEFAULT_S:g})",
    )  # fmt: skip
    add_http(parser)
    add_units(parser)
    parser.add_argument(
        "--headless", action="store_true", help="no live page, only lines on the terminal"
    )
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        metavar="N",
        help="number of the simulated pull: another number, another pull of the same launch (default 1)",
    )


def run(args: argparse.Namespace) -> int:
    """Run `haul demo` and return the exit status."""
    # from here on a signal is looked for between two steps and interrupts none
    signals = stop_signals.note()
    if args.for_s < LEAST_S:
        raise CallFault("demo", f"--for {args.for_s:g} is too short", f"give {LEAST_S:g} s or more")
    out = None if args.out is None else new_folder(args.out)
    work = Path(tempfile.mkdtemp(prefix="haul-demo-"))
    printer = TerminalPrinter()
    try:
        return _play(work, out or work / "session", args, signals, printer)
    finally:
        printer.end()
        if out is not None or not (work / "session").exists():
            shutil.rmtree(work, ignore_errors=True)


def _play(
    work: Path,
    out: Path,
    args: argparse.Namespace,
    signals: Sequence[str],
    printer: TerminalPrinter,
) -> int:
    """Run the demo; signals: names of the signals that came, to which a handler appends."""
    truth = write_files(work, args.seed, args.for_s)
    devices = recorder = page = None
    status = 0
    try:
        if signals:
            return _stopped(signals, printer)
        if not args.headless and out.parent == work:
            page = _desk(
                out, args.http, args.units
            )  # it starts beside the others, and waits for the session
        devices = start(
            ["simulate", str(work / "rig.toml"), str(work / "sensors.toml"),
             "--true", str(work / "true.toml"), "--hold", "--launch"],
            stdout=subprocess.PIPE,
        )  # fmt: skip
        urls = _urls(devices, work, signals)
        if signals:
            return _stopped(signals, printer)
        if not urls:  # that process has printed why
            return devices.wait() or 3
        recorder = start(
            ["record", str(work / "rig.toml"), str(work / "sensors.toml"), "--out", str(out),
             "--for", str(args.for_s), "--simulation-true", str(work / "true.json"),
             "--with-parent", "--units", args.units],
        )  # fmt: skip
        _wait_for_ports(recorder, out, len(urls), signals)
        printer.line(f"virtual devices on {', '.join(urls)} (process {devices.pid})", out=True)
        printer.line(
            f"recording to {out} for {args.for_s:g} s (process {recorder.pid}); Ctrl-C ends it",
            out=True,
        )
        if not args.headless and page is None:
            page = _page(out, args.http, args.units)
        _go(devices)
        _wait(recorder, signals)
    finally:
        if recorder is not None:
            status = end(recorder, SEAL_WITHIN_S)
        if devices is not None:
            end(devices, 2.0)
        if page is not None and (status != 0 or not _made(out)):
            end(page, 2.0)
    if not _made(out) and signals:
        # a recorder that came so far has said itself that there is no session
        if recorder is not None and status == stop_signals.status_of("SIGTERM"):
            return stop_signals.status_of(signals[0])
        return _stopped(signals, printer)
    if status != 0:
        if status not in (1, 2, 3):  # otherwise the recorder has printed why
            printer.line(
                f"haul: demo: the recorder was ended from outside (status {status}); its session is kept, and "
                f"`haul verify {out} --repair` seals it"
            )
        return status if status in (1, 2, 3) else 3
    if not _made(out):
        return 3
    from analysis.review.review import review_session

    for line in ("", *beside(review_session(out), truth, units(args))):
        printer.line(line, out=True)
    look = f"haul watch {out}" if out.parent != work else f"haul desk {work}"
    printer.line(f"session: {out}; to look closer: haul review {out}, {look}", out=True)
    if page is not None:  # it shows that the recording has stopped, and ends by itself
        seen = len(signals)
        _wait(page, signals, PAGE_ENDS_WITHIN_S, seen)
        end(page, 2.0)
    return 0


def _made(out: Path) -> bool:
    """Whether the recorder has made the session."""
    return (out / "datapackage.json").exists()


def _stopped(signals: Sequence[str], printer: TerminalPrinter) -> int:
    """Say that a signal came before there was a session; its exit status."""
    printer.line(f"haul: demo: {signals[0]} came before the recording began: there is no session")
    return stop_signals.status_of(signals[0])


def _wait(
    process: subprocess.Popen[str],
    signals: Sequence[str],
    within_s: float | None = None,
    before: int = 0,
) -> None:
    """Until the process has ended, within_s seconds are over, or a signal came; before: how many
    signals had come already."""
    until = None if within_s is None else time.monotonic() + within_s
    while len(signals) == before and (until is None or time.monotonic() < until):
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(LOOK_S)
            return


def write_files(work: Path, seed: int, for_s: float) -> dict[str, Any]:
    """Write the demo's rig, sensors and true values as files in `work`; return the true values.

    for_s: length of the recording, s.
    """
    from analysis.simulation.demo_files import demo_ports, with_ports
    from analysis.simulation.demo_haul import demo_text, simulate

    if seed < 0:
        raise CallFault("demo", f"--seed {seed} is below 0", "give 0 or more")
    pull_s = for_s - MARGIN_S
    truth = simulate(seed, pull_s).true
    (work / "rig.toml").write_text(demo_text("rig.toml"), "utf-8")
    (work / "sensors.toml").write_text(
        with_ports(demo_text("sensors.toml"), demo_ports(work)), "utf-8"
    )
    (work / "true.toml").write_text(f"seed = {seed}\nfor_s = {pull_s!r}\n", "utf-8")
    (work / "true.json").write_text(json.dumps(truth, indent=1), "utf-8")
    return truth


def _urls(devices: subprocess.Popen[str], work: Path, signals: Sequence[str]) -> list[str]:
    """The ports that the process of the devices prints; [] if it ends, or a signal comes, instead."""
    from logger.channels.sensors_file import load_sensors

    wanted = len(load_sensors(work / "sensors.toml").ports())
    urls: list[str] = []

    def _read() -> None:
        assert devices.stdout is not None
        with contextlib.suppress(OSError, ValueError):
            urls.extend(devices.stdout.readline().strip() for _ in range(wanted))

    reader = threading.Thread(target=_read, name="urls", daemon=True)
    reader.start()
    while reader.is_alive() and not signals:
        reader.join(LOOK_S)
    return urls if len(urls) == wanted and all(urls) else []


def _wait_for_ports(
    recorder: subprocess.Popen[str], out: Path, ports: int, signals: Sequence[str]
) -> None:
    """Return when events.csv shows that the recorder has opened every port, when a signal comes, or
    START_WITHIN_S later."""
    until = time.monotonic() + START_WITHIN_S
    while time.monotonic() < until and recorder.poll() is None and not signals:
        with contextlib.suppress(OSError):
            if (out / "events.csv").read_text("utf-8").count(",connect,") >= ports:
                return
        time.sleep(0.01)


def _go(devices: subprocess.Popen[str]) -> None:
    """Let the devices begin to send."""
    assert devices.stdin is not None
    with contextlib.suppress(OSError):
        devices.stdin.write("go\n")
        devices.stdin.flush()


def _desk(out: Path, port: int | None, shown: str) -> subprocess.Popen[str]:
    """Start the desk of the demo's folder in a process of its own, which leads to the live page of its
    session and ends soon after that is sealed."""
    return start(["desk", str(out.parent), "--http", str(port or 0), "--until-sealed", out.name,
                  "--units", shown])  # fmt: skip


def _page(out: Path, port: int | None, shown: str) -> subprocess.Popen[str]:
    """Start the live page in a process of its own, which ends soon after the session is sealed."""
    return start(["watch", str(out), "--http", str(port or 0), "--until-sealed", "--units", shown])


def beside(review: Mapping[str, Any], truth: Mapping[str, Any], shown: Units = METRIC) -> list[str]:
    """Lines with each estimate, its uncertainty and the true value of the simulation."""
    rows = [["Estimate (± 95 %) beside the truth", "estimate", "truth", ""]]
    for key, label, kind in BESIDE:
        measured, true = review["measured"][key], truth.get(key)
        if true is None:
            continue
        verdict = "not known"
        if measured is not None:
            near = abs(measured["value"] - true) <= measured["U95"]
            verdict = "within" if near else "OUTSIDE"
        truly = shown.force(true) if kind == "force" else number(true)
        rows.append([f"  {label}", shown.quantity(kind, measured), truly, verdict])
    return [
        *table(rows, indent=""),
        f"  strokes {len(review['strokes'])}, resets {review['resets']}, model's mechanical advantage "
        f"{plus_minus(review['predicted']['model_ma'], 2 * review['predicted']['model_ma_u'])}",
    ]
