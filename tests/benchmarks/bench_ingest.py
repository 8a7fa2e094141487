"""How fast lines come in, and what that costs.

Run: python tests/benchmarks/bench_ingest.py.  Exit status 1 beyond three times a budget, or where a line
is lost.
Budgets of the project: at full speed at least 100 times the lines a second of the loop that people
write (`readline`, `float`, `csv.writer`, flush), in one run over a pseudo-terminal; two ports of
1,000 lines a second each, on a pty and on a socket, lose no line at under 10 % of a core.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import textwrap
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from support.channels import channel

from logger.channels.channel import Channel
from logger.channels.sensors_file import parse_sensors
from logger.formats.registry import encode
from logger.transports.simulated import Device, PtyDevice, serve_pty, serve_tcp

RATIO = 100.0
CPU = 0.10
NAIVE_LINES = 6_000
FULL_LINES = 3_000_000

PORT = {"port": "{port}", "baud": 115200, "format": "xdr"}
SENSORS = channel("haul_force", "force", **PORT, id="HAUL")
SECOND = channel("haul_travel", "length", **PORT, id="ROPE")

RECORD = textwrap.dedent("""
    import json, sys, time
    from logger.recorder.recorder import record
    def status(s):
        print(json.dumps([s.time_s, s.readings, s.drops, time.process_time()]), flush=True)
    done = record(sys.argv[1], sys.argv[2], sys.argv[3], status=status)
    print(json.dumps([done.duration_s, done.readings, done.drops, done.state]), flush=True)
""")

NAIVE = textwrap.dedent("""
    import csv, sys, time
    import serial
    lines = int(sys.argv[3])
    with serial.Serial(sys.argv[1], 115200, timeout=1) as port, open(sys.argv[2], "w") as file:
        print("open", flush=True)
        rows = csv.writer(file)
        port.readline()
        began = time.perf_counter()
        for _ in range(lines):
            line = port.readline().decode()
            rows.writerow([time.time(), float(line.split(",")[2])])
            file.flush()
        print(lines / (time.perf_counter() - began), flush=True)
""")

SENDER = textwrap.dedent("""
    import os, sys
    fd, lines = int(sys.argv[1]), int(sys.argv[2])
    block = sys.stdin.buffer.read()
    os.set_blocking(fd, True)
    try:
        for _ in range(lines // block.count(b"\\n")):
            view = memoryview(block)
            while view:
                view = view[os.write(fd, view):]
    except OSError:
        pass
""")


def _block(channels: tuple[Channel, ...], lines: int) -> bytes:
    return b"".join(encode(channels, {"haul_force": 1000 + i * 0.37}) for i in range(lines))


def _send(device: PtyDevice, block: bytes, lines: int) -> subprocess.Popen[bytes]:
    fd = device._master
    sender = subprocess.Popen(
        [sys.executable, "-c", SENDER, str(fd), str(lines)], stdin=subprocess.PIPE, pass_fds=[fd]
    )
    assert sender.stdin is not None
    sender.stdin.write(block)
    sender.stdin.close()
    return sender


def _recorder(folder: Path, sensors: str) -> subprocess.Popen[str]:
    (folder / "rig.toml").write_text('title = "bench"\n')
    (folder / "sensors.toml").write_text(sensors)
    return subprocess.Popen(
        [
            sys.executable,
            "-c",
            RECORD,
            str(folder / "rig.toml"),
            str(folder / "sensors.toml"),
            str(folder / "session"),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )


def _until_open(folder: Path) -> None:
    until = time.monotonic() + 10
    while not (folder / "session" / "datapackage.json").exists() and time.monotonic() < until:
        time.sleep(0.01)
    time.sleep(0.1)


def full_speed(folder: Path) -> dict[str, float]:
    """Lines a second of both readers over a pseudo-terminal whose sender never waits."""
    text = SENSORS.format(port="x")
    channels = parse_sensors(text, "bench").channels
    block = _block(channels, 5000)

    device = serve_pty()
    reader = subprocess.Popen(
        [sys.executable, "-c", NAIVE, device.url, str(folder / "naive.csv"), str(NAIVE_LINES)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert reader.stdout is not None
    reader.stdout.readline()
    sender = _send(device, block, 100_000_000)
    naive = float(reader.communicate()[0])
    sender.terminate()
    sender.wait()
    device.close()

    device = serve_pty()
    recorder = _recorder(folder, SENSORS.format(port=device.url))
    _until_open(folder)
    sender = _send(device, block, FULL_LINES)
    sender.wait()
    time.sleep(1.0)
    recorder.terminate()
    out, _ = recorder.communicate()
    device.close()
    ended = json.loads(out.splitlines()[-1])
    with (folder / "session" / "readings.csv").open("rb") as file:
        file.readline()
        first = float(file.readline().split(b",")[0])
        file.seek(-100, os.SEEK_END)
        last = float(file.read().splitlines()[-1].split(b",")[0])
    return {
        "naive_lines_s": naive,
        "recorder_lines_s": ended[1]["haul_force"] / (last - first),
        "ratio": ended[1]["haul_force"] / (last - first) / naive,
        "lost": FULL_LINES - ended[1]["haul_force"],
        "dropped": ended[2]["haul_force"],
    }


def two_ports(folder: Path, seconds: float = 8.0) -> dict[str, float]:
    """Share of a core and lines lost at two ports of 1,000 lines a second each."""
    pty, tcp = serve_pty(), serve_tcp()
    text = SENSORS.format(port=pty.url) + SECOND.format(port=tcp.url)
    channels = parse_sensors(text, "bench").channels
    recorder = _recorder(folder, text)
    assert recorder.stdout is not None
    _until_open(folder)
    tcp.wait_client()
    both: list[tuple[Device, tuple[Channel, ...]]] = [(pty, channels[:1]), (tcp, channels[1:])]
    sent, began = 0, time.monotonic()
    while (passed := time.monotonic() - began) < seconds:
        # as a device does, evenly: what is due each millisecond or so
        while sent < passed * 1000:
            for device, which in both:
                device.send(encode(which, {"haul_force": 1000.5, "haul_travel": sent / 1000}), 1.0)
            sent += 1
        time.sleep(0.001)
    time.sleep(0.7)
    recorder.terminate()
    out, _ = recorder.communicate()
    pty.close()
    tcp.close()
    rows = [json.loads(line) for line in out.splitlines()]
    ended, during = rows[-1], [row for row in rows[:-1] if 1.0 < row[0] < seconds]
    return {
        "cpu_share": (during[-1][3] - during[0][3]) / (during[-1][0] - during[0][0]),
        "lines_sent_each": sent,
        "lost": 2 * sent - sum(ended[1].values()),
        "dropped": sum(ended[2].values()),
    }


def main() -> int:
    failed = False
    with tempfile.TemporaryDirectory() as name:
        found = full_speed(Path(name))
    print(f"full speed: {found} (budget: ratio {RATIO:g}, nothing lost)")
    failed |= found["ratio"] < RATIO / 3 or found["lost"] + found["dropped"] > 0
    with tempfile.TemporaryDirectory() as name:
        found = two_ports(Path(name))
    print(f"two ports: {found} (budget: {CPU:.0%} of a core, nothing lost)")
    failed |= found["cpu_share"] > 3 * CPU or found["lost"] + found["dropped"] > 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
