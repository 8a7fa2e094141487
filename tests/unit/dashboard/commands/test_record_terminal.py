"""`haul record` and `haul demo` on a terminal that takes no output, or that is closed."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.blocked_output import Blocked
from support.processes import ended, exit_status
from support.rigs import STRAIGHT_PULL
from support.waiting import long_enough, until
from support.yard import Counter, Yard, count_into, force

from logger.recorder.request_inbox import ask
from logger.session.verify import verify

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="other system: no pseudo-terminals"),
    pytest.mark.many,  # apart from other tests of devices: a pseudo-terminal's number is soon another's
]
ROOT = Path(__file__).parents[4]
START_WITHIN_S = 60.0  # of a process on a busy machine
SEALED_WITHIN_S = 15.0  # 2 s on a machine of its own; one that waits for the terminal never ends


def haul(*argv: object, **streams: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *map(str, argv)], text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, **streams,
    )  # fmt: skip


@pytest.fixture(params=["pipe", "terminal"])
def blocked(request) -> Iterator[Blocked]:
    made = Blocked(request.param)
    yield made
    made.close()


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    made = Yard(tmp_path / "yard", rig=STRAIGHT_PULL)
    made.device = made.pty()
    made.write(force(made.device.url, "warn_at = 1.0\nstop_at = 2.0\n"))
    counter = Counter([count_into(made.device, made)], 50.0)
    yield made
    counter.stop()
    made.close()


def sealed_at(yard: Yard) -> bool:
    return (yard.out / "SHA256SUMS").exists()


ENDS = ["time", "end", signal.SIGTERM, signal.SIGINT]


@pytest.mark.parametrize("how", ENDS, ids=str)
def test_a_terminal_that_takes_no_output_holds_up_no_ending(
    yard: Yard, blocked: Blocked, how
) -> None:
    """Filled before the start, so that the very first line blocks whoever writes it."""
    for_s = long_enough(3.0)
    given = ["--for", str(for_s)] if how == "time" else []
    process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out, *given,
                   stdout=blocked.write, stderr=blocked.write, stdin=subprocess.DEVNULL)  # fmt: skip
    try:
        until(lambda: len(yard.values()) > 20, START_WITHIN_S)
        if how != "time":  # the events of the machine go on too
            process.send_signal(signal.SIGHUP)
            until(lambda: "hangup" in yard.kinds(), 30)
        if how == "end":
            ask(yard.out, "end")
        elif how != "time":
            process.send_signal(how)
        until(
            lambda: sealed_at(yard), (for_s if how == "time" else 0.0) + SEALED_WITHIN_S, "a seal"
        )
        assert exit_status(process, SEALED_WITHIN_S + 2) == 0
    finally:
        process.kill()
        process.wait()
    assert verify(yard.out).state == "complete"
    assert "alarm" in yard.kinds()


def test_what_a_blocked_terminal_missed_is_printed_when_it_goes_on(yard: Yard) -> None:
    terminal = Blocked("terminal")
    process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out,
                   stdout=terminal.write, stderr=terminal.write, stdin=subprocess.DEVNULL)  # fmt: skip
    try:
        until(lambda: "alarm" in yard.kinds(), START_WITHIN_S)
        said = ""

        def more() -> bool:
            nonlocal said
            said += terminal.text()  # the terminal goes on from here
            return "STOP: force" in said and "recording to" in said

        until(more)
        process.send_signal(signal.SIGTERM)
        # read on: a terminal that nobody reads is soon full again, and the end waits for none
        until(lambda: more() and process.poll() is not None, 60, "the recorder's end")
        assert process.returncode == 0
        until(lambda: more() and "sealed" in said, 5, "the last line")
    finally:
        process.kill()
        process.wait()
        terminal.close()


def test_a_hangup_is_an_event_and_the_recording_goes_on(yard: Yard) -> None:
    process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out,
                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)  # fmt: skip
    try:
        until(lambda: len(yard.values()) > 5, START_WITHIN_S)
        process.send_signal(signal.SIGHUP)
        until(lambda: "hangup" in yard.kinds(), 30)
        before = len(yard.values())
        until(lambda: len(yard.values()) > before + 20, 30)
        process.send_signal(signal.SIGTERM)
        out, err = ended(process)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 0 and "sealed" in out
    (row,) = [e for e in yard.events() if e.kind == "hangup"]
    assert f"kill {process.pid}" in row.text and f"kill {process.pid}" in err


def test_a_closed_terminal_ends_no_recording(yard: Yard) -> None:
    """The terminal's own end: its leader gets SIGHUP from the system, and every write fails."""
    pid, lead = pty.fork()
    if pid == 0:
        os.environ["PYTHONPATH"] = str(ROOT)
        os.execv(sys.executable, [sys.executable, "-m", "dashboard.cli", "record",
                                  str(yard.rig), str(yard.sensors_file), "--out", str(yard.out)])  # fmt: skip
    try:
        until(lambda: len(yard.values()) > 5, START_WITHIN_S)
        os.close(lead)
        until(lambda: "hangup" in yard.kinds(), 30)
        before = len(yard.values())
        until(lambda: len(yard.values()) > before + 50, 30)
        ask(yard.out, "end")
        status = until(lambda: (gone := os.waitpid(pid, os.WNOHANG))[0] and [gone[1]], 30)
    except BaseException:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        raise
    assert os.waitstatus_to_exitcode(status[0]) == 0
    assert verify(yard.out).state == "complete"


def test_without_a_terminal_ports_and_disk_are_said_on_standard_error(
    yard: Yard, tmp_path: Path
) -> None:
    """A real limit of the system (RLIMIT_FSIZE), put on the running process and taken off again."""
    import resource

    log = tmp_path / "log"
    with log.open("w") as err:
        process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out,
                       stdout=subprocess.DEVNULL, stderr=err)  # fmt: skip
    try:
        until(lambda: len(yard.values()) > 5, START_WITHIN_S)
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (2000, resource.RLIM_INFINITY))
        until(lambda: "disk: File too large" in log.read_text(), 30)
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (-1, -1))
        until(lambda: "disk: well again, after: File too large" in log.read_text(), 30)
        yard.device.close()
        until(lambda: f"port {yard.device.url}: " in log.read_text(), 30)
        process.send_signal(signal.SIGTERM)
        assert exit_status(process) == 0
    finally:
        process.kill()
        process.wait()
    assert log.read_text().count("disk: File") == 1  # when it comes, not each time


def test_a_channel_that_never_gave_a_reading_is_the_last_thing_said(tmp_path: Path) -> None:
    yard = Yard(tmp_path / "yard", rig=STRAIGHT_PULL)
    yard.write(force(yard.pty().url))
    process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out, "--for", str(long_enough(1.0)),
                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)  # fmt: skip
    out, err = ended(process)
    yard.close()
    assert process.returncode == 0 and "\a" in err
    assert out.splitlines()[-1].startswith("NO READING of force was recorded: ")


def test_a_fault_of_a_recording_waits_for_no_terminal(yard: Yard, blocked: Blocked) -> None:
    yard.write(force("/nonexistent/port"))
    process = haul("record", yard.rig, yard.sensors_file, "--out", yard.out,
                   stdout=blocked.write, stderr=blocked.write, stdin=subprocess.DEVNULL)  # fmt: skip
    try:
        assert exit_status(process, START_WITHIN_S) == 2
    finally:
        process.kill()
        process.wait()


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT], ids=str)
def test_a_demo_on_a_terminal_that_takes_no_output_ends_too(
    tmp_path: Path, blocked: Blocked, how
) -> None:
    out = tmp_path / "slipway"
    process = haul("demo", "--headless", "--out", out, "--for", "60",
                   stdout=blocked.write, stderr=blocked.write, stdin=subprocess.DEVNULL)  # fmt: skip
    try:
        until(
            lambda: (out / "readings.csv").exists() and (out / "readings.csv").stat().st_size > 900,
            30,
        )
        process.send_signal(how)
        until((out / "SHA256SUMS").exists, SEALED_WITHIN_S + 1, "a seal")
        assert exit_status(process) == 0
    finally:
        process.kill()
        process.wait()
    assert verify(out).state == "complete"
    assert json.loads((out / "datapackage.json").read_text())["simulation"]
