"""Half an hour at two devices of 1 kHz beside one that floods its port, with the dashboard and five viewers
(`.ci/long`): HAUL_SOAK_MIN is the length in minutes."""

from __future__ import annotations

import json
import os
import subprocess
import threading
import time
import urllib.request
from pathlib import Path

import pytest
from support.flood import Flood
from support.processes import ended, start_haul
from support.rigs import STRAIGHT_PULL
from support.systems import pseudo_terminals
from support.waiting import joined, until
from support.yard import Yard, force, travel, xdr_channel

from logger.formats.registry import encode
from logger.session.reader import read_all
from logger.session.verify import verify
from logger.transports.simulated import serve_pty, serve_tcp

pytestmark = [
    pytest.mark.long,
    pseudo_terminals,
]
MINUTES = float(os.environ.get("HAUL_SOAK_MIN", "30"))
RATE, VIEWERS = 1000.0, 5
FLOOD_BYTES_S = 2e6  # twice what begins a flood; the rest of a small machine is for the viewers
# bytes, after the first fifth of the time and a minute: on a busy machine the allocator kept up to 3.0 MB more
# in 24 minutes, while no object of the recorder's became more; two bytes a reading would be as much
RECORDER_GROWTH = 6e6
# the page's process keeps what its graph and its estimates need: bytes a reading it may keep
DASHBOARD_PER_READING = 60.0


class Process:
    """What a process has used up to now."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.path = Path(f"/proc/{process.pid}")

    def resident(self) -> int:
        return int((self.path / "statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")

    def cpu_s(self) -> float:
        fields = (self.path / "stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Viewer(threading.Thread):
    """Asks as the page's script does: what is new since the last answer, ten times a second."""

    def __init__(self, url: str) -> None:
        super().__init__(daemon=True)
        self.url, self.halt = url, threading.Event()
        self.asked, self.failed, self.slowest = 0, 0, 0.0
        self.start()

    def run(self) -> None:
        seq = version = 0
        while not self.halt.wait(0.1):
            began = time.monotonic()
            try:
                query = f"{self.url}since?seq={seq}&v={version}&span=60"
                with urllib.request.urlopen(query, timeout=600) as answer:
                    found = json.load(answer)
            except OSError:
                self.failed += 1
                continue
            seq, version = found["seq"], found["version"]
            self.asked += 1
            self.slowest = max(self.slowest, time.monotonic() - began)


def test_soak(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    if not Path("/proc/self/statm").exists():
        pytest.skip("other system: no /proc")
    pty, tcp = serve_pty(), serve_tcp()
    flood = Flood("tcp", FLOOD_BYTES_S, MINUTES * 60)
    neighbour = xdr_channel("neighbour", "force", "OTHER", flood.url).replace('"haul"', '"anchor"')
    yard = Yard(tmp_path / "yard", force(pty.url) + travel(tcp.url) + neighbour)
    yard.rig.write_text(STRAIGHT_PULL)
    recorder = start_haul("record", yard.rig, yard.sensors_file, "--out", yard.out)
    until((yard.out / "readings.csv").exists, 20, "the session")
    until(lambda: tcp.wait_client(0.1))
    page = start_haul("watch", yard.out, "--http", "0")
    url = page.stdout.readline().strip().partition("#")[0]
    viewers = [Viewer(url + "/" if not url.endswith("/") else url) for _ in range(VIEWERS)]
    one, two, _ = yard.sensors.channels
    sent, took = 0, MINUTES * 60
    figures: list[tuple[float, int, int]] = []
    recording, watching = Process(recorder), Process(page)
    began = time.monotonic()
    cpu_before = recording.cpu_s(), watching.cpu_s()
    while (passed := time.monotonic() - began) < took:
        while sent < passed * RATE:
            # a haul of 6 s and a reset of 2 s, over and over: the analysis has strokes to find
            phase = sent / RATE % 8
            pull = 400.0 + 30 * (sent % 7) if phase < 6 else 5.0
            travel_m = (sent / RATE // 8) * 3 + min(phase, 6) * 0.5 - max(0.0, phase - 6) * 1.5
            pty.send(encode((one,), {"force": pull}), 5.0)
            tcp.send(encode((two,), {"travel": travel_m}), 5.0)
            sent += 1
        if len(figures) < 20 * passed / took:
            figures.append((passed, recording.resident(), watching.resident()))
        time.sleep(0.001)  # the pace of two devices of 1 kHz
    figures.append((passed, recording.resident(), watching.resident()))
    cpu = [(p.cpu_s() - b) / passed for p, b in zip((recording, watching), cpu_before, strict=True)]
    asked = [viewer.asked for viewer in viewers]
    until(
        lambda: all(v.asked > before for v, before in zip(viewers, asked, strict=True)),
        15,
        "an answer each",
    )
    for viewer in viewers:
        viewer.halt.set()
        joined(viewer)
    recorder.terminate()
    out, err = ended(recorder)
    page.terminate()
    ended(page)
    pty.close()
    tcp.close()
    flooded = flood.sent()
    flood.close()
    assert recorder.returncode == 0, (out, err)
    # what a process loads at its start is no growth
    early = next(f for f in figures if f[0] >= min(max(60.0, took / 5), 0.8 * took))
    late = figures[-1]
    growth = late[1] - early[1], late[2] - early[2]
    block = read_all(yard.out)
    counts = {name: len(part.reading) for name, part in block.readings.items()}
    readings_between = 2 * RATE * (late[0] - early[0])
    with capsys.disabled():
        first = max(float(part.time_s[0]) for part in block.readings.values() if len(part.time_s))
        gaps = [
            e.value or 0.0
            for e in block.events
            if e.kind == "gap" and e.channel != "neighbour" and e.time_s > first
        ]
        print(
            f"\nsoak: {took / 60:.1f} min, {sent} lines sent on each of two ports and {flooded / 1e6:.0f} MB of "
            f"garbage on a third, recorded {counts}, "
            f"dropped {block.clock[-1].drops}\n"
            f"  pauses of a second and more, with nothing lost: {len(gaps)}, longest {max(gaps, default=0):.1f} s\n"
            f"  recorder: {late[1] / 1e6:.1f} MB, {growth[0] / 1e6:+.2f} MB since {early[0]:.0f} s, "
            f"{cpu[0]:.1%} of a core; MB over time: {' '.join(f'{f[1] / 1e6:.1f}' for f in figures)}\n"
            f"  dashboard: {late[2] / 1e6:.1f} MB, {growth[1] / 1e6:+.2f} MB "
            f"({growth[1] / readings_between:.1f} bytes a reading), {cpu[1]:.1%} of a core\n"
            f"  {VIEWERS} viewers: {sum(v.asked for v in viewers)} answers, "
            f"{sum(v.failed for v in viewers)} failed, slowest {max(v.slowest for v in viewers):.2f} s"
        )
    drops = dict(block.clock[-1].drops)
    # every line is recorded or counted as dropped; dropped are those alone whose bytes waited in a full buffer while
    # other programs held the recorder up, because nothing tells whether bytes are missing among them
    assert counts.pop("neighbour") == 0
    assert {name: count + drops[name] for name, count in counts.items()} == {"force": sent, "travel": sent}  # fmt: skip
    full = {e.channel for e in block.events if e.kind == "stall" and "buffer was full" in e.text}
    assert {name for name in counts if drops[name]} <= full
    assert drops.pop("neighbour") > 0 and flooded > 0.5 * FLOOD_BYTES_S * took
    assert "flood" in {e.kind for e in block.events if e.channel == "neighbour"}
    assert block.malformed == 0
    assert all((part.time_s[1:] >= part.time_s[:-1]).all() for part in block.readings.values())
    assert "disk" not in {e.kind for e in block.events}
    assert verify(yard.out).state == "complete"
    assert growth[0] < RECORDER_GROWTH
    assert growth[1] < max(20e6, DASHBOARD_PER_READING * readings_between)
    assert sum(v.failed for v in viewers) == 0 and all(v.asked > 3 * took for v in viewers)
