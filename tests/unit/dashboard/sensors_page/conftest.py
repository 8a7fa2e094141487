"""A desk over a folder with one rig, its sensors page, and devices that a test holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.desk_server import OpenDesk
from support.emulated_devices import Emulated
from support.held_device import HeldDevice
from support.rigs import three_to_one
from support.sensors_desk import SensorsHand
from support.serial_wire import noting_framings
from support.waiting import until


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The desk's folder."""
    made = tmp_path / "yard"
    made.mkdir()
    (made / "launch.toml").write_text(three_to_one(), "utf-8")
    return made


@pytest.fixture
def hand(folder: Path) -> Iterator[SensorsHand]:
    """The operator of a desk over the folder."""
    desk = OpenDesk(folder)
    yield SensorsHand(desk)
    desk.close()


@pytest.fixture
def plug(tmp_path: Path) -> Iterator[Callable[..., HeldDevice]]:
    """Plugs a held device in."""
    made: list[HeldDevice] = []

    def plugged(device: Emulated, noise: float = 1.0, value: float = 0.0) -> HeldDevice:
        made.append(HeldDevice(device, tmp_path, len(made) + 1, noise=noise))
        made[-1].value = value
        return made[-1]

    with noting_framings():
        yield plugged
        for one in made:
            one.close()


@pytest.fixture
def channel(hand: SensorsHand) -> Callable[..., str]:
    """Makes the first number of a device a channel; returns its name."""

    def made(device: HeldDevice, quantity: str, unit: str, at: str = "haul") -> str:
        assert hand.do("address", address=device.port) == ""
        until(lambda: hand.places(device.port), 30, "a number")
        assert hand.live_act("number", device.port, hand.places(device.port)[0]) == ""
        assert hand.do("what", quantity) == "" and hand.do("unit", unit) == ""
        if unit == "count":
            hand.do("count later")
        assert hand.do("where", at) == ""
        return str(hand.desk.server.sensors.store.state.step.channel)

    return made
