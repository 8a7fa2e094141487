"""Parameters of a test that runs in many ways: some in every run of the tests, all by .ci/run (`many`)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def every(nth: int, values: Iterable[Any]) -> list[Any]:
    """The values, each as one parameter; all but the first of every `nth` are marked `many`."""
    return [
        value if place % nth == 0 else pytest.param(value, marks=pytest.mark.many)
        for place, value in enumerate(values)
    ]
