"""A yard to record in, and the texts of its two channels: a cell at the haul, a counter on the rope."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.yard import HAUL_FORCE, HAUL_TRAVEL, Yard

from logger.channels.channel import Channel
from logger.channels.sensors_file import parse_sensors


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    opened = Yard(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def force() -> str:
    return HAUL_FORCE


@pytest.fixture
def travel() -> str:
    return HAUL_TRAVEL


@pytest.fixture
def channels() -> Callable[[str], tuple[Channel, ...]]:
    return lambda text: parse_sensors(text, "sensors.toml").channels
