"""A recording on real serial channels: what is sent is in the file, whatever happens meanwhile."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from support.channels import channel
from support.processes import ended
from support.systems import pseudo_terminals
from support.waiting import long_enough, patience, until
from support.yard import Yard, recording, silent_wire

from logger.errors import CallFault, PortFault, SensorsFault, SessionFault
from logger.formats.registry import encode
from logger.recorder.alarms import AlarmRow
from logger.recorder.recorder import record
from logger.recorder.request_inbox import ask, ask_rig
from logger.session.reader import Event, open_session, read_all, session_state
from logger.session.verify import repair, verify
from logger.transports.serial import open_port
from logger.transports.simulated import PtyDevice

pytestmark = pseudo_terminals


def answer(yard: Yard, request: str) -> Event:
    return until(lambda: next((e for e in yard.events() if e.id == request), None))


def pty_yard(yard: Yard, text: str) -> PtyDevice:
    """The yard's device on a pseudo-terminal; text: its channel without the port."""
    device = yard.pty()
    yard.write(text + f'port = "{device.url}"\nbaud = 115200\n')
    return device


def test_two_ports_are_recorded_whole_and_sealed(yard: Yard, force: str, travel: str) -> None:
    pty, tcp = yard.pty(), yard.tcp()
    yard.write(
        force
        + f'port = "{pty.url}"\nbaud = 115200\n'
        + travel
        + f'port = "{tcp.url}"\nbaud = 9600\n'
    )
    with recording(yard) as running:
        until(
            lambda: yard.kinds().count("connect") == 2
        )  # pyserial throws away what comes while it opens
        assert session_state(yard.out) == "growing"
        for i in range(0, 400, 20):
            pty.send(yard.lines(i, 20), 1.0)
            tcp.send(yard.lines(i, 20, "haul_travel"), 1.0)
            time.sleep(0.01)  # the pace of two devices of 2 kHz: lines come in many pieces
        until(lambda: len(yard.values()) == 400 and len(yard.values("haul_travel")) == 400)
        outcome = running.end()
    assert (outcome.state, outcome.reason) == ("sealed", "end")
    assert outcome.readings == {"haul_force": 400, "haul_travel": 400}
    assert outcome.drops == {"haul_force": 0, "haul_travel": 0}
    block = read_all(yard.out)
    for part in block.readings.values():
        assert part.reading.tolist() == [float(i) for i in range(400)]
        assert (part.time_s[1:] >= part.time_s[:-1]).all()
    assert block.clock[-1].readings == outcome.readings
    found = verify(yard.out)
    assert (found.state, found.digest) == ("complete", outcome.digest)
    assert not (yard.out / "inbox").exists() and not (yard.out / "recorder.lock").exists()


def test_a_row_is_in_the_file_within_50_ms_of_its_arrival(yard: Yard, force: str) -> None:
    """Budget of interface section 4; three times of it on a shared machine."""
    device = pty_yard(yard, force)
    start = time.monotonic()
    with recording(yard):
        path, waits = yard.out / "readings.csv", []
        for i in range(10):
            size = path.stat().st_size
            began = time.monotonic()
            device.send(yard.lines(i, 1))
            until(lambda size=size: path.stat().st_size != size, 5, "the row")
            waits.append(time.monotonic() - began)
            time.sleep(0.03)  # so that the next line comes at another moment of the writer's beat
    assert sorted(waits)[5] < 0.15 * patience(start)


def test_an_unplugged_socket_loses_no_line_and_comes_back(yard: Yard, force: str) -> None:
    device = yard.tcp()
    yard.write(force + f'port = "{device.url}"\nbaud = 9600\n')
    with recording(yard) as running:
        for turn in range(3):
            until(lambda: device.wait_client(0.1))  # a connection that waits to be accepted is none
            device.send(yard.lines(turn * 50, 50), 1.0)
            device.drop_clients()  # at once: what was sent is still on its way
            until(lambda n=turn: yard.kinds().count("disconnect") == n + 1)
            until(lambda n=turn: yard.kinds().count("connect") == n + 2)  # open, not only accepted
        until(lambda: device.wait_client(0.1))
        device.send(yard.lines(150, 5), 1.0)
        until(lambda: len(yard.values()) == 155)
        outcome = running.end()
    assert read_all(yard.out).readings["haul_force"].reading.tolist() == [
        float(i) for i in range(155)
    ]
    assert outcome.drops == {"haul_force": 0}
    assert yard.kinds().count("connect") == 4


def test_a_pulled_terminal_is_told_and_a_new_one_is_taken_up(yard: Yard, force: str) -> None:
    first = yard.pty()
    link = yard.folder / "cell"
    link.symlink_to(first.url)
    yard.write(force + f'port = "{link}"\nbaud = 115200\nstale_after_s = 0.3\n')
    with recording(yard) as running:
        before = time.monotonic()
        first.send(yard.lines(0, 10), 1.0)
        until(lambda: len(yard.values()) == 10)
        first.close()
        link.unlink()
        until(lambda: "disconnect" in yard.kinds())
        time.sleep(1.0)  # unplugged for so long that the tries to open come as rarely as they get
        second = yard.pty()
        link.symlink_to(second.url)
        came = time.monotonic()
        until(lambda: yard.kinds().count("connect") == 2)
        assert time.monotonic() - came < 1.0 * patience(came)
        second.send(yard.lines(10, 10), 1.0)
        until(lambda: len(yard.values()) == 20)
        passed_s = time.monotonic() - before
        running.end()
    events = yard.events()
    gap = next(event for event in events if event.kind == "gap")
    assert gap.channel == "haul_force" and gap.value is not None and 1.0 < gap.value < passed_s
    lost = next(event for event in events if event.kind == "disconnect")
    assert lost.channel == "haul_force" and str(link) in lost.text


def test_no_port_is_one_line_and_leaves_nothing(yard: Yard, force: str) -> None:
    yard.write(force + 'port = "/dev/none-of-this"\nbaud = 9600\n')
    with pytest.raises(PortFault, match="no port opens") as caught:
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    assert "\n" not in str(caught.value) and "--wait" in str(caught.value)
    assert not yard.out.exists()


@pytest.mark.parametrize(
    "url",
    ["socket://127.0.0.1:1", "hwgrep://FFFF:FFFF", "hwgrep://spy://x", "/dev/null", "\x2ftmp"],
)
def test_hostile_ports_are_one_line(yard: Yard, force: str, url: str) -> None:
    yard.write(force + f'port = "{url}"\nbaud = 9600\n')
    with pytest.raises(PortFault):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)


@pytest.mark.parametrize("scheme", ["spy", "SPY"])
def test_a_port_that_would_write_a_file_is_refused_and_writes_none(
    yard: Yard, force: str, scheme: str
) -> None:
    device, file = yard.pty(), yard.folder / "written"
    text = force + f'port = "{scheme}://{device.url}?file={file}"\nbaud = 9600\n'
    yard.write(force)
    yard.sensors_file.write_text(text)
    with pytest.raises(SensorsFault, match=scheme):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    assert not file.exists() and not yard.out.exists()


@pytest.mark.parametrize("nest", ["{}", "alt://{}", "hwgrep://{}", "HWGREP://{}"])
def test_the_place_that_opens_refuses_other_schemes_too(yard: Yard, nest: str) -> None:
    device, file = yard.pty(), yard.folder / "written"
    for scheme in ("spy", "SPY"):
        url = nest.format(f"{scheme}://{device.url}?file={file}")
        with pytest.raises((PortFault, OSError)) as caught:
            open_port(url, 9600).close()
        assert isinstance(caught.value, PortFault) or nest.lower() == "hwgrep://{}"
    for url in (
        "loop://",
        "Loop://",
        "alt:///dev/null",
        "file:///dev/null",
        "stdin:",
        "udp://127.0.0.1:1",
    ):
        with pytest.raises(PortFault, match="rfc2217"):
            open_port(url, 9600).close()
    assert not file.exists()


def test_a_scheme_in_capitals_opens_what_it_names(yard: Yard) -> None:
    """Where pyserial itself takes HWGREP://x for the name of a file."""
    device = yard.tcp()
    open_port(device.url.replace("socket", "SOCKET"), None).close()
    with pytest.raises(OSError, match="no ports found matching"):
        open_port("HWGREP://FFFF:FFFF", 9600)


COLUMNS = channel("haul_force", "force", format="columns", column=1, unit="kN", capacity=5000.0)


def test_a_comma_that_is_not_guessed_is_told_once_with_what_to_write(yard: Yard) -> None:
    device = pty_yard(yard, COLUMNS)
    news: list[str] = []
    rejects = yard.out / "rejects.csv"
    with recording(yard, status=lambda status: news.extend(status.news)) as running:
        silent_wire()
        device.send(b"0.85 kN\r\n", 1.0)
        for _ in range(3):
            device.send(b"1,90 kN\r\n" * 4, 1.0)
            until(lambda: news)
            time.sleep(0.3)  # longer than the recorder takes between two looks
        until(lambda: rejects.read_text().count("a comma: decimal or separator?") == 12)
        done = running.end()
    assert done.readings == {"haul_force": 1} and done.drops == {"haul_force": 12}
    (line,) = news
    for part in (
        device.url,
        "haul_force",
        '"1,90 kN"',
        "a comma: decimal or separator?",
        'decimal = ","',
        'separator = ","',
        "thousands",
    ):
        assert part in line
    assert "\n" not in line
    told = [event for event in yard.events() if event.kind == "gap" and "comma" in event.text]
    assert [(e.channel, e.text) for e in told] == [("haul_force", line)]
    assert rejects.read_text().count("a comma: decimal or separator?") == 12
    assert read_all(yard.out).readings["haul_force"].reading.tolist() == [0.85]


def test_a_decimal_comma_is_recorded_as_a_number(yard: Yard) -> None:
    device = pty_yard(yard, COLUMNS + 'decimal = ","\n')
    with recording(yard) as running:
        silent_wire()
        device.send(b"1,90 kN\r\n" + encode(yard.sensors.channels, {"haul_force": 2.25}), 1.0)
        until(lambda: len(yard.values()) == 2)
        running.end()
    assert read_all(yard.out).readings["haul_force"].reading.tolist() == [1.9, 2.25]
    assert verify(yard.out).state == "complete"


def test_wait_keeps_trying(yard: Yard, force: str) -> None:
    link = yard.folder / "cell"
    yard.write(force + f'port = "{link}"\nbaud = 9600\n')
    with recording(yard, wait=True) as running:
        time.sleep(0.3)  # for some tries there is no such port
        device = yard.pty()
        link.symlink_to(device.url)
        until(lambda: "connect" in yard.kinds())
        device.send(yard.lines(0, 5), 1.0)
        until(lambda: len(yard.values()) == 5)
        running.end()


def test_a_second_recorder_is_refused_and_so_is_a_filled_folder(yard: Yard, force: str) -> None:
    pty_yard(yard, force)
    with recording(yard) as running:
        with pytest.raises(SessionFault, match="another recorder"):
            record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
        running.end()
    with pytest.raises(SessionFault, match="not empty"):
        record(yard.rig, yard.sensors_file, yard.out, for_s=60.0)
    assert verify(yard.out).state == "complete"


def test_garbage_is_counted_kept_and_harms_nothing(yard: Yard, force: str) -> None:
    device = pty_yard(yard, force)
    with recording(yard) as running:
        silent_wire()
        device.send(yard.lines(0, 3), 1.0)
        device.send(bytes(range(256)) * 8 + b"\n" + b"$YXXDR,N,1,N,HAUL*00\r\n", 1.0)
        device.send(yard.lines(3, 3), 1.0)
        until(lambda: len(yard.values()) == 6)
        outcome = running.end()
    assert outcome.drops["haul_force"] >= 2
    text = (yard.out / "rejects.csv").read_text()
    assert "wrong checksum" in text and text.isascii()
    assert read_all(yard.out).clock[-1].drops == outcome.drops
    assert verify(yard.out).state == "complete"


def test_rejects_never_grow_beyond_a_megabyte(yard: Yard, force: str) -> None:
    device = pty_yard(yard, force)
    with recording(yard) as running:
        for _ in range(400):
            device.send((b"\xff" * 100 + b"\n") * 40, 2.0)
        until(lambda: (yard.out / "rejects.csv").stat().st_size > 900_000, 10)
        running.end()
    assert (yard.out / "rejects.csv").stat().st_size <= 1_000_000


def test_mark_zero_undo_and_rig_are_answered_once_each(yard: Yard, force: str) -> None:
    device = pty_yard(yard, force + "zero = 5.0\n")
    which = yard.sensors.channels
    with recording(yard) as running:
        until(lambda: answer(yard, ask(yard.out, "zero", "haul_force")).kind == "refused")
        assert "no reading" in yard.events()[-1].text
        stop, pulls = threading.Event(), threading.Event()

        def feed() -> None:
            """The pace of a device of 50 Hz."""
            for k in itertools.count():
                if stop.wait(0.02):
                    return
                value = 1250.0 + k % 2 if pulls.is_set() else 12.5
                device.send(encode(which, {"haul_force": value}))

        feeder = threading.Thread(target=feed)
        feeder.start()
        until(lambda: len(yard.values()) > 20)
        began = time.monotonic()
        mark = answer(yard, ask(yard.out, "mark", text='cradle on rail, "first" stop'))
        # 0.1 s budget, three times with this process's own work
        assert time.monotonic() - began < 0.3 * patience(began)
        assert (mark.kind, mark.text) == ("mark", 'cradle on rail, "first" stop')
        zero = answer(yard, ask(yard.out, "zero", "haul_force"))
        assert (zero.kind, zero.value) == ("zero", 12.5)
        assert zero.text.startswith("old zero 5 N from the sensors file, new zero 12.5 N: mean of ")
        undo = answer(yard, ask(yard.out, "undo", text=zero.id))
        assert (undo.kind, undo.value, undo.text) == ("undo", 5.0, zero.id)
        (yard.folder / "other.toml").write_text('title = "other"\n' + "# " + "x" * 6000 + "\n")
        rig = answer(yard, ask_rig(yard.out, yard.folder / "other.toml"))
        assert (rig.kind, rig.text) == ("rig", "rig-2.toml")
        # a pull of a quarter of the capacity is no rest
        pulls.set()
        until(lambda: yard.values()[-30:] and min(yard.values()[-30:]) >= 1250.0)
        load = answer(yard, ask(yard.out, "zero", "haul_force"))
        assert load.kind == "refused" and ("5 %" in load.text or "not steady" in load.text)
        stop.set()
        feeder.join()
        running.end()
    info = open_session(yard.out)
    assert [path.name for _, path in info.rigs] == ["rig.toml", "rig-2.toml"]
    assert verify(yard.out).state == "complete"


def test_moves_of_a_conversion_are_marked_taken_back_and_end_with_the_rig(
    yard: Yard, force: str
) -> None:
    pty_yard(yard, force)
    (yard.folder / "other.toml").write_text('title = "other"\n')
    with recording(yard) as running:
        first = answer(yard, ask(yard.out, "move", text='Set C1, "slowly"', step=1))
        assert (first.kind, first.value, first.text) == ("move", 1.0, 'Set C1, "slowly"')
        second = answer(yard, ask(yard.out, "move", text="Put G2 on", step=2))
        again = answer(yard, ask(yard.out, "move", text="Put G2 on", step=2))
        assert (again.kind, again.text) == ("refused", "move 2 is marked already")
        # the last one is taken back, without its id or with it, and can be made again
        undo = answer(yard, ask(yard.out, "undo"))
        assert (undo.kind, undo.value, undo.text) == ("undo", None, second.id)
        assert answer(yard, ask(yard.out, "move", text="Put G2 on", step=2)).kind == "move"
        for wrong in (0, -1, 1.5, True, "2", None, 1e9):
            name = ask(yard.out, "mark", id=f"w{abs(hash((wrong, str(wrong))))}")
            answer(yard, name)
            path = yard.out / "inbox" / f"x{name}.json"
            asked = {"verb": "move", "role": "operator", "text": "", "value": wrong}
            (yard.out / "inbox" / ".wrong").write_text(json.dumps(asked))
            (yard.out / "inbox" / ".wrong").rename(path)
            refused = answer(yard, f"x{name}")
            assert refused.kind == "refused" and "a whole number from 1" in refused.text
        assert answer(yard, ask_rig(yard.out, yard.folder / "other.toml")).kind == "rig"
        # what the new rig was made with is not taken back any more
        over = answer(yard, ask(yard.out, "undo", text=first.id))
        assert over.kind == "refused" and "no mark, move or zero" in over.text
        assert answer(yard, ask(yard.out, "move", text="Set C2", step=1)).kind == "move"
        running.end()
    assert verify(yard.out).state == "complete"


def test_hostile_requests_are_refused_and_never_followed(yard: Yard, force: str) -> None:
    pty_yard(yard, force)
    secret = yard.folder / "secret.toml"
    secret.write_text("secret = 1\n")
    with recording(
        yard, check_rig=lambda text, name: "no rig at all" if "bad" in text else None
    ) as running:
        inbox = yard.out / "inbox"

        def drop(name: str, data: bytes) -> None:
            (inbox / ("." + name)).write_bytes(data)
            (inbox / ("." + name)).rename(inbox / name)

        def asked(name: str, **fields: Any) -> None:
            drop(name + ".json", json.dumps({"role": "operator", **fields}).encode())

        asked("viewer", verb="mark", role="viewer")
        asked("norole", verb="mark", role="")
        asked("verb", verb="destroy")
        asked("channel", verb="zero", channel="nobody")
        asked("key", verb="mark", colour="red")
        asked("type", verb="mark", text=7)
        asked("path", verb="rig", text="../../secret.toml")
        asked("abs", verb="rig", text=str(secret))
        asked("bad", verb="rig", text="bad = 1\n")
        asked("nothing", verb="undo")
        asked("ack", verb="ack")
        asked("r000001", verb="mark")
        drop("big.json", b"{" + b" " * 5000 + b"}")
        drop("torn.json", b'{"verb": "mark"')
        drop("deep.json", b"[" * 4000)
        drop("bin.json", b"\xff\xfe")
        (inbox / "link.json").symlink_to(secret)
        os.mkfifo(inbox / "pipe.json")
        (inbox / "folder.json").mkdir()
        drop("odd name.json", b"{}")
        (inbox / "sly.toml").symlink_to(secret)
        asked("sly", verb="rig", text="sly.toml")
        names = {
            "viewer",
            "norole",
            "verb",
            "channel",
            "key",
            "type",
            "path",
            "abs",
            "bad",
            "nothing",
            "ack",
            "big",
            "torn",
            "deep",
            "bin",
            "link",
            "pipe",
            "folder",
            "sly",
        }
        until(lambda: names <= {e.id for e in yard.events()})
        asked("twice", verb="mark", text="one")
        answer(yard, "twice")
        asked("twice", verb="mark", text="two")
        until(lambda: not (inbox / "twice.json").exists())
        events = yard.events()
        assert all(e.kind == "refused" and e.text for e in events if e.id in names)
        assert [e.text for e in events if e.id == "twice"] == ["one"]
        assert [e.kind for e in events if e.id == "r000001"] == ["start"]
        assert len({e.id for e in events}) == len(events)
        (inbox / "folder.json").rmdir()
        running.end()
    assert secret.read_text() == "secret = 1\n"
    assert not list(yard.out.glob("rig-*.toml"))
    assert verify(yard.out).state == "complete"


def test_asking_where_nobody_records_is_refused(yard: Yard) -> None:
    folder = yard.imported()
    with pytest.raises(CallFault, match="nothing records"):
        ask(folder, "mark")
    with pytest.raises(CallFault, match="write one of"):
        ask(folder, "dance")


def test_another_rig_brings_its_own_alarm_table(yard: Yard, force: str) -> None:
    """The levels of a changed rig hold from then on; what is over under a level that goes is cleared."""
    device = pty_yard(yard, force)
    old, kept = (
        AlarmRow("haul_force", "A1: WLL", stop=300.0),
        AlarmRow("haul_force", "haul_force", caution=350.0),
    )
    new = AlarmRow("haul_force", "T1: WLL", gain=2.0, stop=2000.0)
    with recording(yard, alarms=(old, kept), check_rig=lambda text, name: (kept, new)) as running:
        device.send(yard.lines(400, 1))
        until(lambda: yard.kinds().count("alarm") == 2)
        (yard.folder / "other.toml").write_text('title = "other"\n')
        assert answer(yard, ask_rig(yard.out, yard.folder / "other.toml")).kind == "rig"
        device.send(yard.lines(999, 1) + yard.lines(1001, 1))
        until(lambda: yard.kinds().count("alarm") == 4)
        running.end()
    told = [e.text for e in yard.events() if e.kind == "alarm"]
    assert told == ["stop: A1: WLL", "caution: haul_force", "clear: A1: WLL", "stop: T1: WLL"]


def test_alarms_are_judged_stored_and_acknowledged(yard: Yard, force: str) -> None:
    device = pty_yard(yard, force)
    row = AlarmRow("haul_force", "T1", gain=2.0, caution=1000.0, stop=1500.0)
    with recording(yard, alarms=(row,)) as running:
        silent_wire()
        for value in (400.0, 600.0, 800.0, 490.0, 100.0):
            device.send(encode(yard.sensors.channels, {"haul_force": value}))
            time.sleep(0.05)  # the pace of a device of 20 Hz
        until(lambda: yard.kinds().count("alarm") == 4)
        assert answer(yard, ask(yard.out, "ack")).kind == "ack"
        assert answer(yard, ask(yard.out, "ack")).kind == "refused"
        running.end()
    told = [(e.text, e.value) for e in yard.events() if e.kind == "alarm"]
    assert told == [
        ("caution: T1", 1200.0),
        ("stop: T1", 1600.0),
        ("caution: T1", 980.0),
        ("clear: T1", 200.0),
    ]
    with pytest.raises(SensorsFault, match="which is not in this file"):
        record(yard.rig, yard.sensors_file, yard.folder / "x", alarms=(AlarmRow("nobody", "T1"),))


CHILD = """
import sys
from logger.recorder.recorder import record
done = record(*sys.argv[1:4])
assert not {"numpy", "pandas", "dash", "plotly", "scipy"} & set(sys.modules), sys.modules
print(done.state, done.reason)
"""


def child(yard: Yard) -> subprocess.Popen[str]:
    process = yard.start(CHILD)
    until(lambda: "connect" in yard.kinds() or process.poll() is not None)
    assert process.poll() is None, process.communicate()
    return process


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_seals_in_under_two_seconds_and_nothing_heavy_is_loaded(
    yard: Yard, force: str, number: int
) -> None:
    device = pty_yard(yard, force)
    process = child(yard)
    silent_wire()
    device.send(yard.lines(0, 100), 1.0)
    until(lambda: len(yard.values()) == 100)
    began = time.monotonic()
    process.send_signal(number)
    out, err = ended(process)
    assert time.monotonic() - began < 2.0 * patience(began)
    assert (process.returncode, err) == (0, "")
    assert out.split() == ["sealed", signal.Signals(number).name]
    assert verify(yard.out).state == "complete"


def test_a_killed_recorder_leaves_a_session_that_is_cut_short_and_can_be_repaired(
    yard: Yard, force: str
) -> None:
    device = pty_yard(yard, force)
    process = child(yard)
    silent_wire()
    device.send(yard.lines(0, 100), 1.0)
    until(lambda: len(yard.values()) == 100)
    process.kill()
    process.communicate()
    until(lambda: session_state(yard.out) == "cut short", 1.0)
    assert verify(yard.out).state == "cut short"
    assert len(yard.values()) == 100
    assert repair(yard.out).state == "complete"
    assert yard.events()[-1].kind == "repaired"


def test_for_s_ends_it(yard: Yard, force: str) -> None:
    pty_yard(yard, force)
    seen: list[Any] = []
    for_s = long_enough(0.8)  # long against what a busy machine takes to open the port
    began = time.monotonic()
    outcome = record(yard.rig, yard.sensors_file, yard.out, for_s=for_s, status=seen.append)
    assert (outcome.state, outcome.reason) == ("sealed", "time")
    assert for_s - 0.1 * patience(began) < outcome.duration_s < for_s + 1.2 * patience(began)
    assert seen and seen[0].ports == {next(iter(seen[0].ports)): ""}


@pytest.mark.filterwarnings("ignore")
def test_frictionless_calls_a_recorded_session_valid(yard: Yard, force: str) -> None:
    """Outside check: the `frictionless` library."""
    from frictionless import Package

    device = pty_yard(yard, force)
    with recording(yard) as running:
        device.send(b'noise, "quoted"\n' + yard.lines(0, 50) + b"\xff\n", 1.0)
        ask(yard.out, "mark", text='a "b", c')
        until(lambda: len(yard.values()) >= 49)
        running.end()
    report = Package(str(Path(yard.out) / "datapackage.json")).validate()
    assert report.valid, report.flatten()
