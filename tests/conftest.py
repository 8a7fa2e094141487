"""In CI nothing is skipped: what a test needs is there, or its skip is a failure.

With `-n 3` three processes share the tests, most of which wait for a device, a page or a clock.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from support.leftovers import nothing_left as nothing_left
from support.leftovers import pytest_fixture_setup as pytest_fixture_setup

# no time limit for an example: how long one takes is the machine's affair
settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")

# files and folders of tests that open no device
NO_DEVICE = (
    "tests/coverage/", "tests/unit/analysis/", "tests/unit/dashboard/rig_page/",
    *(f"tests/browser/test_{name}.py" for name in (
        "alarm_headline", "convert_page", "crew_sheets", "layout", "plan_page", "report_pages", "result_pages",
        "review_page", "rig_page", "rig_questions")),
    "tests/project/test_wheel.py",
)  # fmt: skip
OTHER_SYSTEM = "other system:"  # begins the reason of a skip that CI lets pass


@pytest.fixture(scope="session", autouse=True)
def caches(tmp_path_factory):
    """No test leaves anything in the cache folder of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("cache")))
        yield


def pytest_itemcollected(item):
    """A test is of one tier: one marked `long` as well would make `pytest -m many` longer by half an hour."""
    if item.get_closest_marker("many") and item.get_closest_marker("long"):
        raise pytest.UsageError(f"{item.nodeid} is marked both `many` and `long`: choose one")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Files are given out whole and in their order, those with a browser in two halves: they wait longest,
    so they come first, and two browsers at a time are enough for a machine of two cores.

    Of the tests marked `many`, those that open no device run beside all others, which run one after another:
    they close pseudo-terminals whose number the system soon gives to somebody else."""
    from xdist.scheduler import LoadFileScheduling

    files = sorted((Path(__file__).parent / "browser").glob("test_*.py"))
    turns = {f"tests/browser/{path.name}": turn for turn, path in enumerate(files)}
    many = config.option.markexpr == "many"

    class InOrder(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = super()._split_scope(nodeid)
            if many:
                return file if file.startswith(NO_DEVICE) else "devices"
            return f"browser {turns[file] % 2}" if file in turns else file

    config.option.loadscopereorder = False
    return InOrder(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if os.environ.get("HAUL_CI") and report.skipped and not hasattr(report, "wasxfail"):
        reason = str(call.excinfo.value) if call.excinfo else ""
        if OTHER_SYSTEM not in reason:
            report.outcome = "failed"
            report.longrepr = f"{item.nodeid} is skipped in CI, where nothing may be: {reason}"
    return report
