"""What another program prints into the recorder's standard input."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.channels import channel
from support.places import ROOT
from support.processes import ended, ended_at_exit
from support.waiting import until
from support.yard import RECORD, Yard, in_order

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import SensorsFault
from logger.session.reader import read_all
from logger.session.verify import repair, verify

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no select on a pipe")
STDIN = channel("force", "force", format="columns", column=1, unit="N", port="stdin:")


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return Yard(tmp_path, STDIN)


def start(yard: Yard, stdin: int) -> subprocess.Popen[str]:
    return ended_at_exit(subprocess.Popen(
        [sys.executable, "-c", RECORD, str(yard.rig), str(yard.sensors_file), str(yard.out)],
        stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ))  # fmt: skip


@pytest.fixture
def pipe(tmp_path: Path) -> Iterator[Path]:
    """A named pipe, which may get a new writer."""
    path = tmp_path / "feed"
    os.mkfifo(path)
    yield path
    path.unlink()


def end(process: subprocess.Popen[str]) -> str:
    process.send_signal(signal.SIGTERM)
    return ended(process)[0].strip()


def test_a_program_is_read_from_its_first_line_to_its_last(yard: Yard) -> None:
    """Its end is told once, and the recording goes on."""
    process = start(yard, subprocess.PIPE)
    assert process.stdin is not None
    process.stdin.write("".join(f"{k}\n" for k in range(50)))
    process.stdin.close()
    process.stdin = None
    until(lambda: len(yard.values()) == 50)
    until(lambda: "disconnect" in yard.kinds())
    assert end(process) == "sealed"
    assert yard.values() == [float(k) for k in range(50)]
    told = [e.text for e in yard.events() if e.kind == "disconnect"]
    assert told == ["stdin:: the other side closed it"]


def test_a_named_pipe_is_read_again_when_the_next_program_writes(yard: Yard, pipe: Path) -> None:
    reading = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    os.set_blocking(reading, True)
    writing = os.open(pipe, os.O_WRONLY)
    process = start(yard, reading)
    os.close(reading)
    for turn in range(3):
        os.write(writing, f"{2 * turn}\n{2 * turn + 1}\n".encode())
        until(lambda n=turn: len(yard.values()) == 2 * n + 2)
        os.close(writing)
        until(lambda n=turn: yard.kinds().count("disconnect") == n + 1)
        writing = os.open(pipe, os.O_WRONLY)
    os.close(writing)
    assert end(process) == "sealed"
    assert in_order(yard.values()) and yard.values()[0] == 0.0


@pytest.mark.parametrize("source", ["file", "null"])
def test_an_input_that_is_always_ready_fills_no_events_after_its_end(
    yard: Yard, tmp_path: Path, source: str
) -> None:
    path = tmp_path / "lines"
    path.write_text("1\n2\n")
    with open(path if source == "file" else os.devnull, "rb") as file:  # noqa: PTH123
        process = start(yard, file.fileno())
    until(lambda: "disconnect" in yard.kinds())
    until(lambda: read_all(yard.out).clock[-1].time_s > 1.5)  # time for some tries to open
    assert end(process) == "sealed"
    assert yard.kinds().count("disconnect") == 1
    assert yard.kinds().count("connect") == 1
    assert yard.values() == ([1.0, 2.0] if source == "file" else [])


def test_a_killed_recorder_keeps_what_it_had_read(yard: Yard) -> None:
    process = start(yard, subprocess.PIPE)
    assert process.stdin is not None
    process.stdin.write("".join(f"{k}\n" for k in range(20)))
    process.stdin.flush()
    until(lambda: len(yard.values()) == 20)
    process.kill()
    process.communicate()
    assert verify(yard.out).state == "cut short"
    repair(yard.out)
    assert verify(yard.out).state == "complete" and in_order(yard.values())


def test_it_needs_no_baud_rate_and_takes_nothing_behind_it() -> None:
    for_recording(parse_sensors(STDIN, "s"))
    with pytest.raises(SensorsFault, match="takes nothing behind it"):
        parse_sensors(STDIN.replace("stdin:", "stdin:x"), "s")
