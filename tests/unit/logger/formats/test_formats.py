"""Lines to readings: published sentences, torn lines, and the same result for any chunking."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import COLUMNS, JSON, TEXT, XDR, XDR_TWO
from support.fuzz_targets import FORMATS

from logger.channels.channel import Channel
from logger.channels.line_formats import LINE_FORMATS
from logger.channels.modbus_registers import MODBUS
from logger.channels.sensors_file import parse_sensors
from logger.formats.base import FIRST_LINE, FLOOD, MOST_LINE, OTHER, OVERFLOW, Decoder
from logger.formats.number_marks import COMMA
from logger.formats.registry import decoder_for, encode
from logger.formats.xdr import checksum, checksums, sentence

Make = Callable[[str], tuple[Channel, ...]]
UNSTATED = COLUMNS.replace('separator = ","\n', "")
DECIMAL_COMMA = UNSTATED + 'decimal = ","\n'
ALL = {
    "xdr": XDR,
    "xdr two": XDR_TWO,
    "json": JSON,
    "json nested": JSON.replace("HAUL", "cell.raw")
    + JSON.replace("HAUL", "cell.n").replace('"f"', '"g"'),
    "columns": COLUMNS,
    "columns space": COLUMNS.replace('","', '" "'),
    "columns unstated": UNSTATED,
    "columns one number": UNSTATED.replace("column = 2", "column = 1"),
    "columns point": UNSTATED + 'decimal = "."\n',
    "columns comma": DECIMAL_COMMA,
    "columns comma one number": DECIMAL_COMMA.replace("column = 2", "column = 1"),
    "columns thousands": UNSTATED + 'thousands = ","\n',
    "columns thousands comma": DECIMAL_COMMA + 'thousands = "."\n',
    "text": TEXT,
    "text second number": TEXT + "number = 2\n",
    "text after": TEXT + 'after = "ST,GS,"\n',
    "text third number after": TEXT + 'after = "N="\nnumber = 3\n',
    "text characters": TEXT + "from = 4\nto = 18\n",
    "text comma": TEXT + "decimal = ','\nthousands = '.'\n",
    "text two": TEXT + 'after = "N="\n' + TEXT.replace('"f"', '"g"') + "number = 3\n",
    "columns comma semicolon": COLUMNS.replace('","', '";"') + 'decimal = ","\n',
}
GOOD = b"$YXXDR,N,1234.5,N,HAUL*" + b"%02X\r\n" % checksum(b"YXXDR,N,1234.5,N,HAUL")


def test_every_line_format_has_an_example_here_and_among_the_hostile_bytes() -> None:
    examples = {c.format for text in ALL.values() for c in parse_sensors(text, "s").channels}
    lines = set(LINE_FORMATS) - {MODBUS}  # registers: test_modbus, and a target of its own
    assert examples == {c.format for channels in FORMATS for c in channels} == lines


def decode(text: str, *chunks: bytes) -> tuple[dict[str, list[bytes]], Decoder]:
    decoder = decoder_for(parse_sensors(text, "s").channels)
    readings: dict[str, list[bytes]] = {}
    for chunk in chunks:
        for name, texts in decoder.feed(chunk).readings.items():
            readings.setdefault(name, []).extend(texts)
    return readings, decoder


@pytest.mark.parametrize(
    ("body", "stated"),
    # two published NMEA 0183 XDR sentences with their checksums, read in public documents that show them
    # (no page is given there); the third by hand: XOR of all between $ and *
    [
        (b"SDXDR,C,23.15,C,WTHI", 0x70),
        (b"HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ", 0x41),
        (b"YXXDR,N,1234.5,N,LC1,D,2.500,M,ROPE1", 0x77),
    ],
)
def test_checksums_of_published_sentences(body: bytes, stated: int) -> None:
    assert checksum(body) == stated
    assert checksums([body, b"", body]) == bytes([stated, 0, stated])


@given(st.lists(st.binary(max_size=300), min_size=1, max_size=20))
def test_folded_checksums_equal_the_loop(bodies: list[bytes]) -> None:
    assert list(checksums(bodies)) == [checksum(body) for body in bodies]


def test_the_interface_example_is_decoded_with_its_checksum() -> None:
    """`$YXXDR,N,1234.5,N,HAUL*40` stands in interface section 2."""
    readings, decoder = decode(XDR, b"$YXXDR,N,1234.5,N,HAUL*40\r\n")
    assert readings == {"f": [b"1234.5"]}
    assert decoder.drops == {"f": 0}


def test_several_transducers_in_one_sentence() -> None:
    line = sentence([("force", "1234.5", "HAUL"), ("length", "2.5", "ROPE"), ("force", "7", "X")])
    readings, decoder = decode(XDR_TWO, line)
    assert readings == {"f": [b"1234.5"], "d": [b"2.5"]}
    assert not decoder.causes


def test_a_torn_line_is_taken_up_again_at_the_last_dollar() -> None:
    for cut in range(1, len(GOOD) - 2):
        readings, decoder = decode(XDR, GOOD, GOOD[:cut] + GOOD, GOOD)
        assert readings == {"f": [b"1234.5"] * 3}
        assert decoder.drops == {"f": 1}


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        (GOOD.replace(b"5,N", b"6,N"), "wrong checksum"),
        (GOOD[: GOOD.index(b"*")] + b"\r\n", "no checksum"),
        (b"garbage\n", "no sentence"),
        (b"$YXXDR,N,12\n", "no checksum"),
        (b"\xff\xfe\x00\n", "not ASCII"),
        (sentence([("force", "nan", "HAUL")]), "not a finite number"),
        (sentence([("force", "inf", "HAUL")]), "not a finite number"),
        (sentence([("force", "1e999", "HAUL")]), "not a number"),
        (sentence([("force", "12.5x", "HAUL")]), "not a number"),
        (sentence([("length", "12.5", "HAUL")]), "another type or unit than the channel's"),
        (b"x" * 5000 + b"\n", "longer than 4 kB"),
    ],
)
def test_every_dropped_line_is_counted_by_its_cause(line: bytes, cause: str) -> None:
    readings, decoder = decode(XDR, GOOD, line, GOOD)
    assert readings == {"f": [b"1234.5"] * 2}
    assert decoder.causes == {cause: 1}
    assert decoder.drops == {"f": 1}


def test_other_sentences_are_no_loss() -> None:
    _, decoder = decode(XDR, b"$SDXDR,C,23.15,C,WTHI*70\r\n")
    assert decoder.causes == {OTHER: 1} and decoder.drops == {"f": 0}


def test_a_channel_may_allow_a_missing_checksum_but_no_wrong_one() -> None:
    text = XDR + "checksum = false\n"
    bare = GOOD[: GOOD.index(b"*")] + b"\n"
    readings, decoder = decode(text, bare + GOOD + GOOD.replace(b"5,N", b"6,N"))
    assert readings == {"f": [b"1234.5"] * 2}
    assert decoder.causes == {"wrong checksum": 1}


def test_the_first_line_after_connecting_may_be_torn_without_blame() -> None:
    decoder = decoder_for(parse_sensors(XDR, "s").channels)
    decoder.connected(torn=True)
    assert decoder.feed(GOOD[9:] + GOOD).readings == {"f": [b"1234.5"]}
    assert decoder.causes == {FIRST_LINE: 1} and decoder.drops == {"f": 0}


def test_columns_set_the_first_line_aside_unless_it_is_whole() -> None:
    for torn, count in ((True, 1), (False, 2)):
        decoder = decoder_for(parse_sensors(COLUMNS, "s").channels)
        decoder.connected(torn=torn)
        assert len(decoder.feed(b"1,234\n1,1234\n").readings["f"]) == count


def test_columns_learn_their_count_and_take_a_glued_unit() -> None:
    readings, decoder = decode(
        COLUMNS, b"1,10\n1,11N\n1,12 n\n1,13kN\n1,14,5\n1\n1,x\n1,nan\n1,1e\n1,\n1,15\n"
    )
    assert readings == {"f": [b"10", b"11", b"12", b"15"]}
    assert decoder.causes == {
        "another unit than the channel's": 1,
        "another number of columns": 2,
        "not a number": 3,
        "not a finite number": 1,
    }


def test_columns_learn_again_when_the_device_changes() -> None:
    readings, decoder = decode(COLUMNS, b"1,10\n" * 3 + b"1,20,3\n" * 7)
    assert readings["f"] == [b"10"] * 3 + [b"20"] * 2
    assert decoder.drops["f"] == 5


def test_columns_with_a_stated_count_never_learn() -> None:
    readings, _ = decode(COLUMNS + "count = 3\n", b"1,10\n" * 20 + b"1,20,3\n")
    assert readings == {"f": [b"20"]}


FIRST = UNSTATED.replace("column = 2", "column = 1")


@pytest.mark.parametrize(
    "line",
    [
        b"1,90 kN",
        b"1,412.7 N",
        b"1,90",
        b"-1,5",
        b"412.7,10",
        b"1, 2,3",
        b"N 1,5",
        b"1,2\r",
        b"x,1,2",
    ],
)
@pytest.mark.parametrize("whole", [True, False])
def test_a_comma_between_two_digits_is_never_guessed(line: bytes, whole: bool) -> None:
    """Interface section 2: neither `decimal` nor `separator` is stated, so the line is dropped."""
    block = [b"7\n", line + b"\n", b"8\n", b"9\n"]
    readings, decoder = decode(FIRST, *([b"".join(block)] if whole else block))
    assert readings == {"f": [b"7", b"8", b"9"]}
    assert decoder.causes == {COMMA: 1} and decoder.drops == {"f": 1}
    assert COMMA == "a comma: decimal or separator?"


def test_a_block_of_columns_with_a_comma_is_not_guessed_either() -> None:
    for text in (FIRST, FIRST + "count = 2\n", UNSTATED):
        readings, decoder = decode(text, b"1, 10\n", b"1,90\n2,80\n" * 20)
        assert readings == {"f": [b"10" if text == UNSTATED else b"1"]}
        assert decoder.causes == {COMMA: 40} and decoder.drops == {"f": 40}


@pytest.mark.parametrize(
    "line", [b"1, 20", b"1 ,20", b"1,-20", b"1,\t20", b"1,.5", b"HAUL,20", b"1 N,20 N"]
)
def test_a_comma_that_is_not_between_two_digits_separates(line: bytes) -> None:
    readings, decoder = decode(UNSTATED, line + b"\n")
    assert readings == {"f": [line.split(b",")[1].strip().removesuffix(b" N")]}
    assert not decoder.causes


@pytest.mark.parametrize("stated", ['separator = ","', 'decimal = "."'])
def test_what_is_stated_settles_the_comma(stated: str) -> None:
    readings, decoder = decode(UNSTATED + stated + "\n", b"1,10\n", b"1,11\n1,12\n")
    assert readings == {"f": [b"10", b"11", b"12"]} and not decoder.causes


def test_a_separator_that_one_channel_of_the_port_states_holds_for_the_port() -> None:
    text = COLUMNS + FIRST.replace('"f"', '"g"')
    for both in (text, FIRST.replace('"f"', '"g"') + COLUMNS):
        readings, decoder = decode(both, b"1,10\n")
        assert readings == {"f": [b"10"], "g": [b"1"]} and not decoder.causes


@pytest.mark.parametrize(
    ("line", "readings"),
    [
        (b"1,90;2,5", [b"1.90", b"2.5"]),
        (b"1,90 2,5", [b"1.90", b"2.5"]),
        (b"1,90\t2,5", [b"1.90", b"2.5"]),
        (b" -1,90 ;  +2,5e1 ", [b"-1.90", b"+2.5e1"]),
        (b"1,90 N 2,5 N", [b"1.90", b"2.5"]),
        (b"1;2", [b"1", b"2"]),
        (b",5  ;,25", [b".5", b".25"]),
        (b"1,90N\t2,5n", [b"1.90", b"2.5"]),
    ],
)
def test_a_decimal_comma_is_read_and_blank_tab_and_semicolon_separate(
    line: bytes, readings: list[bytes]
) -> None:
    text = DECIMAL_COMMA.replace('"f"', '"g"') + DECIMAL_COMMA.replace("column = 2", "column = 1")
    for chunks in ([line + b"\n"] * 3, [(line + b"\r\n") * 3]):
        found, decoder = decode(text, *chunks)
        assert found == {"f": readings[:1] * 3, "g": readings[1:] * 3}
        assert not decoder.causes


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        (b"1,90 kN", "another unit than the channel's"),
        (b"1.412,7", "not a number"),
        (b"1.5", "not a number"),
        (b"1,412,700", "not a number"),
        (b"1, 5", "not a number"),
        (b"1,90 t", "another unit than the channel's"),
        (b"1,90 qt", "not a number"),
        (b"- 1,90", "not a number"),
        (b"1,", "not a number"),
        (b"nan", "not a finite number"),
    ],
)
def test_with_a_decimal_comma_what_is_no_number_is_dropped(line: bytes, cause: str) -> None:
    """A unit word or a lone sign stays with its number: 1,90 kN must not read 1.90 N."""
    one = DECIMAL_COMMA.replace("column = 2", "column = 1")
    readings, decoder = decode(one, b"7,5\n" + line + b"\n8\n")
    assert readings == {"f": [b"7.5", b"8"]}
    assert decoder.causes == {cause: 1}


def test_a_decimal_comma_goes_with_a_stated_separator() -> None:
    text = COLUMNS.replace('","', '"|"') + 'decimal = ","\n'
    readings, _ = decode(text, b"1|2,5\n", b"1|3,5\n1|4,5\n")
    assert readings == {"f": [b"2.5", b"3.5", b"4.5"]}


@pytest.mark.parametrize(
    "line", [b'{"HAUL": "1,90"}', b'{"HAUL": 1,90}', b'{"HAUL": [1,90]}', b"1,90"]
)
def test_json_reads_no_number_with_a_comma(line: bytes) -> None:
    readings, decoder = decode(JSON, line + b"\n")
    assert not readings and decoder.drops == {"f": 1}


@pytest.mark.parametrize("id", ["HAUL", "N"])
def test_xdr_reads_no_number_with_a_comma(id: str) -> None:
    body = b"YXXDR,N,1,90,N,HAUL"
    readings, _ = decode(XDR.replace("HAUL", id), b"$%s*%02X\r\n" % (body, checksum(body)))
    assert not readings


def test_json_takes_the_whole_line_first_and_a_later_brace_if_that_fails() -> None:
    line = b'{"HAUL": 1234.5, "t": 1}\n'
    readings, decoder = decode(JSON, line)
    assert readings == {"f": [b"1234.5"]} and not decoder.causes
    for cut in range(1, len(line) - 1):
        readings, decoder = decode(JSON, line, line[:cut] + line)
        assert readings == {"f": [b"1234.5"] * 2}, cut
        assert decoder.drops == {"f": 1}
    # a whole line with an object inside is not taken apart
    readings, _ = decode(JSON, b'{"HAUL": 1, "raw": {"HAUL": 7}}\n')
    assert readings == {"f": [b"1"]}
    # nor is the inner object of a line that lost its end
    readings, _ = decode(JSON, b'{"HAUL": 1, "raw": {"HAUL": 7}}\n{"HAUL": 1, "raw": {"HAUL": 7}\n')
    assert readings == {"f": [b"1"]}


@pytest.mark.parametrize(
    "line",
    [
        b'{"HAUL": NaN}',
        b'{"HAUL": Infinity}',
        b'{"HAUL": "12"}',
        b'{"HAUL": true}',
        b'{"HAUL": null}',
        b'{"HAUL": 1e999}',
        b"[" * 4000,
        b'{"a":' * 800,
        b"12",
        b'{"HAUL": ' + b"9" * 3000 + b"}",
    ],
)
def test_json_drops_what_is_no_finite_number(line: bytes) -> None:
    readings, decoder = decode(JSON, line + b"\n")
    assert not readings and decoder.drops == {"f": 1}


@pytest.mark.parametrize(
    ("id", "line", "reading"),
    [
        ("a.b.2", '{"a": {"b": [7, 8, 9.5]}}', "9.5"),
        ("a.b.2", '{"a": {"b": {"2": 9.5}}}', "9.5"),
        ("a.b.2", '{"a.b.2": 9.5, "a": {"b": [7, 8, 7]}}', "9.5"),
        ("0.F", '{"0": {"F": -1}}', "-1"),
    ],
)
def test_an_id_with_points_goes_into_objects_and_lists(id: str, line: str, reading: str) -> None:
    readings, decoder = decode(JSON.replace("HAUL", id), line.encode() + b"\n")
    assert readings == {"f": [reading.encode()]} and not decoder.causes


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ('{"a": {"b": [7, 8]}}', OTHER),
        ('{"a": {"b": 5}}', OTHER),
        ('{"a": [1, 2, 3]}', OTHER),
        ('{"a": {"b": [7, 8, [1]]}}', "not a number"),
        ('{"a": {"b": [7, 8, true]}}', "not a number"),
        ('{"a": {"b": [7, 8, NaN]}}', "not a finite number"),
    ],
)
def test_an_id_that_leads_to_no_number_gives_none(line: str, cause: str) -> None:
    readings, decoder = decode(JSON.replace("HAUL", "a.b.2"), line.encode() + b"\n")
    assert not readings and decoder.causes == {cause: 1}


PIECES = st.one_of(
    st.binary(max_size=40),
    st.sampled_from(
        [
            b"\n",
            b"\r\n",
            b"\r",
            b"$",
            b"{",
            b"}",
            b",",
            b" ",
            b"*40",
            GOOD,
            GOOD[:10],
            GOOD[10:],
            b"$SDXDR,C,23.15,C,WTHI*70\r\n",
            b"$YXXDR,N,1,N,HAUL,D,2,M,ROPE*",
            b"1,2\n",
            b"1,2,3\r\n",
            b"1,90 kN\n",
            b"1, 2\n",
            b"1,5;2,5\n",
            b"1,5 2,5\r\n",
            b"1,5\n" * 10,
            b"7.5\n" * 10,
            b"1, 2\n" * 5,
            b"1,5;2,5\n" * 10,
            b"1,-2\n" * 10,
            b"- 1,5\n",
            b"1,;2\n",
            b"1;,2\r\n" * 5,
            b"1 2\n",
            b"1  3 \n",
            b"1\t2\n",
            b"1,2N\n",
            b" 1 , 2 \n",
            b",,\n",
            b'{"HAUL": 1.5}\n',
            b'{"HAUL": {"HAUL": 2}}\n',
            b'{"x": 1}\r\n',
            b"x" * 5000,
            b"1,2\n" * 30,
            GOOD * 30,
            sentence([("force", "1.5", "HAUL"), ("length", "-2", "ROPE")]) * 20,
            b'{"HAUL": 3}\n' * 10,
            b"1 2\n" * 10,
            b"ST,GS,+ 0012.34 N\r\n",
            b"ST,GS,- 0012.34 N\r" * 5,
            b"N= 12.5 N 6 7\n" * 10,
            b"5 -6 +7\n" * 4,
            b"12.5-\n",
            b"OL\n",
            b"1,234.5 N\n" * 5,
            b"1.234,5\n" * 5,
            b"\x0212.5\x037\x02",
            b"nan,inf\n",
            b"\xff\n",
            b"\0\n",
        ]
    ),
)


@pytest.mark.parametrize("kind", list(ALL))
@settings(max_examples=60, deadline=None)
@given(
    pieces=st.lists(PIECES, max_size=12),
    cuts=st.lists(st.integers(0, 6000), max_size=12),
    torn=st.booleans(),
)
def test_any_chunking_gives_the_same_and_nothing_raises(
    kind: str, pieces: list[bytes], cuts: list[int], torn: bool
) -> None:
    stream = b"".join(pieces)
    edges = sorted({0, len(stream), *(cut for cut in cuts if cut < len(stream))})
    ways: list[Sequence[bytes]] = [
        [stream],
        [stream[a:b] for a, b in itertools.pairwise(edges)],
        [stream[i : i + 1] for i in range(len(stream))],
    ]
    seen = []
    for chunks in ways:
        decoder = decoder_for(parse_sensors(ALL[kind], "s").channels)
        decoder.connected(torn=torn)
        readings: dict[str, list[bytes]] = {}
        for chunk in chunks:
            for name, texts in decoder.feed(chunk).readings.items():
                readings.setdefault(name, []).extend(texts)
            assert len(decoder._tail) <= MOST_LINE
        for texts in readings.values():
            assert all(math.isfinite(float(text)) for text in texts)
        seen.append((readings, dict(decoder.causes), decoder.drops))
    assert seen[0] == seen[1] == seen[2]


@pytest.mark.parametrize("kind", list(ALL))
@given(value=st.floats(-1e6, 1e6))
def test_what_a_device_encodes_is_decoded(kind: str, value: float) -> None:
    channels = parse_sensors(ALL[kind], "s").channels
    decoder = decoder_for(channels)
    line = encode(channels, {"f": value})
    found = decoder.feed(line).readings["f"] + decoder.feed(line * 2).readings["f"]
    assert [float(text) for text in found] == [pytest.approx(value, abs=1e-6)] * 3
    assert not decoder.causes


@pytest.mark.parametrize("text", list(ALL.values()), ids=list(ALL))
def test_what_may_lack_bytes_is_dropped_with_the_line_behind_it(text: str) -> None:
    """Wherever the bytes are missing: in the chunk, at its end, or between two of its lines."""
    decoder = decoder_for(parse_sensors(text, "s").channels)
    line = encode(decoder.channels, dict.fromkeys(decoder.names, 12.5))
    decoder.connected(torn=False)
    assert decoder.feed(line).readings
    half = line[: len(line) // 2]
    assert not decoder.feed_doubtful(line + half).readings
    assert not decoder.feed(line).readings  # half a line, joined with a whole one
    assert decoder.feed(line).readings
    assert decoder.causes[OVERFLOW] == 2 and (decoder.lines, decoder.understood) == (4, 2)
    assert set(decoder.drops.values()) == {2}


@pytest.mark.parametrize("text", list(ALL.values()), ids=list(ALL))
def test_a_piece_that_is_not_looked_at_is_counted_and_joins_nothing(text: str) -> None:
    decoder = decoder_for(parse_sensors(text, "s").channels)
    line = encode(decoder.channels, dict.fromkeys(decoder.names, 12.5))
    decoder.connected(torn=False)
    decoder.feed(line + line[:3])
    assert decoder.skip(line * 5 + line[:3]) == 5
    assert not decoder.feed(line[3:]).readings
    assert decoder.feed(line).readings
    assert decoder.causes[FLOOD] == 5 and set(decoder.drops.values()) == {5}
