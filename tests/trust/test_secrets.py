"""No password and no token that stands in a port comes into an error line, a log, a session or what is printed,
whatever kind of port it is and whichever command is called."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.channels import channel
from support.rigs import STRAIGHT_PULL
from support.yard import snapshot

from dashboard.cli import main
from logger.channels.port_schemes import SCHEMES

SECRET = "seven-blocks-of-oak"
FORMS = ("{}://crew:SECRET@127.0.0.1:1/t", "{}://127.0.0.1:1/t?token=SECRET", "{}://crew:a/SECRET@127.0.0.1:1/t",
         "{}://:SECRET@127.0.0.1/t", "{}://crew:SECRET@", "{}://crew:x@SECRET@127.0.0.1:1")  # fmt: skip
NAMES = [name for name in SCHEMES if name] + ["spy", "mqtt5"]
PORTS = [
    form.format(name).replace("SECRET", SECRET)
    for name in NAMES
    for form in FORMS
    if name != "hwgrep" or "?" not in form  # a regular expression, which nobody logs in with
]


def text_of(folder: Path) -> bytes:
    """All that stands in the files of a folder, but for the sensors file that holds the port."""
    return b"".join(data for name, data in snapshot(folder).items() if name != "sensors.toml")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for all that a command may write, logs too."""
    for name in ("HOME", "TMPDIR", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    (tmp_path / "rig.toml").write_text(STRAIGHT_PULL, "utf-8")
    (tmp_path / "true.toml").write_text("pulley_efficiency = 0.85\nload_force_N = 813.0\n", "utf-8")
    return tmp_path


@pytest.mark.parametrize("port", PORTS)
def test_a_secret_in_a_port_goes_nowhere(
    port: str, home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    keys: dict[str, str | int | float] = {"format": "json", "id": "f", "unit": "N", "baud": 9600}
    if port.startswith("modbus"):
        keys = {"format": "modbus", "device_id": 1, "table": "input", "register": 0, "type": "int16", "every_s": 1.0, "unit": "N"}  # fmt: skip
    Path("sensors.toml").write_text(channel("force", "force", port=port, **keys), "utf-8")
    Path("t.csv").write_text("time_s,force\n0.0,1.0\n", "utf-8")
    calls = (
        ["listen", port, "--for", "0.05"],
        ["listen", port, "--for", "0.05", "--json"],
        ["record", "rig.toml", "sensors.toml", "--out", "haul", "--for", "0.05"],
        ["simulate", "rig.toml", "sensors.toml", "--true", "true.toml"],
        ["import", "t.csv", "--rig", "rig.toml", "--sensors", "sensors.toml", "--out", "imported"],
    )
    for argv in calls:
        status = main(argv)
        said = capsys.readouterr()
        assert (status != 0 and said.err.count("\n") <= 1) or argv[0] == "listen", (argv, said)
        assert SECRET not in said.out + said.err, argv
        assert "Traceback" not in said.err
    assert SECRET.encode() not in text_of(home)
    assert not Path("haul").exists() and not Path("imported").exists()


def test_a_secret_is_refused_in_the_unicode_and_the_escapes_of_a_file(home: Path) -> None:
    """A TOML escape hides a password from the eye, not from the check."""
    from logger.channels.sensors_file import parse_sensors
    from logger.errors import SensorsFault

    hidden = "".join(f"\\u{ord(letter):04x}" for letter in SECRET)
    text = channel("f", "force", format="json", id="f", unit="N", port="PORT")
    text = text.replace(json.dumps("PORT"), f'"mqtt://crew:{hidden}@h/t"')
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s")
    assert SECRET not in str(caught.value) and "HAUL_MQTT_PASSWORD" in str(caught.value)
