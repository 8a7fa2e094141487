"""The sensors file says what it means, or one line says what to write instead."""

from __future__ import annotations

import numpy as np
import pytest
from support.channels import channel

from logger.channels.sensors_file import for_recording, load_sensors, parse_sensors
from logger.errors import SensorsFault

COLUMNS = channel(
    "{name}",
    "length",
    at="load",
    port="/dev/ttyUSB0",
    baud=9600,
    format="columns",
    column=0,
    unit="mm",
).replace("column = 0", "column = {column}")


def test_every_key_of_the_interface_is_read() -> None:
    """Keys and defaults: interface section 2."""
    text = """
    [[channel]]
    name = "haul_force"
    quantity = "force"
    at = "A1>T1"
    port = "/dev/ttyUSB0"
    baud = 115200
    format = "json"
    id = "HAUL"
    unit = "lbf"
    zero = 12.0
    scale = 2.0
    u_percent = 0.5
    u = 2.0
    capacity = 5000.0
    stale_after_s = 0.5
    warn_at = 2000.0
    stop_at = 3000.0
    """
    channel = parse_sensors(text, "s.toml").by_name("haul_force")
    assert (channel.at, channel.baud, channel.stale_after_s) == ("A1>T1", 115200, 0.5)
    # 1 lbf = 4.4482216152605 N exactly (NIST SP 811, B.8)
    assert channel.si(112.0) == pytest.approx(200 * 4.4482216152605, rel=1e-15)
    assert channel.si(112.0, zero=100.0) == pytest.approx(24 * 4.4482216152605, rel=1e-15)
    assert channel.u_si(1000.0) == pytest.approx((5.0**2 + 2.0**2) ** 0.5)


@pytest.mark.parametrize(
    ("quantity", "unit", "si"),
    # NIST SP 811, appendix B: exact by definition
    [
        ("force", "N", 1.0),
        ("force", "kN", 1e3),
        ("force", "kgf", 9.80665),
        ("force", "kg", 9.80665),
        ("force", "g", 9.80665e-3),
        ("force", "lbf", 4.4482216152605),
        ("force", "lb", 4.4482216152605),
        ("length", "m", 1.0),
        ("length", "mm", 1e-3),
        ("length", "cm", 1e-2),
        ("length", "ft", 0.3048),
        ("length", "in", 0.0254),
        ("force", "count", 1.0),
        ("length", "count", 1.0),
    ],
)
def test_units_are_worth_what_they_are(quantity: str, unit: str, si: float) -> None:
    text = channel("c", quantity, format="json", id="c", unit=unit)
    if unit == "count":
        text += "scale = 1.0\n"
    parsed = parse_sensors(text, "s.toml").channels[0]
    assert parsed.si(1.0) == pytest.approx(si, rel=1e-15)
    assert np.allclose(parsed.si(np.array([1.0, 2.0])), [si, 2 * si], rtol=1e-15)


@pytest.mark.parametrize(("quantity", "worth"), [("force", "newtons"), ("length", "metres")])
def test_counts_without_a_scale_are_refused_with_what_to_write(quantity: str, worth: str) -> None:
    """They would be taken for newtons or metres.  A session that was recorded so still reads."""
    text = channel("c", quantity, format="json", id="c", unit="count")
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s.toml")
    assert str(caught.value) == (
        's.toml: channel c: scale: is missing, and unit = "count" needs it; '
        f"write scale = the {worth} in one count, or name a calibration"
    )
    assert parse_sensors(text, "s.toml", recorded=True).channels[0].si(2.0) == 2.0


def test_whether_an_uncertainty_is_stated_is_kept() -> None:
    """A stated 0 is a statement."""
    text = channel("c", "force", format="json", id="c", unit="N")
    stated = ["u = 0.0\n", "u = 1.0\n", "u_percent = 0.5\n"]
    assert not parse_sensors(text, "s.toml").channels[0].states_u
    assert all(parse_sensors(text + line, "s.toml").channels[0].states_u for line in stated)


def test_saturation_is_judged_before_any_zero(force: str) -> None:
    channel = parse_sensors(force + "zero = 300.0\n", "s.toml").channels[0]
    assert not channel.saturated(5000.0)
    assert channel.saturated(5000.1) and channel.saturated(-5000.1)
    assert channel.saturated(np.array([4999.0, 5001.0])).tolist() == [False, True]
    assert (
        parse_sensors(force.replace("capacity = 5000.0", ""), "s").channels[0].saturated(9e9)
        is False
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ('quantity = "forse"', 'write "force"'),
        ('unit = "m"', 'write unit = "N"'),
        ('colour = "red"', "unknown key"),
        ("stale_after_z = 1.0", "write stale_after_s"),
        ("zero = nan", "not a finite number"),
        ("scale = 0.0", "0 would make every value 0"),
        ("u = -1.0", "out of range"),
        ("capacity = 0.0", "not above 0"),
        ("capacity = 1000.0\nstop_at = 2000.0", "above the capacity"),
        ("warn_at = 2000.0\nstop_at = 1000.0", "above stop_at"),
        ("column = 2", "does not belong to format xdr"),
        ('id = "A,B"', "cannot stand in an xdr sentence"),
        ('id = ""', "is missing"),
        ('name = "time_s"', "name of a column"),
        ('name = "a\\nb"', "control character"),
        ("baud = true", "not a whole number"),
        ('calibration = "none.toml"', "no such file"),
        ('checksum = "no"', "not true or false"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(change: str, said: str) -> None:
    keys = {"name": '"c"', "quantity": '"force"', "at": '"haul"', "format": '"xdr"', "id": '"H"'}
    lines = {key: f"{key} = {value}" for key, value in keys.items()}
    for line in change.split("\n"):
        lines[line.split(" =")[0]] = line
    with pytest.raises(SensorsFault) as caught:
        parse_sensors("[[channel]]\n" + "\n".join(lines.values()), "s.toml")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value) and str(caught.value).count("s.toml") <= 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no channel"),
        ("channel = 3", "no channel"),
        ("[[channel]]", "name: is missing"),
        ("[chanel]", "write channel"),
        ("[[channel]", "not valid TOML"),
        (COLUMNS.format(name="a", column=1) + COLUMNS.format(name="a", column=2), "are called"),
        (COLUMNS.format(name="a", column=1) + COLUMNS.format(name="b", column=1), "same column"),
        (
            COLUMNS.format(name="a", column=1)
            + COLUMNS.format(name="b", column=2).replace("9600", "4800"),
            "baud differs",
        ),
        (COLUMNS.format(name="a", column=1).replace('unit = "mm"', 'unit = "N"'), "does not fit"),
        (COLUMNS.format(name="a", column=1).replace("column = 1", ""), "needs it"),
        (COLUMNS.format(name="a", column=3) + "count = 2", "is greater than count = 2"),
        (
            COLUMNS.format(name="a", column=1) + 'decimal = ","\nseparator = ","',
            "cannot be the decimal mark and the separator",
        ),
        (
            COLUMNS.format(name="a", column=1) + 'decimal = ","\nseparator = ", "',
            "cannot be the decimal mark and the separator",
        ),
        (COLUMNS.format(name="a", column=1) + 'decimal = ";"', "write one of ., ,"),
        (
            COLUMNS.format(name="a", column=1)
            + 'decimal = ","\n'
            + COLUMNS.format(name="b", column=2),
            "decimal differs",
        ),
        (
            COLUMNS.format(name="a", column=1)
            + 'separator = ";"\n'
            + COLUMNS.format(name="b", column=2),
            "separator differs",
        ),
        (
            COLUMNS.format(name="a", column=1).replace('"columns"\ncolumn = 1', '"json"\nid = "a"')
            + 'decimal = ","',
            "decimal: does not belong to format json",
        ),
    ],
)
def test_a_file_that_makes_no_sense_is_refused(text: str, said: str) -> None:
    with pytest.raises(SensorsFault, match=said):
        parse_sensors(text, "s.toml")


def test_two_channels_may_share_a_port() -> None:
    sensors = parse_sensors(
        COLUMNS.format(name="a", column=1) + COLUMNS.format(name="b", column=2), "s"
    )
    assert [c.name for c in sensors.ports()["/dev/ttyUSB0"]] == ["a", "b"]


def test_recording_needs_port_and_baud(force: str) -> None:
    with pytest.raises(SensorsFault, match="port is missing"):
        for_recording(parse_sensors(force, "s.toml"))
    with pytest.raises(SensorsFault, match="baud is missing"):
        for_recording(parse_sensors(force + 'port = "/dev/ttyUSB0"\n', "s.toml"))


ELSEWHERE = [
    "spy:///dev/ptmx?file=X", "SPY:///dev/ptmx?file=X", "Spy://loop://", "alt:///dev/ttyUSB0?class=PosixPollSerial",
    "loop://", "LOOP://", "cp2110://0001:000a:00", "file:///dev/ttyUSB0", "nothing://x", "://x", " spy://x?file=X",
    "/dev/ttyUSB0://x",
]  # fmt: skip


@pytest.mark.parametrize("port", ELSEWHERE)
def test_a_port_of_another_scheme_is_refused_when_the_file_is_read(
    port: str, force: str, tmp_path
) -> None:  # type: ignore[no-untyped-def]
    """Interface section 2, Ports: one of pyserial's other schemes writes files."""
    file = tmp_path / "sensors.toml"
    file.write_text(force + f'port = "{port}"\nbaud = 9600\n', "utf-8")
    with pytest.raises(SensorsFault) as caught:
        load_sensors(file)
    said = str(caught.value)
    scheme = port.split("://")[0].split(":")[0]
    allowed = ("device path", "hwgrep://", "socket://", "rfc2217://")
    # what stands behind a question mark may hold a secret, and is not repeated
    for part in ("channel haul_force: port", f'"{port.partition("?")[0]}', f'"{scheme}"', *allowed):
        assert part in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("port", "taken"),
    [("/dev/ttyUSB0", "/dev/ttyUSB0"), ("COM3", "COM3"), (r"\\.\COM12", r"\\.\COM12"),
     ("/dev/serial/by-path/pci-0:14.0-usb-0:2", "/dev/serial/by-path/pci-0:14.0-usb-0:2"),
     ("socket://h:1", "socket://h:1"), ("rfc2217://h:1", "rfc2217://h:1"),
     ("hwgrep://0403:6001&skip_busy", "hwgrep://0403:6001&skip_busy"), ("hwgrep://spy://x", "hwgrep://spy://x"),
     ("SOCKET://h:1", "socket://h:1"), ("HwGrep://FT", "hwgrep://FT"),
     ("USB:0403:6001:A7", "usb:0403:6001:A7")],
)  # fmt: skip
def test_the_schemes_of_the_interface_are_taken_in_any_case(
    port: str, taken: str, force: str
) -> None:
    assert parse_sensors(force + f"port = '{port}'\n", "s").channels[0].port == taken


def test_a_session_that_was_recorded_by_another_scheme_still_reads(force: str) -> None:
    text = force + 'port = "loop://"\n'
    assert parse_sensors(text, "s", recorded=True).channels[0].port == "loop://"


def test_a_missing_file_is_said(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SensorsFault, match="no such file"):
        load_sensors(tmp_path / "none.toml")


@pytest.mark.parametrize("key", ["port", "calibration"])
def test_a_backslash_that_became_a_control_character_is_told_with_single_quotes(key):
    text = f'[[channel]]\nname = "a"\nquantity = "force"\nat = "haul"\nformat = "xdr"\nid = "A"\n{key} = "C:\\temp"\n'
    with pytest.raises(SensorsFault, match="single quotes round a name with backslashes"):
        parse_sensors(text, "s.toml")
