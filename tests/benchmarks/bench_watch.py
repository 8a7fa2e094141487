"""From the wire to the recorder's alarm row, and from the wire to what a browser has painted.

A pseudo-terminal sends 100 readings a second to the real recorder; the page runs in Chromium, which
draws in software.  Prints value and budget; fails at three times a budget only.  STEPS as argument,
default 25.
"""

from __future__ import annotations

import os
import random
import shutil
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support.processes import CHROMIUM_FLAGS, SENSORS, CommandedDevice, RecordedHaul
from support.waiting import until

from logger.recorder.alarms import HOLD_S

HIGH, LOW = 500.0, 20.0
MOST_S = 1.0  # a step that is not seen by then counts as this
# at each frame: have line and digits reached the other level?  Told at the frame after, when it is painted
WATCHING = """
window.steps = {line: [], digits: []};
const up = {line: false, digits: false};
function see(what, high, low) {
  if (!up[what] && high) { up[what] = true; tell(what, 1); }
  else if (up[what] && low) { up[what] = false; tell(what, 0); }
}
function look() {
  const holder = document.querySelector('#live-graph .js-plotly-plot');
  const y = holder && holder.data ? holder.data[0].y : [];
  const size = holder && holder.layout.yaxis.title.text === 'kN' ? 1000 : 1;
  const last = Array.from(y.slice(-2), v => v * size);
  see('line', last.some(v => v > 400), last.some(v => v < 100));
  const shown = document.querySelector('#tension .n').textContent;
  see('digits', Number(shown) > 60, !(Number(shown) >= 440));
  requestAnimationFrame(look);
}
function tell(what, which) {
  requestAnimationFrame(() => window.steps[what].push([which, performance.timeOrigin + performance.now()]));
}
look();
"""
# have both shown the level 1 (high) or 0 (low) since this moment, in ms?
SEEN = """
const [which, since] = arguments;
return Object.values(window.steps).every(seen => seen.some(([kind, at]) => kind === which && at > since));
"""


def row_since(events: Path, size: int, text: bytes, pause_s: float) -> float | None:
    """When a row with this text stood behind the first `size` bytes of the file; looked at so often."""
    end = time.monotonic() + 3
    while time.monotonic() < end:
        if events.stat().st_size > size and text in events.read_bytes()[size:]:
            return time.time()
        time.sleep(pause_s)
    return None


def alarms(haul: RecordedHaul, steps: int) -> list[float]:
    """Seconds from writing the reading that satisfies the rule to the alarm's row in the file."""
    events = haul.out / "events.csv"
    took = []
    for _ in range(steps):
        time.sleep(random.uniform(0.1, 0.3))  # at any moment of the writer's beat
        size = events.stat().st_size
        began = time.time()
        haul.device.force_N = 1500.0
        seen = row_since(events, size, b"stop: haul_force", 0.001)
        over = [at for at, force in haul.device.sent[-400:] if force == 1500.0 and at >= began]
        assert seen is not None, "no alarm"
        # noted after the writing, so on a busy machine late: the row may stand before we think that it can
        satisfied = next((at for at in over if at - over[0] >= HOLD_S - 0.0005), seen)
        took.append(max(0.0, seen - satisfied))
        haul.device.force_N = 1.0
        assert row_since(events, size, b"clear: haul_force", 0.02), "the alarm is not over"
    return took


def first_sent(device: CommandedDevice, level: float, after: float) -> float | None:
    """When this level was on the wire first after a moment."""
    return next((at for at, force in device.sent[-200:] if force == level and at >= after), None)


def pixels(haul: RecordedHaul, driver: object, steps: int) -> dict[str, list[float]]:
    """Seconds from writing the first reading of a step to the frame that shows it, in line and digits."""
    driver.execute_script(WATCHING)
    sent = []
    for k in range(2 * steps):
        level = HIGH if k % 2 == 0 else LOW
        haul.device.force_N = level
        sent.append(until(partial(first_sent, haul.device, level, time.time()), 2, "sent"))
        # asked only where it is late anyhow, so that asking delays no frame that keeps to the budget
        end = time.monotonic() + MOST_S
        time.sleep(0.35)
        while time.monotonic() < end:
            if driver.execute_script(SEEN, 1 - k % 2, 1000 * sent[-1]):
                break
            time.sleep(0.05)
        # the step is at rest, and the next one comes at any moment
        time.sleep(random.uniform(0.2, 0.5))
    shown = driver.execute_script("return window.steps")
    took: dict[str, list[float]] = {"line": [], "digits": []}
    for what, seen in shown.items():
        for which, level_sent in zip([1, 0] * steps, sent, strict=True):
            frames = [at / 1000 - level_sent for kind, at in seen if kind == which]
            took[what].append(min((f for f in frames if 0 < f < MOST_S), default=MOST_S))
    return took


def main() -> int:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 25
    rows: list[tuple[str, float, float | None]] = []
    sensors = SENSORS.replace("warn_at = 600.0\n", "").replace(
        "stop_at = 800.0", "stop_at = 1000.0"
    )
    with (
        tempfile.TemporaryDirectory() as folder,
        RecordedHaul(Path(folder) / "a", sensors=sensors) as haul,
    ):
        time.sleep(1.0)
        waited = alarms(haul, steps)
        rows += [
            (
                "reading that satisfies the rule to the alarm row, p95, ms",
                1000 * float(np.percentile(waited, 95)),
                250.0,
            ),
            ("the same, largest, ms", 1000 * max(waited), None),
        ]
        chromium, driver_path = shutil.which("chromium"), shutil.which("chromedriver")
        if chromium is None or driver_path is None:
            print("no chromium and chromedriver here: nothing is said of pixels")
        else:
            from selenium import webdriver

            options = webdriver.ChromeOptions()
            options.binary_location = chromium
            for flag in CHROMIUM_FLAGS:
                options.add_argument(flag)
            driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver_path))
            try:
                driver.set_window_size(1280, 800)
                driver.get(haul.url)
                until(lambda: driver.execute_script("return window.haulTest && haulTest.stats.updates > 20"),
                           20, "a page that runs")  # fmt: skip
                before, began = (
                    driver.execute_script("return haulTest.stats.updates"),
                    time.monotonic(),
                )
                took = pixels(haul, driver, steps)
                rate = (driver.execute_script("return haulTest.stats.updates") - before) / (
                    time.monotonic() - began
                )
                size = driver.execute_script("return haulTest.stats.largest")
            finally:
                driver.quit()
            for what, each in took.items():
                rows += [
                    (
                        f"wire to pixels at 100 Hz, {what}, p50, ms",
                        1000 * float(np.median(each)),
                        None,
                    ),
                    (
                        f"wire to pixels at 100 Hz, {what}, p95, ms",
                        1000 * float(np.percentile(each, 95)),
                        300.0,
                    ),
                ]
            rows += [
                ("milliseconds between updates", 1000 / rate, 111.0),  # 9 a second
                ("largest later answer, bytes", size, 10_000.0),
            ]
    failed = 0
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for what, value, budget in rows:
        verdict = ""
        if budget is not None:
            verdict = f"budget {budget:g}" + ("" if value <= budget else ", OVER")
            failed += value > 3 * budget
        print(f"{what:62} {value:10.1f}  {verdict}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
