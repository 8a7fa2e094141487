"""What the review page costs: any window of ten million readings, and the answers of a sample session.

Run: python tests/benchmarks/bench_review_page.py.  Budgets: 5 ms of work for a window of any width
of 10 million readings, 17 bytes kept a reading, 50 ms for an answer of the page that was read once.
CPU time, median of 15.  Exit status 1 beyond three times a budget.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
from support.channels import json_channel  # noqa: E402

WINDOW_MS, ANSWER_MS, READING_BYTES = 5.0, 50.0, 17.0
READINGS, RATE = 10_000_000, 1000
CELL = json_channel("f", "force", "f")


def median_ms(call: Callable[[], object]) -> float:
    took = []
    for _ in range(15):
        start = time.process_time()
        call()
        took.append(time.process_time() - start)
    return 1000 * statistics.median(took)


def main() -> int:
    from dashboard.live.state_feed import encode
    from dashboard.review.figures import over_time, plain
    from dashboard.review.session_review import SessionReview
    from dashboard.review.tables import page_data
    from dashboard.review.windowed_series import Series
    from dashboard.text.units import METRIC
    from logger.channels.sensors_file import parse_sensors
    from logger.session.records import ChannelReadings

    series = Series(parse_sensors(CELL, "sensors.toml").channels[0])
    value = np.random.default_rng(1).normal(400, 20, READINGS // 10)
    for k in range(10):
        time_s = (np.arange(len(value)) + k * len(value)) / RATE
        series.push(ChannelReadings(time_s, value))
    middle = READINGS / RATE / 2
    worst = 0.0
    for span in (1.0, 10.0, 99.0, 101.0, 1000.0, READINGS / RATE):
        ms = median_ms(lambda s=span: series.window(middle - s / 2, middle + s / 2))
        points = len(series.window(middle - span / 2, middle + span / 2).path(1.0)[0])
        print(
            f"window of {span:7.0f} s of 10 M   {ms:8.2f} ms   {points} points   budget {WINDOW_MS:g} ms"
        )
        worst = max(worst, ms)
    kept = series._store._time_s.nbytes + series._store._value.nbytes
    held = kept * series._store.n / len(series._store._time_s) / READINGS
    print(f"kept a reading              {held:8.1f} bytes, and up to as many in hand")

    page = SessionReview(ROOT / "sample_logs" / "slipway-launch-1")
    now, span_s = page.reviewed(), page.span()
    data = median_ms(lambda: encode(page_data(now, METRIC)))
    window = median_ms(lambda: encode(plain(over_time(page, now, METRIC, *span_s, 1200)[0])))
    print(f"all texts of the page       {data:8.2f} ms   budget {ANSWER_MS:g} ms")
    print(f"the plot over time          {window:8.2f} ms   budget {ANSWER_MS:g} ms")
    good = worst < 3 * WINDOW_MS and max(data, window) < 3 * ANSWER_MS and held < 3 * READING_BYTES
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
