"""A launch on its cradle comes up a slipway: a cell at the haul, a counter on the rope."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from support.channels import channel

from logger.channels.channel import Channel, Sensors
from logger.channels.sensors_file import parse_sensors
from logger.session.csv_import import import_table
from logger.transports.simulated import PtyDevice, TcpDevice, serve_pty, serve_tcp

FORCE = channel("haul_force", "force", format="xdr", id="HAUL", capacity=5000.0, u=2.0)
TRAVEL = channel("haul_travel", "length", format="xdr", id="ROPE")


@dataclass
class Yard:
    """A folder with a rig, a sensors file and devices that lines can be sent through."""

    folder: Path
    devices: list[PtyDevice | TcpDevice] = field(default_factory=list)

    @property
    def rig(self) -> Path:
        return self.folder / "rig.toml"

    @property
    def sensors(self) -> Path:
        return self.folder / "sensors.toml"

    @property
    def out(self) -> Path:
        return self.folder / "session"

    def write(self, sensors: str) -> Sensors:
        self.rig.write_text('title = "slipway"\n')
        self.sensors.write_text(sensors)
        return parse_sensors(sensors, str(self.sensors), self.folder)

    def pty(self) -> PtyDevice:
        device = serve_pty()
        self.devices.append(device)
        return device

    def tcp(self) -> TcpDevice:
        device = serve_tcp()
        self.devices.append(device)
        return device

    def table(self, rows: int = 50) -> Path:
        path = self.folder / "table.csv"
        lines = [f"{i / 100:.2f},{1000 + i * 0.5:.1f},{i * 0.003:.3f}" for i in range(rows)]
        path.write_text("time_s,haul_force,haul_travel\n" + "\n".join(lines) + "\n")
        return path

    def imported(self, rows: int = 50, name: str = "session") -> Path:
        self.write(FORCE + TRAVEL)
        return import_table(self.table(rows), self.rig, self.sensors, self.folder / name)


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    found = Yard(tmp_path)
    yield found
    for device in found.devices:
        device.close()


@pytest.fixture
def force() -> str:
    return FORCE


@pytest.fixture
def travel() -> str:
    return TRAVEL


@pytest.fixture
def channels() -> Callable[[str], tuple[Channel, ...]]:
    return lambda text: parse_sensors(text, "sensors.toml").channels
