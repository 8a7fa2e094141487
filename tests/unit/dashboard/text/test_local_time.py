"""A time of day is shown where the machine is, and says how far that is from UTC."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.text.local_time import local_time

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no tzset")


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Central European time by its rule (POSIX TZ), so that no table of zones is needed."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("moment", "said"),
    [
        ("2026-05-04T10:00:00.000Z", "2026-05-04 12:00:00 +02:00"),
        ("2026-01-04T23:30:59Z", "2026-01-05 00:30:59 +01:00"),
        ("2026-03-29T00:59:59Z", "2026-03-29 01:59:59 +01:00"),  # the hour before summer time
        ("2026-03-29T01:00:00Z", "2026-03-29 03:00:00 +02:00"),
        ("2026-05-04T10:00:00", "2026-05-04 12:00:00 +02:00"),
        ("2026-05-04T10:00:00-05:00", "2026-05-04 17:00:00 +02:00"),
        ("", None), ("yesterday", None), ("0001-01-01T00:00:00+14:00", None),
    ],
)  # fmt: skip
def test_the_offset_is_that_of_the_moment(zone: None, moment: str, said: str | None) -> None:
    assert local_time(moment) == said


@given(st.text(max_size=40))
def test_no_text_breaks_it(text: str) -> None:
    local_time(text)
