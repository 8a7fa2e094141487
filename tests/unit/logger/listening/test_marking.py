"""Where each number stands in a line as it came."""

from __future__ import annotations

import pytest

from logger.listening.capture import Answers, Capture, Piece
from logger.listening.marking import line_parts
from logger.listening.understanding import heard_numbers, understand


def heard(*lines: bytes) -> Capture:
    """A capture of these lines, a tenth of a second apart."""
    pieces = tuple(Piece(k / 10, k / 10, line) for k, line in enumerate(lines))
    return Capture(
        "/dev/ttyUSB0", 9600, "8N1", None, pieces, torn=False, listened_s=len(lines) / 10
    )


def marked(*lines: bytes, comma: str | None = None) -> list[tuple[str, str]]:
    """Text and place of each number of the last line."""
    answers = Answers(comma=comma)
    series = heard_numbers(heard(*lines), answers)
    parts = line_parts(lines[-1], series)
    shown = "".join(part.text for part in parts)
    assert shown == lines[-1].decode("latin-1").encode("unicode_escape").decode("ascii")
    return [(part.text, part.place) for part in parts if part.place is not None]


@pytest.mark.parametrize(
    ("form", "places"),
    [
        (b"ST,GS,+%07.1f kg\r\n", ['the number behind "GS,"']),
        (b"\x02+%07.1fkg\x039", ["number 1"]),
        (b'{"ok":true,"no 5":"7","cell":{"value":%.1f,"list":[1.5,2]}}\n',
         ['id "cell.value"', 'id "cell.list.0"', 'id "cell.list.1"']),
        (b"$YXXDR,N,%.1f,N,HAUL,D,1.25,M,ROPE*00\r\n", ['id "HAUL"', 'id "ROPE"']),
        (b"%.1f\t4.25\n", ["column 1", "column 2"]),
        (b"%.1f;4.25;ok\n", ["column 1", "column 2"]),
        (b"%.1f\r\n", ["column 1"]),
        (b"FORCE=%.1f N;ROPE=2.25 m\n", ['the number behind "FORCE="', 'the number behind "ROPE="']),
        (b"CH1 GROSS %9.3f t\r\n", ['the number behind "GROSS"']),
    ],
)  # fmt: skip
def test_each_number_is_found_in_the_line_as_it_came(form: bytes, places: list[str]) -> None:
    lines = [form % (10.5 + k * 3.25) for k in range(12)]
    found = marked(*lines)
    assert [place for _, place in found] == places
    assert float(found[0][0].replace(" ", "")) == round(10.5 + 11 * 3.25, 1) or b"9.3f" in form


def test_a_comma_is_one_number_once_somebody_said_so() -> None:
    lines = [b"F= %d,25 kN\r\n" % k for k in range(10, 22)]
    assert marked(*lines, comma="decimal") == [("21,25", 'the number behind "F="')]
    assert understand(heard(*lines)).series == ()  # nothing is marked before


def test_a_line_of_another_kind_holds_none_and_nothing_raises() -> None:
    series = heard_numbers(heard(*[b"A= %d N\r\n" % k for k in range(10)]))
    for line in (b"", b"\x00\xff\xfe", b"A= \r\n", b"{" * 500, b"\x02\x03"):
        assert all(part.place is None for part in line_parts(line, series))
