"""A device that counts, on a pseudo-terminal that the yard's sensors file names."""

from __future__ import annotations

import pytest
from support.yard import Yard, force

from logger.transports.simulated import PtyDevice


@pytest.fixture
def counting_device(yard: Yard) -> PtyDevice:
    device = yard.pty()
    yard.write(force(device.url))
    return device
