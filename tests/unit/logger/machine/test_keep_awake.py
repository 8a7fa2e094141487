"""Sleep is held off while a recorder runs, through systemd-inhibit(1), and no longer."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from support.systems import linux
from support.waiting import until

from logger.machine import keep_awake as awake
from logger.machine.keep_awake import HELD, NOT_HELD, TRYING, SleepInhibitor
from logger.machine.machine_watch import (
    MachineWatch,
)


@pytest.fixture
def inhibitor(tmp_path, monkeypatch):
    """A `systemd-inhibit` on the PATH: what it does is the given script's to say."""

    def make(script: str) -> Path:
        place = tmp_path / "bin" / "systemd-inhibit"
        place.parent.mkdir(exist_ok=True)
        place.write_text("#!/bin/sh\n" + script)
        place.chmod(0o755)
        monkeypatch.setenv("PATH", f"{place.parent}{os.pathsep}{os.environ['PATH']}")
        return tmp_path

    return make


# as the real one: takes its options, then runs the command while the lock is held
GIVES = 'echo "$@" > "{0}/asked"; while [ "${{1#--}}" != "$1" ]; do shift; done; echo $$ > "{0}/pid"; exec "$@"\n'


def settled(held: SleepInhibitor) -> str:
    until(lambda: held.state() != TRYING, 5, "the lock is held or refused")
    return held.state()


def ended(pid: int) -> bool:
    try:
        os.kill(pid, 0)
        stat = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return True
    return stat == "Z"


@linux
def test_sleep_is_held_off_until_it_is_let_go(inhibitor, tmp_path):
    inhibitor(GIVES.format(tmp_path))
    held = SleepInhibitor()
    held.hold()
    assert settled(held) == HELD
    asked = (tmp_path / "asked").read_text()
    assert "--what=sleep:idle" in asked and "--mode=block" in asked
    pid = int((tmp_path / "pid").read_text())
    held.release()
    until(lambda: ended(pid), 3, "the inhibitor ends")
    assert held.state() == NOT_HELD


@linux
def test_the_lock_ends_with_a_recorder_that_is_killed(inhibitor, tmp_path):
    inhibitor(GIVES.format(tmp_path))
    script = "import time\nfrom logger.machine.keep_awake import SleepInhibitor\nheld = SleepInhibitor()\nheld.hold()\ntime.sleep(60)\n"
    with subprocess.Popen([sys.executable, "-c", script]) as owner:
        path = tmp_path / "pid"
        pid = int(until(lambda: path.exists() and path.read_text(), 10, "the inhibitor runs"))
        assert not ended(pid)
        owner.send_signal(signal.SIGKILL)
    until(lambda: ended(pid), 3, "the inhibitor ends")


@linux
@pytest.mark.parametrize("script", ["exit 1\n", "echo no; exec sleep 30\n", "exec sleep 30\n"])
def test_a_system_that_refuses_or_says_nothing_is_not_believed(inhibitor, script, monkeypatch):
    monkeypatch.setattr(awake, "ANSWERS_WITHIN_S", 0.3)
    monkeypatch.setattr(awake, "ENDS_WITHIN_S", 0.1)
    inhibitor(script)
    held = SleepInhibitor()
    held.hold()
    assert settled(held) == NOT_HELD
    held.release()


@linux
def test_without_the_command_the_person_is_asked(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    watched = MachineWatch(tmp_path)
    watched.start()
    texts = [n.text for n in watched.check(0.0)]
    assert "this machine may fall asleep: turn sleep off in the system's settings" in texts
    watched.stop()


@linux
def test_a_lock_that_is_lost_is_told(inhibitor, tmp_path):
    inhibitor(GIVES.format(tmp_path))
    watched = MachineWatch(tmp_path)
    watched.start()
    assert settled(watched.sleep_inhibitor) == HELD
    assert any("held off" in n.text for n in watched.check(0.0))
    os.kill(int((tmp_path / "pid").read_text()), signal.SIGKILL)
    warned = until(
        lambda: [n.text for n in watched.check(1.0) if "asleep" in n.text], 5, "a warning"
    )
    assert warned == ["this machine may fall asleep: turn sleep off in the system's settings"]
    watched.stop()
