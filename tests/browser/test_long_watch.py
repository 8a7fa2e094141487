"""A page that is looked at for long: its memory stays where it was."""

import os
import time

import pytest
from support.processes import RecordedHaul
from support.waiting import until

SOAK_S = float(os.environ.get("HAUL_SOAK_S", "1800"))
SETTLED_S = 60.0
MOST_BYTES = 20e6


def heap(browser) -> float:
    """Bytes of JavaScript in use, after what is no longer used was collected."""
    for _ in range(2):
        browser._cdp("HeapProfiler.collectGarbage")
    return browser._cdp("Runtime.getHeapUsage")["usedSize"]


@pytest.mark.long
def test_half_an_hour_of_watching_grows_the_browsers_heap_by_less_than_20_mb(browser, tmp_path):
    with RecordedHaul(tmp_path) as haul:
        browser.size(1280, 800)
        browser.open(haul.url)
        until(
            lambda: browser.js("return Boolean(window.haulTest && haulTest.stats.updates > 10)"),
            20,
            "it runs",
        )
        browser._cdp("HeapProfiler.enable")
        browser.js("document.querySelector('#spans button[value=all]').click()")
        began = time.monotonic()
        first = last = None
        seen = []
        while time.monotonic() - began < SOAK_S:
            # 25 s of hauling, then the rope eased and fed back
            into = (time.monotonic() - began) % 40.0
            hauling = into < 25.0
            haul.device.force_N = 300.0 + 100.0 * (int(into * 2) % 2) if hauling else 0.5
            haul.device.speed_m_s = 0.3 if hauling else -0.4 if into > 30.0 else 0.0
            time.sleep(0.5)  # the pace at which the hands change the force
            if time.monotonic() - began > SETTLED_S and int(into) % 20 == 0:
                last = heap(browser)
                first = last if first is None else first
                seen.append(round(last / 1e6, 1))
            browser.driver.get_log("performance")  # what the driver keeps is not the page's
        assert first is not None and last is not None
        print(f"{SOAK_S:.0f} s, heap in MB: {seen}")
        assert last - first < MOST_BYTES, seen
        assert browser.js("return haulTest.stats.errors") < 5
