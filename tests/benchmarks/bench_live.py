"""The page's answers over a session of ten hours: server time and bytes, against a short session and
against sending the whole figure each tick; what a tick and opening cost.

Prints value and budget; fails at three times a budget only.  HOURS as argument, default 10.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support.channels import force, rope
from support.growing_session import Growing

from dashboard.live.session_hub import Hub
from dashboard.watch.server import FaultLog, Server

RATE = 20  # Hz of what was recorded before; what comes live has 100 Hz
LIVE_S = 6.0
CYCLE_S = 60.0  # 40 s of hauling, 20 s of reset
SENSORS = force("u = 1.0") + rope()


def pull(time_s):
    """Force and rope at these times: hand over hand, then a reset that feeds most of it back."""
    into = time_s % CYCLE_S
    hauling = into < 40.0
    tension = np.where(hauling, 340.0 + 90.0 * np.sin(6.3 * time_s), 0.5)
    gained = 2.0 * np.floor(time_s / CYCLE_S)
    return tension, gained + np.where(hauling, 0.25 * into, 10.0 - 8.0 * (into - 40.0) / 20.0)


def record(session: Growing, from_s: float, until_s: float, rate: float) -> None:
    """Rows of both channels and the clock, as a recorder appends them."""
    time_s = np.arange(from_s, until_s, 1 / rate)
    for name, values in zip(("haul_force", "rope_out"), pull(time_s), strict=True):
        session.rows(name, time_s, values)
    session.clock(until_s)


def measure(folder: Path, hours: float, crowd: bool = True) -> dict[str, float]:
    session = Growing(folder, sensors=SENSORS)
    whole = hours * 3600
    step = 600.0
    for begin in np.arange(0, whole, step):
        record(session, float(begin), float(min(begin + step, whole)), RATE)
    began = time.perf_counter()
    hub = Hub(folder, FaultLog())
    watch = hub.get("")
    while watch.ticked is None:
        time.sleep(0.01)
    found = {"open_s": time.perf_counter() - began}
    server = Server(hub)
    threading.Thread(target=server.run, daemon=True).start()
    stop = threading.Event()

    def go_on() -> None:
        at, start = whole, time.monotonic()
        while not stop.wait(0.1):
            now = whole + time.monotonic() - start
            record(session, at, now, 100)
            at = now

    writer = threading.Thread(target=go_on)
    writer.start()

    def ask(query: str) -> tuple[dict, int, float, float]:
        sent = time.perf_counter()
        with urllib.request.urlopen(f"{server.url}since?{query}") as answer:
            data = answer.read()
            took = float(re.search(r"dur=([0-9.]+)", answer.headers["Server-Timing"])[1])
        return json.loads(data), len(data), took, 1000 * (time.perf_counter() - sent)

    told, size, took, _ = ask("span=all")
    while told.get("more"):  # bins come in portions
        told, *_ = ask(f"seq={told['seq']}&v={told['version']}&span=all")
    found |= {"first_ms": took, "first_bytes": size}
    servers, trips, sizes = [], [], []
    until = time.monotonic() + LIVE_S
    while time.monotonic() < until:
        began = time.monotonic()
        told, size, took, trip = ask(f"seq={told['seq']}&v={told['version']}&span=all")
        servers.append(took)
        trips.append(trip)
        sizes.append(size)
        time.sleep(max(0.0, 0.1 - (time.monotonic() - began)))
    if crowd:
        found["crowd_ms"], found["crowd_bytes"] = ten_viewers(server.url)
    stop.set()
    writer.join()
    found |= {
        "server_ms": float(np.percentile(servers, 95)), "trip_ms": float(np.percentile(trips, 95)),
        "bytes": max(sizes),
    }  # fmt: skip
    figure_ms, figure_bytes = whole_figure(watch)
    found |= {"figure_ms": figure_ms, "figure_bytes": figure_bytes}
    began = time.perf_counter()
    watch.live.analyser.result()
    found["result_ms"] = 1000 * (time.perf_counter() - began)
    server.close()
    hub.close()
    session.die()
    return found


def ten_viewers(url: str, viewers: int = 10) -> tuple[float, int]:
    """p95 of the server's time in ms and the largest answer in bytes, all of them from the first on; the
    viewers live in a process of their own, as browsers do."""
    asked = [sys.executable, __file__, "--viewers", str(viewers), url]
    done = subprocess.run(asked, capture_output=True, text=True, check=True)
    took, size = done.stdout.split()
    return float(took), int(size)


def look_on(viewers: int, url: str) -> None:
    """Be so many viewers for a while; print what came of it."""
    servers: list[float] = []
    sizes: list[int] = []

    def look() -> None:
        seq = version = 0
        until = time.monotonic() + LIVE_S
        while time.monotonic() < until:
            began = time.monotonic()
            with urllib.request.urlopen(f"{url}since?seq={seq}&v={version}&span=all") as answer:
                data = answer.read()
                took = float(re.search(r"dur=([0-9.]+)", answer.headers["Server-Timing"])[1])
            told = json.loads(data)
            seq, version = told["seq"], told["version"]
            servers.append(took)
            sizes.append(len(data))
            time.sleep(max(0.0, 0.1 - (time.monotonic() - began)))

    looking = [threading.Thread(target=look) for _ in range(viewers)]
    for one in looking:
        one.start()
    for one in looking:
        one.join()
    print(float(np.percentile(servers, 95)), max(sizes))


def whole_figure(watch) -> tuple[float, int]:
    """p95 of what a callback does that returns the figure: the same bins, as one figure's JSON."""
    import plotly.graph_objects as go

    took, size = [], 0
    for _ in range(30):
        began = time.perf_counter()
        pyramid = watch.publisher.board.pyramid
        bins, low, high = pyramid.bins(pyramid.level_for(None))
        x = np.repeat(bins, 2) * 1.0
        y = np.column_stack((low, high)).ravel()
        size = len(go.Figure(go.Scatter(x=x, y=y), layout={"title": "haul force"}).to_json())
        took.append(1000 * (time.perf_counter() - began))
    return float(np.percentile(took, 95)), size


def main() -> int:
    if sys.argv[1:2] == ["--viewers"]:
        look_on(int(sys.argv[2]), sys.argv[3])
        return 0
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    with tempfile.TemporaryDirectory() as folder:
        short = measure(Path(folder) / "short", 1 / 60, crowd=False)
        long = measure(Path(folder) / "long", hours)
    rows = [
        # what, value, budget (None: told only)
        (f"later answer after {hours:g} h, server time p95, ms", long["server_ms"], 10.0),
        (f"later answer after {hours:g} h, round trip p95, ms", long["trip_ms"], None),
        (f"later answer after {hours:g} h, largest, bytes", long["bytes"], 1000.0),
        (f"ten viewers after {hours:g} h, server time p95, ms", long["crowd_ms"], 10.0),
        (f"ten viewers after {hours:g} h, largest answer, bytes", long["crowd_bytes"], 10_000.0),
        ("the same after 1 min, server time p95, ms", short["server_ms"], 10.0),
        ("the same after 1 min, largest, bytes", short["bytes"], 1000.0),
        (f"first answer after {hours:g} h, server time, ms", long["first_ms"], 20.0),
        (f"first answer after {hours:g} h, bytes", long["first_bytes"], 10_000.0),
        (f"opening {hours:g} h ({RATE} Hz, 2 channels), s", long["open_s"], 15.0),
        (f"analyser's result after {hours:g} h, ms", long["result_ms"], None),
        ("whole figure each tick, server time p95, ms", long["figure_ms"], None),
        ("whole figure each tick, bytes", long["figure_bytes"], None),
    ]
    failed = 0
    for what, value, budget in rows:
        verdict = ""
        if budget is not None:
            verdict = f"budget {budget:g}" + ("" if value <= budget else ", OVER")
            failed += value > 3 * budget
        print(f"{what:58} {value:12.2f}  {verdict}")
    print(
        f"whole figure / later answer: {long['figure_bytes'] / long['bytes']:.0f} times the bytes"
    )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
