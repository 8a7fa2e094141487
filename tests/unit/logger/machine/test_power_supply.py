"""The power source and the battery's charge, from the system's own files.

Their words are from the Linux kernel's Documentation/ABI/testing/sysfs-class-power.
"""

from pathlib import Path

import pytest
from support.systems import linux

from logger.machine.power_supply import PowerState, read_power


def supplies(folder: Path, **devices) -> Path:
    for name, files in devices.items():
        (folder / name).mkdir(parents=True)
        for key, text in files.items():
            (folder / name / key).write_bytes(text.encode("latin-1") + b"\n")
    return folder


CELL = {"type": "Battery", "scope": "System", "capacity": "54"}


PLUG = {"type": "Mains", "online": "1"}


@linux
@pytest.mark.parametrize(
    ("devices", "source", "percent"),
    [
        ({"BAT0": CELL | {"status": "Discharging"}, "AC": PLUG | {"online": "0"}}, "battery", 54),
        ({"BAT0": CELL | {"status": "Charging"}, "AC": PLUG}, "mains", 54),
        ({"BAT0": CELL | {"status": "Full"}}, "mains", 54),
        ({"BAT0": CELL | {"status": "Not charging"}, "AC": PLUG}, "mains", 54),
        # a charger too weak for what is drawn
        ({"BAT0": CELL | {"status": "Discharging"}, "AC": PLUG}, "battery", 54),
        ({"BAT0": CELL | {"status": "Unknown"}}, "", 54),
        ({"BAT0": CELL | {"status": "Discharging"},
          "BAT1": CELL | {"status": "Not charging", "capacity": "100"}}, "battery", 77),
        ({"ups": {"type": "UPS", "status": "Discharging", "capacity": "80"}}, "battery", 80),
        ({"mouse": CELL | {"scope": "Device", "status": "Discharging"}, "AC": PLUG}, "mains", None),
        ({"mouse": CELL | {"scope": "Device", "status": "Discharging"}}, "", None),
        ({"usb": {"type": "USB", "online": "1"}}, "mains", None),
        ({"AC": PLUG | {"online": "0"}}, "", None),
        ({"BAT0": {"type": "Battery", "status": "Discharging", "capacity": "900"}}, "battery", None),
        ({"BAT0": {"type": "Battery", "status": "Discharging", "capacity": "\xff\x00x"}}, "battery", None),
        ({"BAT0": {}}, "", None),
        ({}, "", None),
    ],
)  # fmt: skip
def test_power_is_what_the_kernel_says(tmp_path, devices, source, percent):
    assert read_power(supplies(tmp_path, **devices)) == PowerState(source, percent)


def test_power_that_nobody_tells_of_is_not_known(tmp_path):
    assert read_power(tmp_path / "nothing").text() == "not known"
    assert PowerState("battery", 54.4).text() == "on battery, 54 %, not charging: connect power"
    assert PowerState("mains", None).text() == "mains"
