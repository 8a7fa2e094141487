"""What lines of an unknown device mean, and above all what they must not be taken for."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.serial_wire import with_parity

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.listening.capture import Answers, Capture, Piece
from logger.listening.comma_meaning import meanings
from logger.listening.line_settings import judged
from logger.listening.line_splitting import line_end, raw_lines
from logger.listening.movement import fitting_units, movements, scale_for, share_of, size_si
from logger.listening.proof import read_capture
from logger.listening.understanding import Understanding, understand


def capture(*lines: bytes, step_s: float = 0.1, asked: bool = False, torn: bool = False) -> Capture:
    """Lines that come every step_s seconds."""
    pieces = tuple(
        Piece(k * step_s, k * step_s, line, k + 1 if asked else 0) for k, line in enumerate(lines)
    )
    return Capture(
        port="/dev/ttyUSB0", baud=9600, framing="8N1", ask="?" if asked else None, pieces=pieces,
        torn=torn, listened_s=len(lines) * step_s,
    )  # fmt: skip


def units(understanding: Understanding) -> list[tuple[str | None, float]]:
    """Unit and last value of each channel."""
    return [(one.channel.unit, one.values[-1]) for one in understanding.channels]


def codes(understanding: Understanding) -> list[str]:
    return [one.code for one in (*understanding.unclear, *understanding.remarks)]


# -- what must not be taken for a unit, or for a number ------------------------------------------
@pytest.mark.parametrize(
    ("line", "unit", "value"),
    [(b"t=%d N=12.5\r\n", None, 12.5),  # N names the next number
     (b"A %d.5 N 12.5\r\n", None, 12.5),  # words before their numbers
     (b"%d.5 G\r\n", None, 0.0), (b"%d.5 T\r\n", None, 0.0),  # gross, tare
     (b"%d.5 oz\r\n", None, 0.0), (b"%d.5 ft/min\r\n", None, 0.0), (b"%d,5 kg\r\n", None, 0.0)],
)  # fmt: skip
def test_no_unit_is_certain(line: bytes, unit: None, value: float) -> None:
    said = understand(capture(*(line % k for k in range(20))))
    assert said.understood == ()
    assert said.unclear or said.remarks


def test_a_flag_that_may_be_a_unit_is_asked_and_read_with_the_answer() -> None:
    lines = capture(*(b"%d.5 G\r\n" % k for k in range(20)))
    said = understand(lines)
    assert codes(said) == ["flag"] and said.channels == ()
    answered = understand(lines, Answers(units={said.unclear[0].place: "g"}))
    assert units(answered) == [("g", 19.5)]


def test_stations_of_a_bus_are_never_mixed() -> None:
    lines = [b"%02d %d.5 kg\r\n" % (k % 3 + 1, 10 * (k % 3 + 1)) for k in range(30)]
    said = understand(capture(*lines))
    assert all(len(set(one.values)) == 1 for one in said.understood)


def test_lines_of_several_kinds_without_a_name_give_no_channel() -> None:
    lines = [b"%d.5 kg\r\n" % k if k % 2 else b"%d.5 m\r\n" % k for k in range(20)]
    said = understand(capture(*lines))
    for one in said.understood:
        assert all(value % 2 == (1.5 if one.channel.unit == "kg" else 0.5) for value in one.values)
    assert said.understood or "kinds" in codes(said)


def test_a_status_and_an_address_are_no_channel_beside_a_number_with_a_unit() -> None:
    said = understand(capture(*(b"01 %d.5 kg 7\r\n" % k for k in range(20))))
    assert units(said) == [("kg", 19.5)] and codes(said) == ["steady", "steady"]


def test_the_devices_own_time_is_told_and_no_channel() -> None:
    said = understand(capture(*(b'{"ms":%d,"kg":%d.5}\n' % (100 * k, k % 7) for k in range(30))))
    assert [one.channel.unit for one in said.channels] == ["kg"]
    assert codes(said) == ["device_time"] and 'time = "ms"' in said.channels[0].toml
    # a counter that rises by another pace is none
    said = understand(capture(*(b'{"n":%d,"kg":1.5}\n' % (37 * k) for k in range(30))))
    assert "device_time" not in codes(said)


def test_a_counter_that_starts_again_is_told() -> None:
    said = understand(capture(*(b"P=%d\r\n" % ((65000 + 100 * k) % 65536) for k in range(20))))
    assert "modulus = 65536" in said.channels[0].toml


# -- commas ----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("lines", "possible"),
    [((b"1,90 kN", b"2,05 kN"), ("decimal", "separator")),
     ((b"12,500", b"13,250"), ("decimal", "thousands", "separator")),
     ((b"412.7,0.85", b"413.1,0.90"), ("separator",)), ((b"0.0 N", b"1,412.7 N"), ("thousands",)),
     ((b"1.412,7 N", b"3,5 N"), ("decimal",)), ((b"412,7;0,85",), ("decimal",)),
     ((b"412,7 0,85",), ("decimal",)), ((b"1000,12.5,0.5", b"1010,3.5,0.5"), ("separator",)),
     ((b"12:30:05 1,90", b"12:30:06 2,05"), ("decimal", "separator"))],
)  # fmt: skip
def test_a_comma_means_what_all_lines_allow(
    lines: tuple[bytes, ...], possible: tuple[str, ...]
) -> None:
    assert meanings(lines) == possible


@pytest.mark.parametrize(
    ("answer", "values"),
    [("decimal", [("kN", 19.5)]), ("separator", [(None, 19.0), ("kN", 5.0)])],
)
def test_the_answer_decides(answer: str, values: list[tuple[str | None, float]]) -> None:
    lines = capture(*(b"%d,5 kN\r\n" % k for k in range(20)))
    assert codes(understand(lines)) == ["comma"]
    assert units(understand(lines, Answers(comma=answer))) == values


def test_a_blank_that_may_stand_between_thousands_is_asked() -> None:
    lines = capture(*(b"%d 250.5 N\r\n" % (k % 9 + 1) for k in range(20)))
    assert codes(understand(lines)) == ["blank"] and understand(lines).channels == ()
    assert units(understand(lines, Answers(comma="thousands"))) == [("N", 2250.5)]


# -- line ends -------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("line", "end", "asked"),
    [(b"1 kg\r\n", "crlf", False), (b"1 kg\r", "cr", False), (b"1 kg\n", "lf", False),
     (b"\x021 kg\x03", "etx", False), (b"\x021 kg\x03\x5a\r", "etx", False), (b"1 kg;", ";", False),
     (b"1 kg", "pause", False), (b"1 kg", "pause", True), (b"", None, False)],
)  # fmt: skip
def test_what_ends_a_line_is_found(line: bytes, end: str | None, asked: bool) -> None:
    taken = capture(*[line] * 8, asked=asked)
    assert line_end(taken) == end
    if end is not None:
        assert raw_lines(taken, end)[-2:][0] == line


# -- rate and framing ------------------------------------------------------------------------------
LINE = b"ST,GS,+ 0012.34kg\r\n" * 3


@pytest.mark.parametrize(
    ("data", "text", "framing"),
    [(LINE, True, None), (with_parity(LINE), True, "7E1"), (with_parity(LINE, odd=True), True, "7O1"),
     (bytes(b | 0x80 for b in LINE), True, "7N2"), (bytes(range(128, 228)), False, None),
     (b"", False, None), (b"12", False, None), (b"no number here\r\n" * 3, False, None),
     (b"\xfc\x00\xe0\x1c" * 20, False, None)],
)  # fmt: skip
def test_the_bytes_tell_rate_and_framing(data: bytes, text: bool, framing: str | None) -> None:
    verdict = judged(data)
    assert (verdict.text, verdict.framing) == (text, framing)


# -- the pull --------------------------------------------------------------------------------------
def test_the_number_that_moved_is_marked_with_its_sign() -> None:
    rest = {"a": [1.8, 1.9, 1.8], "b": [7.0, 7.0, 7.0], "c": [5.0, 5.1, 4.9]}
    pulled = {"a": [1.8, -150.0, 1.9], "b": [7.0, 7.0], "c": [5.1, 5.0]}
    (moved,) = movements(rest, pulled)
    assert moved.place == "a" and moved.change == pytest.approx(-151.8)
    assert movements({"a": [1.0, 1.0]}, {"a": [1.0, 12.5]})[0].change == 11.5
    assert movements({"a": [1.0]}, {"a": [9.0]}) == ()


def test_a_weight_names_the_units_that_fit() -> None:
    """20 kg weigh 196.133 N = 44.09 lbf (g = 9.80665 m/s2 and the pound by definition)."""
    weight = size_si(20.0, "kg")
    assert weight == pytest.approx(196.133)
    assert fitting_units(196.1, weight, False) == ("N",)
    assert fitting_units(-44.09, weight, False) == ("lb",)
    assert set(fitting_units(19.6, weight, False)) == {"kg", "daN"}
    assert fitting_units(123456.0, weight, False) == ()
    assert fitting_units(6.56, size_si(2.0, "m"), True) == ("ft",)
    assert share_of(19.6, "kg", weight) == pytest.approx(0.98)
    assert scale_for(16000.0, weight) == pytest.approx(0.01226) and scale_for(0.0, weight) is None


# -- any bytes -------------------------------------------------------------------------------------
texts = st.text(alphabet="0123456789.,;:+-= \t\r\nkgNmlbG@'\x02\x03{}\"$*XDR", max_size=60)
pieces = st.lists(st.one_of(texts.map(str.encode), st.binary(max_size=40)), max_size=12)


@settings(max_examples=300, deadline=None)
@given(pieces, st.booleans(), st.booleans())
def test_any_bytes_are_understood_or_not_and_what_is_understood_records(
    lines: list[bytes], asked: bool, torn: bool
) -> None:
    """The table of each channel with a unit is taken by the sensors file, and reads its values."""
    taken = capture(*lines, asked=asked, torn=torn)
    said = understand(taken)
    for one in said.understood:
        for_recording(parse_sensors(one.toml, "s"))
        proved = read_capture(one.toml, taken)
        assert tuple(float(t) for t in proved.readings[one.channel.name][-20:]) == one.values


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(-9999, 9999), min_size=4, max_size=20), st.sampled_from(["kg", "N", "lbf", "m"]),
       st.sampled_from([b"\r\n", b"\r", b"\n"]), st.integers(0, 3))  # fmt: skip
def test_a_plain_line_is_always_read_with_its_value_and_unit(
    values: list[float], unit: str, end: bytes, decimals: int
) -> None:
    lines = [f"{value:.{decimals}f} {unit}".encode() + end for value in values]
    said = understand(capture(*lines))
    (channel,) = said.understood
    assert channel.channel.unit == unit
    assert list(channel.values) == [float(f"{value:.{decimals}f}") for value in values]
