"""Registers become numbers: examples of the standards, each order, and numbers that cannot be one."""

from __future__ import annotations

import itertools
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.channels import channel

from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault
from logger.formats.base import Decoded, Failure
from logger.formats.modbus import ModbusDecoder
from logger.formats.registry import decoder_for

KEYS = {
    "format": "modbus",
    "device_id": 1,
    "table": "holding",
    "register": 0,
    "every_s": 0.1,
    "unit": "N",
}
FLOAT = {**KEYS, "type": "float32"}


def modbus(*lines: str, **keys: str | float) -> str:
    return channel("f", "force", *lines, **{**FLOAT, **keys})


def decoder(*lines: str, **keys: str | float) -> ModbusDecoder:
    made = decoder_for(parse_sensors(modbus(*lines, **keys), "s").channels)
    assert isinstance(made, ModbusDecoder)
    made.connected()
    return made


def read(content: bytes, *lines: str, **keys: str | float) -> Decoded:
    return decoder(*lines, **keys).registers({"f": content})


# IEEE 754-2019, binary32: 1.0 is 3F800000, 12.5 is 41480000, -118.625 is C2ED4000 (worked by hand: -1.110110101 x 2^6)
@pytest.mark.parametrize(
    ("content", "text"), [("3F800000", b"1"), ("41480000", b"12.5"), ("C2ED4000", b"-118.625"), ("00000000", b"0"),
                          ("3DCCCCCD", b"0.1")],
)  # fmt: skip
def test_floats_of_the_standard(content: str, text: bytes) -> None:
    assert read(bytes.fromhex(content)).readings == {"f": [text]}


# two's complement, MODBUS application protocol 1.1b3, section 4.2: the high byte of a register comes first
@pytest.mark.parametrize(
    ("kind", "content", "text"),
    [("int16", "1234", b"4660"), ("int16", "FFFB", b"-5"), ("uint16", "FFFB", b"65531"), ("int32", "FFFFFFFF", b"-1"),
     ("uint32", "00010000", b"65536"), ("uint32", "FFFFFFFF", b"4294967295"), ("int32", "80000000", b"-2147483648")],
)  # fmt: skip
def test_whole_numbers(kind: str, content: str, text: bytes) -> None:
    assert read(bytes.fromhex(content), type=kind).readings == {"f": [text]}


# the four orders of 12.5 = 41 48 00 00, written out by hand
@pytest.mark.parametrize(
    ("words", "within", "content"),
    [("big", "big", "41480000"), ("little", "big", "00004148"), ("big", "little", "48410000"), ("little", "little", "00004841")],
)  # fmt: skip
def test_the_four_orders(words: str, within: str, content: str) -> None:
    out = read(bytes.fromhex(content), words=words, bytes=within)
    assert out.readings == {"f": [b"12.5"]}


@pytest.mark.parametrize(
    ("content", "keys", "names"),
    [
        ("00004148", {}, 'words = "little" and bytes = "big" or'),  # swapped words: 2.3e-41
        ("7FC00000", {}, "not a finite number"),
        ("FF800000", {}, "not a finite number"),
        ("48410000", {"capacity": 5000.0}, 'words = "big" and bytes = "little"'),
        ("04E20000", {"type": "int32", "capacity": 5000.0}, 'words = "little" and bytes = "big" would fit'),
        ("E204", {"type": "int16", "capacity": 5000.0}, 'bytes = "little" would fit'),
        ("4E214E21", {"type": "uint32", "capacity": 5.0}, "no order of words and bytes fits"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_number_names_the_orders_that_would_fit(
    content: str, keys: dict[str, str | float], names: str
) -> None:
    made = decoder(**keys)
    out = made.registers({"f": bytes.fromhex(content)})
    assert not out.readings and not out.overloads and made.drops == {"f": 1}
    ((cause, sample),) = out.samples
    assert names in cause and sample == bytes.fromhex(content)


def test_beyond_the_capacity_after_good_numbers_is_an_overload_too() -> None:
    """An order that has given numbers is right, so the force may be: the alarm is not lost."""
    made = decoder(capacity=1000.0)
    assert made.registers({"f": struct.pack(">f", 500.0)}).readings == {"f": [b"500"]}
    assert made.registers({"f": struct.pack(">f", 1400.0)}).readings == {"f": [b"1400"]}
    out = made.registers({"f": struct.pack(">f", 1600.0)})
    assert out.overloads == {"f": [0]} and "beyond 1.5 x capacity" in out.samples[0][0]
    made.connected()
    assert not made.registers({"f": struct.pack(">f", 1600.0)}).overloads


@given(
    st.floats(width=32, allow_nan=False, allow_infinity=False),
    st.sampled_from([*itertools.product(("big", "little"), repeat=2)]),
)
def test_any_float_comes_back(value: float, orders: tuple[str, str]) -> None:
    made = decoder(words=orders[0], bytes=orders[1])
    packed = struct.pack(">f", value)
    high, low = packed[:2], packed[2:]
    if orders[1] == "little":
        high, low = high[::-1], low[::-1]
    out = made.registers({"f": high + low if orders[0] == "big" else low + high})
    if 0.0 < abs(value) < 1e-9:
        assert not out.readings
    else:
        assert struct.pack(">f", float(out.readings["f"][0])) == struct.pack(">f", value)
        assert math.isfinite(float(out.readings["f"][0]))


def test_failures_are_counted_by_cause_and_only_an_answer_loses_readings() -> None:
    made = decoder()
    made.registers(
        {}, [Failure(names=("f",), cause="no answer from f", sent=b"?", lost=False, silent=True)]
    )
    assert made.drops == {"f": 0} and made.causes["no answer from f"] == 1
    assert made.silent_devices() == {"as Modbus device 1": (("f",), 1)}
    out = made.registers({}, [Failure(names=("f",), cause="exception 2", sent=b"\x83\x02")])
    assert made.drops == {"f": 1} and out.samples == [("exception 2", b"\x83\x02")]
    assert made.silent_devices() == {"as Modbus device 1": (("f",), 0)}


@pytest.mark.parametrize(
    ("text", "names"),
    [
        (modbus('ask = "R"'), "ask"),
        (modbus('ends = "cr"'), "ends"),
        (modbus(framing="7E1"), "8 data bits"),
        (modbus(port="/dev/x", baud=9600, device_id=0), "from 1 to 247"),
        (modbus(port="udp://127.0.0.1:7001"), "carries no Modbus"),
        (modbus(port="modbus://h:502/x"), "modbus://host:502"),
        (modbus(port="modbus://u:pw@h:502"), "port"),
        (modbus(type="int64"), "int32"),
        (modbus(table="coils"), "holding"),
        (modbus(register=65536), "register"),
        (modbus(words="middle"), "words"),
        (modbus('after = "N"'), "does not belong to format modbus"),
        (modbus() + modbus().replace('"f"', '"g"').replace('"modbus"', '"modbus"'), "same register"),
        (channel("f", "force", format="json", id="a", unit="N", port="modbus://h"), 'format = "modbus"'),
        (channel("f", "force", format="json", id="a", unit="N", register=1), "does not belong to format json"),
        (modbus().replace("every_s = 0.1\n", ""), "every_s"),
        (modbus().replace("register = 0\n", ""), "from 0"),
        (modbus().replace('type = "float32"\n', ""), "type"),
        (modbus().replace('table = "holding"\n', ""), "table"),
    ],
)  # fmt: skip
def test_what_the_sensors_file_may_not_say(text: str, names: str) -> None:
    if text.count("[[channel]]") == 2:
        text = text.replace("every_s", 'port = "/dev/x"\nevery_s')
    with pytest.raises(SensorsFault) as caught:
        parse_sensors(text, "s")
    assert names in str(caught.value) and "\n" not in str(caught.value)


def test_defaults() -> None:
    made = parse_sensors(modbus().replace("device_id = 1\n", ""), "s").channels[0]
    assert made.modbus is not None and made.answer_s == 0.1 and made.stale_after_s == 1.0
    assert (made.modbus.device_id, made.modbus.word_order, made.modbus.byte_order) == (
        1,
        "big",
        "big",
    )
