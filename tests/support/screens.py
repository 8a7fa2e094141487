"""The screens on which a page is looked at: one by every run of the tests, the others by .ci/run (`many`)."""

from __future__ import annotations

import pytest

# width and height in CSS px, colour scheme: the phone by day and the desk by night, then the other way round
SCREENS = [
    pytest.param(390, 844, "light"),
    pytest.param(1280, 800, "dark", marks=pytest.mark.many),
    pytest.param(390, 844, "dark", marks=pytest.mark.many),
    pytest.param(1280, 800, "light", marks=pytest.mark.many),
]
