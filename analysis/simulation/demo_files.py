"""The ports of the demo's two virtual devices, and its sensors file with these ports."""

from __future__ import annotations

import json
import socket
import sys
from collections.abc import Sequence
from pathlib import Path


def demo_ports(work: Path) -> list[str]:
    """A port for each of the two devices: pseudo-terminals below `work`, or TCP on a system without them."""
    if sys.platform != "win32":
        return [str(work / "haul-device"), str(work / "cradle-device")]
    urls = []
    for _ in range(2):
        with socket.create_server(("127.0.0.1", 0)) as server:
            urls.append(f"socket://127.0.0.1:{server.getsockname()[1]}")
    return urls


def with_ports(text: str, names: Sequence[str]) -> str:
    """The text of the sensors file with the port of its device in each channel; names: of the two
    ports."""
    from analysis.simulation.demo_haul import PORTS

    for name, channels in zip(names, PORTS, strict=True):
        for channel in channels:
            line = f'name = "{channel}"\n'
            assert text.count(line) == 1, channel
            text = text.replace(line, f"{line}port = {json.dumps(name)}\nbaud = 115200\n")
    return text
