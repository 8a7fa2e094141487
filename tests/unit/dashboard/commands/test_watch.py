"""`haul watch` as a process beside a recorder: either can be killed, the other goes on and says so."""

import contextlib
import os
import re
import signal
import socket
import subprocess
import time
import urllib.request
from pathlib import Path

from support.channels import force
from support.growing_session import Growing
from support.processes import Demo, Watched, ended, start_haul
from support.waiting import until

from analysis.simulation.demo_haul import demo_text
from logger.session.reader import session_state


def test_the_url_stands_alone_on_one_line_and_ctrl_c_ends_with_0(tmp_path):
    session = Growing(tmp_path / "s")
    session.clock(0.25)
    for signal_number in (signal.SIGINT, signal.SIGTERM):
        process = start_haul("watch", tmp_path / "s", "--http", 0)
        line = process.stdout.readline()
        assert re.fullmatch(r"http://127\.0\.0\.1:[0-9]+/#[A-Za-z0-9_-]{22}\n", line)
        with urllib.request.urlopen(line.strip(), timeout=600) as answer:  # no cookie
            assert answer.status == 200
        code = line.strip().partition("#")[2].encode()
        for command in Path("/proc").glob("[0-9]*/cmdline"):  # where any account can read
            with contextlib.suppress(OSError):
                assert code not in command.read_bytes()
        process.send_signal(signal_number)
        out, err = ended(process)
        assert (process.returncode, out, err) == (0, "", "")


def test_what_cannot_be_watched_is_one_line(tmp_path):
    (tmp_path / "empty").mkdir()
    for argv in ([tmp_path / "nothing"], [tmp_path / "empty"], [tmp_path, "--http", "70000"]):
        process = start_haul("watch", *argv)
        out, err = ended(process)
        assert (process.returncode, out) == (2, "")
        assert err.startswith("haul: ") and err.count("\n") == 1


def test_it_waits_for_the_session_and_ends_by_itself_when_that_is_sealed(tmp_path):
    process = start_haul("watch", tmp_path / "s", "--until-sealed")
    time.sleep(0.5)  # for so long there is no session, and the page waits
    session = Growing(tmp_path / "s")
    session.clock(0.25)
    assert process.stdout.readline().startswith("http://")
    assert process.poll() is None
    session.seal()
    out, err = ended(process)
    assert (process.returncode, out, err) == (0, "", "")


def test_a_killed_page_changes_nothing_in_the_recording(tmp_path):
    with Demo(tmp_path / "s", 180) as demo, Watched(demo.out) as page:
        until(lambda: page.since()["now"].get("force_N"), 20, "a tension on the page")
        page.process.kill()
        page.process.wait()
        rows = (demo.out / "readings.csv").stat().st_size
        until(lambda: (demo.out / "readings.csv").stat().st_size > rows, 5, "further rows")
        demo.process.terminate()
        status, said = demo.ended(60)
        assert status == 0, said
    assert session_state(tmp_path / "s") == "sealed"


def test_a_recorder_that_stalls_and_one_that_is_killed_are_told_by_the_page(tmp_path):
    with Demo(tmp_path / "s", 180) as demo, Watched(demo.out) as page:
        until(lambda: page.since()["now"].get("force_N"), 20, "a tension on the page")
        subprocess.run(["kill", "-STOP", str(demo.recorder)], check=True)
        try:
            until(lambda: page.since()["now"]["words"] == "RECORDER STALLED", 2.5, "stalled")
            assert page.since()["now"]["force_N"] is None
        finally:
            subprocess.run(["kill", "-CONT", str(demo.recorder)], check=True)
        until(lambda: page.since()["now"]["words"] != "RECORDER STALLED", 3, "it goes on")
        subprocess.run(["kill", "-9", str(demo.recorder)], check=True)
        told = until(
            lambda: page.since()["now"]["words"] == "RECORDING CUT SHORT", 2.0, "the page says so"
        )
        assert told and page.since()["now"]["force_N"] is None
        assert page.process.poll() is None
        assert demo.ended(60)[0] != 0


def children_of(pid: int) -> list[str]:
    """The processes that this one has started."""
    return Path(f"/proc/{pid}/task/{pid}/children").read_text("utf-8").split()


def command_of(pid: str) -> bytes:
    """The command line of a process; b"" once it has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def gone(pid: str) -> bool:
    """Whether a process has ended, though nobody may have waited for it."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def test_a_recording_with_a_page_goes_on_and_ends_well_when_the_page_is_killed(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as device:
        (tmp_path / "rig.toml").write_text(demo_text("rig.toml"), "utf-8")
        (tmp_path / "sensors.toml").write_text(
            force(f'port = "socket://127.0.0.1:{device.getsockname()[1]}"'), "utf-8"
        )
        process = start_haul(
            "record", tmp_path / "rig.toml", tmp_path / "sensors.toml", "--out", tmp_path / "s",
            "--for", 600, "--watch", "--http", 0, start_new_session=True,
        )  # fmt: skip
        url = process.stdout.readline().strip()
        assert url.startswith("http://127.0.0.1:")
        # beside it the recorder has at most the child that holds sleep off
        (page,) = (c for c in children_of(process.pid) if b"watch" in command_of(c))
        os.kill(int(page), signal.SIGKILL)
        until(lambda: gone(page), 5, "the page's end")
        assert process.poll() is None
        process.send_signal(signal.SIGTERM)
        out, err = ended(process)
    assert process.returncode == 0, err
    assert "sealed" in out and session_state(tmp_path / "s") == "sealed"
