"""The machine that records: what is left of the disk, and what of disk and power becomes an event."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.systems import linux
from support.waiting import until
from support.yard import recording

from logger.machine.keep_awake import SleepInhibitor
from logger.machine.machine_watch import (
    DiskLeft,
    MachineWatch,
    Notice,
    disk_free,
    size_text,
    tables_size,
    time_text,
)
from logger.machine.power_supply import PowerState
from logger.session.reader import read_all
from logger.transports.simulated import Player, serve_tcp

MB, HOUR = 1e6, 3600.0


# -- power ---------------------------------------------------------------------------------------


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
    with recording(yard, machine=host, status=lambda status: news.extend(status.news)) as running:
        until(lambda: {"disk", "power"} <= set(yard.kinds()))
        assert running.end().state == "sealed"
    player.stop()
    events = [
        (e.kind, e.value, e.text) for e in read_all(yard.out).events if e.kind in ("disk", "power")
    ]
    assert events == [
        ("disk", 5 * MB, "disk nearly full: 5.0 MB left"),
        ("power", 9.0, "on battery, 9 %, not charging: connect power"),
    ]  # fmt: skip
    assert [text for _, _, text in events] == [n for n in news if n.startswith(("disk n", "on b"))]
