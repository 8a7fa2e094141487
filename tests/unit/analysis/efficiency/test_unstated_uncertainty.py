"""Nothing that rests on a channel without a stated uncertainty has a value with an interval."""

from __future__ import annotations

import numpy as np
import pytest
from support.channels import UNITS, channel
from support.readings import KINDS, block, pull, review, three

from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors

U = {"haul": "u = 2.0", "cell": "u_percent = 1.0", "rope": "u = 0.01", "way": "u = 0.01"}


def stated_by(*names: str) -> Sensors:
    """Haul cell, cell at the load, rope and load counter, of which these state an uncertainty."""
    return parse_sensors(
        "".join(
            channel(name, quantity, *([U[name]] if name in names else []), at=at, format="columns", column=k, unit=UNITS[quantity])
            for k, name in enumerate(U, 1) for quantity, at in (KINDS[name],)
        ), "sensors.toml",
    )  # fmt: skip


def haul():
    t, x, force = pull(50.0, 400.0)
    n = 3
    times = np.concatenate([t + k * t[-1] + 0.02 * k for k in range(n)])
    rope = np.concatenate([x + k * x[-1] for k in range(n)])
    force = np.concatenate([force] * n)
    return block(
        haul=(times, force), cell=(times, 2.6 * force), rope=(times, rope), way=(times, rope / 3)
    )


def quantities(reviewed: dict) -> set[str]:
    """Names of the quantities that have a value."""
    return {name for name, one in reviewed["measured"].items() if isinstance(one, dict)}


ALL = {"haul_force_N", "load_force_N", "actual_ma", "efficiency", "pulley_efficiency",
       "travel_efficiency", "work_efficiency"}  # fmt: skip


@pytest.mark.parametrize(
    ("without", "left"),
    [
        ("", ALL),
        ("haul", {"load_force_N", "travel_efficiency"}),
        ("cell", {"haul_force_N", "travel_efficiency"}),
        ("rope", ALL - {"travel_efficiency", "work_efficiency"}),
        ("way", ALL - {"travel_efficiency", "work_efficiency"}),
    ],
)
def test_only_what_rests_on_channels_that_state_an_uncertainty_is_left(without, left):
    reviewed = review(three(1000, 10), stated_by(*(U.keys() - {without})), haul())
    assert quantities(reviewed) == left
    cautions = [m for m in reviewed["messages"] if m["code"] == "uncertainty_not_stated"]
    assert [m["values"]["channel"] for m in cautions] == ([without] if without else [])
    assert all(m["level"] == "caution" and m["text"] in reviewed["warnings"] for m in cautions)
    assert ("no uncertainty" in reviewed["measured"]["why_not"]) == bool(without)
    if without in ("haul", "cell"):
        assert all(stroke["efficiency"] is None for stroke in reviewed["strokes"])
        assert reviewed["agreement"]["en"] is None
    assert reviewed["measured"]["haul_travel_m"] is not None
