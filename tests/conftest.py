"""In CI nothing is skipped: what a test needs is there, or its skip is a failure."""

from __future__ import annotations

import os

import pytest

OTHER_SYSTEM = "other system:"  # begins the reason of a skip that CI lets pass


@pytest.fixture(scope="session", autouse=True)
def caches(tmp_path_factory):
    """No test leaves anything in the cache folder of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if os.environ.get("HAUL_CI") and report.skipped and not hasattr(report, "wasxfail"):
        reason = str(call.excinfo.value) if call.excinfo else ""
        if OTHER_SYSTEM not in reason:
            report.outcome = "failed"
            report.longrepr = f"{item.nodeid} is skipped in CI, where nothing may be: {reason}"
    return report
