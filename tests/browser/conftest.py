"""Chromium without a window, driven through chromedriver; both of the system."""

from __future__ import annotations

import base64
import json
import os
import shutil
from pathlib import Path

import pytest
from support.processes import CHROMIUM_FLAGS
from support.waiting import until, until_steady


class Browser:
    """One window.  `size` and `scheme` as a phone or a screen in the sun has them."""

    def __init__(self, driver) -> None:
        self.driver = driver

    def size(self, width: int, height: int, scheme: str = "dark") -> None:
        self._cdp("Emulation.setDeviceMetricsOverride",
                  width=width, height=height, deviceScaleFactor=1, mobile=width < 600)  # fmt: skip
        self._cdp("Emulation.setEmulatedMedia",
                  features=[{"name": "prefers-color-scheme", "value": scheme}])  # fmt: skip

    def media(self, name: str) -> None:
        """Lay the page out for `print` or `screen`; "" as the window has it."""
        self._cdp("Emulation.setEmulatedMedia", media=name)

    def open(self, url: str) -> None:
        self.driver.get("about:blank")  # so that nothing of the page before is heard any more
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(url)

    def js(self, script: str, *args):
        return self.driver.execute_script(script, *args)

    def text(self, name: str) -> str:
        return self.js(
            "const n = document.getElementById(arguments[0]); return n ? n.innerText : ''", name
        )

    def console(self) -> list[str]:
        """What the console said since `open`, bar what the browser says of its own."""
        return [row["message"] for row in self.driver.get_log("browser") if row["level"] != "INFO"]

    def requested(self) -> list[str]:
        """Every address that was asked for since `open`."""
        urls = []
        for row in self.driver.get_log("performance"):
            message = json.loads(row["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                urls.append(message["params"]["request"]["url"])
        return urls

    def updated(self, more: int = 4, within_s: float = 10.0) -> None:
        """Wait until the live page has drawn `more` further answers of its server."""
        updates = "return haulTest.stats.updates"
        awaited = self.js(updates) + more
        until(lambda: self.js(updates) >= awaited, within_s, f"{more} more updates of the page")

    def steady(self, script: str, *args):
        """What the script returns as soon as it returns the same twice in a row."""
        return until_steady(lambda: self.js(script, *args), what=script)

    def shot(self, path: Path) -> None:
        data = self._cdp("Page.captureScreenshot", format="png")["data"]
        path.write_bytes(base64.b64decode(data))

    def _cdp(self, command: str, **arguments):
        return self.driver.execute_cdp_cmd(command, arguments)


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if chromium is None or driver is None:
        pytest.skip("needs chromium and chromedriver: apt-get install chromium chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in CHROMIUM_FLAGS:
        options.add_argument(flag)
    options.add_argument(f"--user-data-dir={tmp_path_factory.mktemp('profile')}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    service = webdriver.ChromeService(driver)
    opened = webdriver.Chrome(options=options, service=service)
    opened.set_script_timeout(120)
    yield Browser(opened)
    opened.quit()


@pytest.fixture
def shots(tmp_path) -> Path:
    """Where pictures go: HAUL_SHOTS, or the test's own folder."""
    folder = Path(os.environ.get("HAUL_SHOTS") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    return folder
