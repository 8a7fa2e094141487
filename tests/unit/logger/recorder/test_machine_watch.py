"""The machine that records: disk left, power source, sleep held off.

The systems' own words are from the Linux kernel's Documentation/ABI/testing/sysfs-class-power and
from systemd-inhibit(1).
"""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.waiting import until

from logger.recorder import keep_awake as awake
from logger.recorder.keep_awake import HELD, NOT_HELD, TRYING, SleepInhibitor
from logger.recorder.machine_watch import (
    DiskLeft,
    MachineWatch,
    Notice,
    disk_free,
    size_text,
    tables_size,
    time_text,
)
from logger.recorder.power_supply import PowerState, read_power
from logger.recorder.recorder import record
from logger.session.reader import read_all
from logger.transports.simulated import Player, serve_tcp

linux = pytest.mark.skipif(sys.platform != "linux", reason="other system: Linux's own files")
MB, HOUR = 1e6, 3600.0


# -- power ---------------------------------------------------------------------------------------
def supplies(folder: Path, **found) -> Path:
    for name, files in found.items():
        (folder / name).mkdir(parents=True)
        for key, text in files.items():
            (folder / name / key).write_bytes(text.encode("latin-1") + b"\n")
    return folder


CELL = {"type": "Battery", "scope": "System", "capacity": "54"}
PLUG = {"type": "Mains", "online": "1"}


@linux
@pytest.mark.parametrize(
    ("found", "source", "percent"),
    [
        ({"BAT0": CELL | {"status": "Discharging"}, "AC": PLUG | {"online": "0"}}, "battery", 54),
        ({"BAT0": CELL | {"status": "Charging"}, "AC": PLUG}, "mains", 54),
        ({"BAT0": CELL | {"status": "Full"}}, "mains", 54),
        ({"BAT0": CELL | {"status": "Not charging"}, "AC": PLUG}, "mains", 54),
        # a charger too weak for what is drawn
        ({"BAT0": CELL | {"status": "Discharging"}, "AC": PLUG}, "battery", 54),
        ({"BAT0": CELL | {"status": "Unknown"}}, "", 54),
        ({"BAT0": CELL | {"status": "Discharging"},
          "BAT1": CELL | {"status": "Not charging", "capacity": "100"}}, "battery", 77),
        ({"ups": {"type": "UPS", "status": "Discharging", "capacity": "80"}}, "battery", 80),
        ({"mouse": CELL | {"scope": "Device", "status": "Discharging"}, "AC": PLUG}, "mains", None),
        ({"mouse": CELL | {"scope": "Device", "status": "Discharging"}}, "", None),
        ({"usb": {"type": "USB", "online": "1"}}, "mains", None),
        ({"AC": PLUG | {"online": "0"}}, "", None),
        ({"BAT0": {"type": "Battery", "status": "Discharging", "capacity": "900"}}, "battery", None),
        ({"BAT0": {"type": "Battery", "status": "Discharging", "capacity": "\xff\x00x"}}, "battery", None),
        ({"BAT0": {}}, "", None),
        ({}, "", None),
    ],
)  # fmt: skip
def test_power_is_what_the_kernel_says(tmp_path, found, source, percent):
    assert read_power(supplies(tmp_path, **found)) == PowerState(source, percent)


def test_power_that_nobody_tells_of_is_not_known(tmp_path):
    assert read_power(tmp_path / "nothing").text() == "not known"
    assert PowerState("battery", 54.4).text() == "on battery, 54 %, not charging: connect power"
    assert PowerState("mains", None).text() == "mains"


# -- disk ----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("free", "per_s", "remains_s", "level"),
    [
        (40e9, 3000.0, None, 0),
        (40e9, None, None, 0),
        (101 * MB, 3000.0, None, 0),  # 9 h
        (99 * MB, None, None, 1),
        (200 * MB, 200 * MB / HOUR, None, 1),  # an hour, where two are wanted
        (200 * MB, 200 * MB / 500, None, 2),  # less than ten minutes
        (9 * MB, 1.0, None, 2),
        (0, None, None, 2),
        (200 * MB, 200 * MB / HOUR, 1800.0, 0),  # an hour, and half an hour is still to come
        (200 * MB, 200 * MB / HOUR, 3500.0, 1),
        (200 * MB, 200 * MB / HOUR, 86400.0, 1),
        (200 * MB, 200 * MB / 500, 60.0, 0),
        (200 * MB, 200 * MB / 60, 60.0, 2),
    ],
)  # fmt: skip
def test_the_disk_is_judged_by_what_is_still_to_come(free, per_s, remains_s, level):
    assert DiskLeft(free, per_s, remains_s).level() == level


@given(st.floats(0, 1e13), st.floats(0.001, 1e9), st.none() | st.floats(0, 1e7))
def test_less_disk_is_never_judged_better(free, per_s, remains_s):
    left = DiskLeft(free, per_s, remains_s)
    assert DiskLeft(free / 2, per_s, remains_s).level() >= left.level()
    assert DiskLeft(free, per_s * 2, remains_s).level() >= left.level()
    assert "\n" not in left.text() and left.text().isprintable()


def test_sizes_and_times_as_people_read_them():
    assert [size_text(n) for n in (0, 999, 1500, 44.4e6, 1.24e9, 78e9, 3.2e12)] == [
        "0 bytes", "999 bytes", "1.5 kB", "44 MB", "1.2 GB", "78 GB", "3.2 TB",
    ]  # fmt: skip
    assert [time_text(s) for s in (540, 6840, 200 * HOUR, float("inf"))] == [
        "9 min", "1.9 h", "8 days", "11574 days",
    ]  # fmt: skip


@linux
def test_the_disk_left_is_what_the_system_lets_this_user_write(tmp_path):
    """statvfs(3): f_bavail blocks of f_frsize bytes for who is not root."""
    found = os.statvfs(tmp_path)
    assert disk_free(tmp_path) == pytest.approx(found.f_bavail * found.f_frsize, rel=0.02)
    assert disk_free(tmp_path / "nothing") is None


def watch(folder, free, source=None, **more):
    """A MachineWatch whose disk and power are what the lists hold now; sleep is not tried."""
    return MachineWatch(
        folder, free_bytes=lambda _: free[0], read_power=lambda: (source or [PowerState()])[0],
        sleep_inhibitor=SleepInhibitor(), **more,
    )  # fmt: skip


def grow(folder, time_s, per_s):
    (folder / "readings.csv").write_bytes(b"x" * int(time_s * per_s))


def lines(notices, kind="disk"):
    return [n.text for n in notices if n.text.startswith("disk") or n.kind == kind]


def test_the_rate_is_that_of_the_files_and_told_once(tmp_path):
    """100 Hz at 30 bytes a row is 10.8 MB an hour (measured before the first line: 11 MB)."""
    watched = watch(tmp_path, [40e9])
    said = {}
    for second in range(0, 40, 2):
        grow(tmp_path, second, 3000)
        said[second] = lines(watched.check(second))
    assert said.pop(0) == ["disk: 40 GB left"]
    assert [v for v in said.values() if v] == [
        ["disk: 40 GB left, enough for 154 days at 11 MB an hour"]
    ]
    assert tables_size(tmp_path) == 38 * 3000


def test_a_disk_that_fills_is_told_early_and_again_when_nearly_full(tmp_path):
    free = [40e9]
    watched = watch(tmp_path, free)
    events = []
    for second in range(0, 4000, 8):
        grow(tmp_path, min(second, 30), 3000)
        free[0] = max(0.0, 200 * MB - second * 0.05 * MB)  # something else fills it
        events += [(second, n) for n in watched.check(second) if n.kind]
    assert [n.text.split(":")[0] for _, n in events] == ["disk short", "disk nearly full"]
    assert events[0][1] == Notice(events[0][1].text, "disk", 200 * MB - events[0][0] * 0.05 * MB)
    assert 99 * MB < events[0][1].value < 100 * MB and 9 * MB < events[1][1].value < 10 * MB
    free[0] = 40e9
    assert lines(watched.check(4001))[0].startswith("disk: 40 GB left")
    free[0] = 5 * MB
    assert lines(watched.check(4003))[0].startswith("disk nearly full: 5.0 MB left")


def test_a_disk_that_cannot_be_asked_is_said_once(tmp_path):
    watched = watch(tmp_path, [None])
    assert lines(watched.check(0)) == ["disk left: not known"]
    assert lines(watched.check(10)) == []


def test_a_battery_is_told_at_once_and_as_it_runs_down(tmp_path):
    source = [PowerState("mains", 90)]
    watched = watch(tmp_path, [40e9], source)
    told = []
    for second in range(0, 1000, 5):
        if second == 100:
            source[0] = PowerState("battery", 90)
        if second > 100:
            source[0] = PowerState("battery", max(5, 90 - (second - 100) // 8))
        if second == 900:
            source[0] = PowerState("mains", 5)
        if second > 900:
            source[0] = PowerState("mains", 6)
        told += [n for n in watched.check(second) if "power" in n.text or n.kind == "power"]
    assert [(n.kind, n.value) for n in told] == [
        ("", None), ("power", 90), ("power", 20), ("power", 10), ("", None),
    ]  # fmt: skip
    assert told[0].text == "power: mains, battery 90 %"
    assert told[1].text == "on battery, 90 %, not charging: connect power"


# -- sleep ---------------------------------------------------------------------------------------
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
    script = "import time\nfrom logger.recorder.keep_awake import SleepInhibitor\nheld = SleepInhibitor()\nheld.hold()\ntime.sleep(60)\n"
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


# -- in a recording ------------------------------------------------------------------------------
def test_what_the_machine_is_short_of_becomes_events_of_the_session(yard, force):
    device = serve_tcp()
    yard.devices.append(device)
    sensors = yard.write(force + f'port = "{device.url}"\n')
    player = Player(
        [(device, sensors.channels)], [(k / 50, {"haul_force": 300.0}) for k in range(200)]
    )
    player.start()
    news: list[str] = []
    host = watch(yard.out, [5 * MB], [PowerState("battery", 9)])
    outcome = record(
        yard.rig, yard.sensors_file, yard.out, for_s=1.0, machine=host,
        status=lambda status: news.extend(status.news),
    )  # fmt: skip
    player.stop()
    assert outcome.state == "sealed"
    events = [
        (e.kind, e.value, e.text) for e in read_all(yard.out).events if e.kind in ("disk", "power")
    ]
    assert events == [
        ("disk", 5 * MB, "disk nearly full: 5.0 MB left"),
        ("power", 9.0, "on battery, 9 %, not charging: connect power"),
    ]  # fmt: skip
    assert [text for _, _, text in events] == [n for n in news if n.startswith(("disk n", "on b"))]
