"""What is fuzzed: each target takes any bytes, makes a hostile input of them, and raises where a
promise is broken.  Driven by hypothesis, by a seeded mutator and by atheris alike.

Promises: no exception but the user error, in one line; the decoders give the same for any chunking,
hold at most 4 kB and only finite numbers; a request gets one answer and its file is gone.
"""

from __future__ import annotations

import copy
import itertools
import json
import math
import os
import random
import re
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from logger import filesystem as files
from logger.channels.channel import Channel
from logger.channels.modbus_registers import ORDERS, WIDTHS
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import UserFault
from logger.filesystem import FileOps
from logger.formats.base import MOST_LINE
from logger.formats.modbus import content_of, number_of, shortest
from logger.formats.port_diagnosis import first_line, likely_cause
from logger.formats.registry import decoder_for
from logger.formats.xdr import sentence
from logger.recorder.request_handler import RequestHandler
from logger.recorder.request_inbox import VERBS
from logger.session.descriptor import MARKS
from logger.session.reader import Follower, open_session, read_all, session_state
from logger.session.verify import repair, verify
from logger.session.writer import SessionWriter
from logger.transports.modbus.frames import MOST_HELD, RegisterQuestion, SerialFrames, TcpFrames
from support.channels import COLUMNS, JSON, TEXT, XDR, XDR_TWO, channel
from support.disks import NoSync
from support.waiting import until

COLUMNS_TWO = COLUMNS + COLUMNS.replace('"f"', '"g"').replace("column = 2", "column = 1")
THOUSANDS = (
    "thousands = ','",
    "decimal = ','\nthousands = '.'",
    "decimal = '.'\nthousands = \"'\"",
)
TEXT_KEYS = (
    "", "number = 2", 'after = "N="', 'after = "N="\nnumber = 2', 'after = "ST,GS,"', "from = 2\nto = 5", "from = 1\nto = 3",
    "decimal = ','", "decimal = '.'", "overload = []", "overload = ['9.9', 'E', '-']", 'after = "1"', "after = 'e'",
)  # fmt: skip
FORMATS = [
    parse_sensors(text, "s").channels
    for text in (XDR, XDR + "checksum = false\n", XDR_TWO, JSON, JSON + JSON.replace('"f"', '"g"').replace(
        '"HAUL"', '"B"'), COLUMNS, COLUMNS.replace('","', '" "'), COLUMNS.replace('","', '"\\t"'),
        COLUMNS + "count = 3\n", COLUMNS_TWO, COLUMNS.replace('separator = ","', ""),
        COLUMNS.replace("separator", "decimal"), COLUMNS.replace('","', '";"') + 'decimal = ","\n',
        *(text + f'ends = "{ends}"\n' for text in (XDR, JSON, COLUMNS)
          for ends in ("lf", "cr", "crlf", "etx", ";", "END;")),
        JSON + 'time = "B"\n', COLUMNS + "time_column = 1\n", COLUMNS + "count = 3\ntime_column = 3\n",
        TEXT + 'after = "N="\ntime_after = "G="\n', JSON.replace("HAUL", "a.0.B"), *(COLUMNS.replace('separator = ","\n', '') + marks + "\n" for marks in THOUSANDS),
        *(TEXT + keys + "\n" for keys in (*TEXT_KEYS, *THOUSANDS, "thousands = ' '")),
        TEXT + 'after = "N="\n' + TEXT.replace('"f"', '"g"') + 'after = "G="\nnumber = 2\n')
]  # fmt: skip
GOOD = sentence([("force", "1234.5", "HAUL")])
BOTH = sentence([("force", "1.5", "HAUL"), ("length", "-2", "ROPE")])
PIECES = [
    b"\n", b"\r\n", b"\r", b"$", b"{", b"}", b",", b" ", b"\t", b"*40", b'"', b":", b"[", b"]", b"-", b".",
    b"e9", b"1", b"0", b"\0", b"\xff", b"\xc3\xa9", GOOD, GOOD[:10], GOOD[10:], BOTH, BOTH[:-2] + b"\n",
    b"$SDXDR,C,23.15,C,WTHI*70\r\n", b"$YXXDR,N,1,N,HAUL,D,2,M,ROPE*", b"1,2\n", b"1,2,3\r\n", b"1 2\n",
    b"1  3 \n", b"1\t2\n", b"1,2N\n", b"1,2kN\n", b" 1 , 2 \n", b",,\n", b"1,,\n", b"1,+2\n", b"1,2.\n", b".5,.5\n",
    b"1,1e99\n", b"1,1_0\n", b'{"HAUL": 1.5}\n', b'{"HAUL": {"HAUL": 2}}\n', b'{"x": 1}\r\n', b'{"HAUL": NaN}\n',
    b'{"HAUL":1,"HAUL":2}\n', b'{"B": 3, "HAUL": 4}\n', b"x" * 5000, b"1,2\n" * 30, GOOD * 30, BOTH * 20,
    b'{"HAUL": 3}\n' * 10, b"1 2\n" * 10, b"nan,inf\n", b"\xff\n", b"\0\n", b"9" * 50, b"[" * 60, b'{"a":' * 60,
    b"ST,GS,+ 0012.34kg\r\n", b"ST,GS,- 0012.34 N\r" * 5, b"N= 12.5 N\r\n" * 10, b"N=1N=2\n", b"G= 1 2 N= 3 4\n" * 5,
    b"12.5-\n", b"+12-\n", b"-- 5\n", b"- +5 N\n", b"1,234.5 N\n" * 5, b"1.234,5\n" * 5, b"1'234.5\n", b"1,90\n", b"HOLD 5\n",
    b"OL\n", b"  OL  N\n" * 3, b"------ kg\n", b"Err 5\n", b"2026-11-30 12:30:05 5.5 N\n", b"CH1: 5.5\n" * 5, b"CH1: -6\n", b"wn0012.5N\n",
    b'{"a": [{"B": 5}]}\n', b'{"a": {"0": ', b'{"a":[', b'"B":', b"12 N", b" N", b"kg", b"+ ", b"12E\n", b"1e5 N\n" * 3, b" 12 ,5x\n", b"12.,5x\n", b"N=", b"G=", b"/", b":", b"'", b"_", b"  ",
    b"5 6 7\n" * 4, b"5 -6 +7\n" * 4, b"5 - 6\n" * 3, b"1 234 N\n" * 3, b"N 5\n" * 4, b"t\n", b"%\n", b"e", b"\x0212.5\x03",
    b"\x02", b"\x03", b"\x03\x55\r\n\x02", b"\x021,2\x03", b"\x021,2\x037", b"E", b"ND;", b"END;", b";", b"1,2;" * 5,
    b"\x02" + GOOD[:-2] + b"\x03", b"1,2\r" * 10, b"\x021,2\x03\x55" * 10, b"\n\r", b"1,2\x02",
    sentence([("force", "7", "X")]), b"$YXXDR,N,1,N,HAUL*00\n", b"$YXXDR,N,1,N,HAUL\n",
]  # fmt: skip


def ended(stream: bytes, ends: str | None) -> bytes:
    """The lines of a stream, each with an LF behind it, byte by byte as interface section 2 says."""
    own = {None: b"", "lf": b"\n", "cr": b"\r", "crlf": b"\r\n", "etx": b"\x03"}.get(
        ends, (ends or "").encode()
    )
    special = re.compile(b"[\r\n\x02\x03" + re.escape(own[:1]) + b"]")
    lines, outside, trailers, at = [bytearray()], False, 0, 0
    while at < len(stream):
        here, byte = at, stream[at : at + 1]
        at += 1
        if not outside and not special.match(byte):  # the whole run of such bytes, for speed
            found = special.search(stream, at)
            at = found.start() if found else len(stream)
            lines[-1] += stream[here:at]
        elif ends is None and byte in (b"\r", b"\n"):
            at += stream.startswith(b"\r\n", here)
            trailers += outside
            if not outside:
                lines.append(bytearray())
            outside = outside and trailers < 2
        elif ends not in (None, "etx") and stream.startswith(own, here):
            at += len(own) - 1
            if ends == "cr" and stream.startswith(b"\r\n", here):
                at += 1
            outside = False
            lines.append(bytearray())
        elif ends == "lf" and stream.startswith(b"\r\n", here):
            pass
        elif byte == b"\x03":
            if ends in (None, "etx") and not outside:
                lines.append(bytearray())
            trailers, outside = 0 if not outside else trailers, True
        elif outside:
            outside = not (ends in (None, "etx") and byte == b"\x02")
        elif byte == b"\x02" and not lines[-1]:
            pass
        else:
            lines[-1] += b" " if byte in b"\r\n" else byte
    return b"\n".join(lines)


def decoders(data: bytes, formats: Sequence[tuple[Channel, ...]] = FORMATS) -> None:
    """The same readings, counts and samples for any chunking; nothing raised, 4 kB held.

    formats: one of them is chosen by the first byte.
    """
    if len(data) < 3:
        return
    channels = formats[data[0] % len(formats)]
    torn, seed = bool(data[1] & 1), data[1] * 256 + data[2]
    stream = b"".join(PIECES[b] if b < len(PIECES) else bytes([b]) for b in data[3:])
    draw = random.Random(seed)
    edges = sorted({0, len(stream), *(draw.randrange(len(stream) + 1) for _ in range(seed % 7))})
    ways = [[stream], [stream[a:b] for a, b in itertools.pairwise(edges)]]
    if len(stream) < 300:
        ways.append([stream[i : i + 1] for i in range(len(stream))])
    seen = []
    for chunks in ways:
        decoder = decoder_for(channels)
        decoder.connected(torn=torn)
        readings: dict[str, list[bytes]] = {}
        times: dict[str, list[str]] = {}
        for chunk in chunks:
            out = decoder.feed(chunk)
            for name, sent in out.times.items():
                assert len(sent) == len(out.readings[name])
                times.setdefault(name, []).extend(map(repr, sent))
            for name, texts in out.readings.items():
                readings.setdefault(name, []).extend(texts)
            assert len(decoder._tail) <= MOST_LINE
            assert all(len(sample) <= 120 for _, sample in out.samples)
        for texts in readings.values():
            assert all(math.isfinite(float(text)) for text in texts)
        seen.append(
            (
                readings,
                times,
                dict(decoder.causes),
                decoder.drops,
                decoder.lines,
                decoder.understood,
            )
        )
        assert decoder.understood <= decoder.lines
    assert all(one == seen[0] for one in seen), (stream, seen)
    decoders_in_doubt(channels, [stream[a:b] for a, b in itertools.pairwise(edges)], draw)


def only(chosen: Callable[[Channel], bool]) -> Callable[[bytes], None]:
    """The target `decoders` with those formats alone whose first channel is chosen."""
    formats = [channels for channels in FORMATS if chosen(channels[0])]
    assert formats
    return lambda data: decoders(data, formats)


MODBUS = [
    parse_sensors(channel("f", "force", format="modbus", device_id=1, table="holding", register=0, every_s=0.1, unit="N",
                          type=kind, words=words, bytes=within, **more), "s").channels[0]
    for kind in WIDTHS for words in ORDERS for within in ORDERS for more in ({}, {"capacity": 1000.0})
]  # fmt: skip
ASKED = RegisterQuestion(device_id=1, table="holding", first=0, count=2, names=("f",))
# bytes of frames, MODBUS over serial line 1.02 and MODBUS messaging on TCP/IP 1.0b: 12.5 in two registers, an exception
BUS_PIECES = [
    bytes.fromhex(text) for text in (
        "010304414800006fd9", "018302c0f1", "010304", "4148", "0183", "000100000007010304", "00000000", "000100000003018302",
        "0002000000070103044148", "0001", "0000", "ffff", "010300000002c40b", "7fc0", "ff80", "00010000000701030441480000",
    )
]  # fmt: skip


def modbus(data: bytes) -> None:
    """Registers become finite numbers or drops with a cause; an answer found in a stream is whole, is the same
    for any cut, and at most 1 kB is held; only over TCP may bytes end the connection."""
    if len(data) < 8:
        return
    chosen = MODBUS[data[0] % len(MODBUS)]
    decoder = decoder_for([chosen])
    decoder.connected()
    dropped = 0
    for i in range(1, len(data) - 4, 4):
        content = data[i : i + (4, 2, 4, 3, 0)[data[i] % 5]]
        out = decoder.registers({"f": content})
        taken = len(out.readings.get("f", ()))
        assert taken + len(out.samples) == 1 and taken + decoder.drops["f"] - dropped == 1
        dropped = decoder.drops["f"]
        for text in out.readings.get("f", ()):
            value = float(text)
            assert math.isfinite(value) and shortest(value, chosen.modbus.number_type) == text
            again = number_of(content_of(value, chosen.modbus), chosen.modbus)
            assert shortest(again, chosen.modbus.number_type) == text
            assert chosen.capacity is None or abs(value) <= 1.5 * chosen.capacity
        assert all(cause.isprintable() and len(cause) < 400 for cause, _ in out.samples)
        assert likely_cause(decoder).isprintable() and first_line(decoder).isprintable()
    stream = b"".join(
        BUS_PIECES[b % len(BUS_PIECES)] if b < 200 else bytes([b]) for b in data[3:60]
    )
    draw = random.Random(data[1] * 256 + data[2])
    edges = sorted({0, len(stream), *(draw.randrange(len(stream) + 1) for _ in range(data[2] % 7))})
    for make in (SerialFrames, TcpFrames):
        seen = []
        for pieces in ([stream], [stream[a:b] for a, b in itertools.pairwise(edges)]):
            frames, answers = make(), []
            frames.request(ASKED)
            try:
                for piece in pieces:
                    frames.take(piece)
                    while (found := frames.answer(ASKED)) is not None:
                        answers.append(found)
                        assert (len(found.content), found.exception > 0) in ((4, False), (0, True))
                    assert len(frames.held) <= MOST_HELD
            except OSError:
                assert make is TcpFrames
                answers.append(None)
            seen.append(answers)
        assert seen[0] == seen[1], (stream, edges, seen)


def decoders_in_doubt(
    channels: Sequence[Channel], chunks: list[bytes], draw: random.Random
) -> None:
    """Chunks of a flood and of an overflow give no reading, nor does the line behind them; 4 kB held, and a
    cause is named."""
    decoder = decoder_for(channels)
    decoder.connected(torn=False)
    before = b""
    for chunk in chunks:
        counts = [ended(b, channels[0].ends).count(b"\n") for b in (before, before + chunk)]
        before += chunk
        how = draw.randrange(3)
        if how == 0:
            decoder.feed(chunk)
        elif how == 1:
            assert not decoder.feed_doubtful(chunk).readings
        else:
            assert decoder.skip(chunk) == counts[1] - counts[0]
        assert len(decoder._tail) <= MOST_LINE and decoder.understood <= decoder.lines
        assert likely_cause(decoder).isprintable() and first_line(decoder).isprintable()


RIG = """title = "slipway"
anchor_to_load_m = 12.0
[defaults]
pulley_efficiency = 0.90
[load]
kind = "slope"
mass_kg = 900.0
slope_deg = 7.0
resistance_coefficient = 0.05
pull_distance_m = 8.0
[team]
pull_N = 600.0
[[rope]]
name = "main"
length_m = 60.0
mbs_kN = 30.0
path = [
  { tie = "load", strength = 0.75 },
  { grab = "G1", at_m = 9.0 },
  { capture = "C1", on = "anchor" },
  { pulley = "A1", on = "anchor" },
  { pulley = "T1", on = "G1" },
  { edge = "E1", at_m = 1.0, wrap_deg = 90, friction = 0.3 },
  { haul = "team", toward_deg = 0 },
]
[pulley.A1]
efficiency = 0.92
[grab.G1]
slips_at_kN = 7.0
[capture.C1]
setback_m = 0.05
[edge.E1]
friction_u = 0.05
[further_anchor.P1]
at_m = -1.0
offset_m = 2.0
[plate.B1]
at_m = 5.0
[gear.K1]
carries = ["A1", "C1"]
mbs_kN = 22.0
[limits]
design_factor = 10.0
"""
RIGS = [tomllib.loads(RIG), *(
    tomllib.loads(path.read_text("utf-8"))
    for path in sorted((Path(__file__).parents[2] / "analysis" / "rigs").glob("*.toml"))
)]  # fmt: skip
SENSORS = channel(
    "f",
    "force",
    format="xdr",
    id="HAUL",
    port="/dev/x",
    baud=9600,
    zero=0.0,
    scale=1.0,
    u_percent=0.5,
    u=2.0,
    capacity=5000.0,
    stale_after_s=1.0,
    warn_at=2000.0,
    stop_at=3000.0,
    checksum=True,
) + channel(
    "d",
    "length",
    at="load",
    port="/dev/y",
    baud=9600,
    format="columns",
    column=2,
    separator=",",
    count=3,
    unit="mm",
)
TOKENS = [
    "0", "1", "-1", "1e999", "-1e-320", "nan", "inf", "1e308", "9" * 60, "9" * 5000, "true", '""', '"x"', '"load"', '"anchor"',
    '"haul"', '"G1"', '"A1"', '"T1"', '"free"', "[]", "{}", "[[]]", "{ }", '"\\u0000"', '"\\ud800"', '"\\n"', "'''a'''", "=", "\n",
    ",", "#", ".", "[rope]", "[[rope]]", "[load]", "path = []\n", "{ free = true }", '{ pulley = "T1", on = "G1" },',
    '{ tie = "anchor" },', '{ haul = "team" },', '{ grab = "G9", at_m = 3.0 },', "1979-05-27", "07:32:00", "0x7f", "1_0", '"é"',
    "\x00", "\ufeff", "\u2028", "a.b.c.d = 1\n", "[" * 200, "{a=" * 80, "a." * 100 + "a = 1\n", '"hwgrep://"', '"json"', '"columns"',
    '"count"', '"kN"', "1e-300", "-0.0", "360", "0.3", '"' + "y" * 3000 + '"', "[[channel]]\n",
]  # fmt: skip


def edited(text: str, data: bytes) -> str:
    """The text with some places replaced, dropped, doubled or swapped, as the bytes say."""
    words: list[str] = []
    for line in text.splitlines(keepends=True):
        for i, word in enumerate(line.split(" ")):
            words += [" ", word] if i else [word]
    for i in range(0, len(data) - 3, 4):
        at = (data[i] * 256 + data[i + 1]) % len(words)
        what, token = data[i + 2] % 6, TOKENS[data[i + 3] % len(TOKENS)]
        if what <= 1:
            words[at] = token + ("\n" if words[at].endswith("\n") else "")
        elif what == 2:
            words[at] = ""
        elif what == 3:
            words.insert(at, token)
        elif what == 4:
            words[at] += words[at]
        else:
            other = data[i + 3] % len(words)
            words[at], words[other] = words[other], words[at]
    return "".join(words)


LEAVES: list[Any] = [
    0, 1, -1, 2, 0.5, 1.5, -0.0, 1e308, -1e308, 1e-320, 1e-9, 9.0, 10.5, 12.0, 30.0, 90, 180, 360, 1000, 2**63, 10**60, math.nan, math.inf,
    True, False, "", "x", "load", "anchor", "haul", "free", "team", "G1", "G2", "A1", "T1", "C1", "E1", "P1", "B1", "K1", "main", "second",
    "A1>T1", "count", "kN", "m", "mm", "json", "xdr", "columns", "length", "force", "hanging", "rolling", "dragging", ",", " ", "\t", "é\u2028\x01",
    "y" * 3000, [], {}, [1], ["A1", "A1"], [[]], {"a": {"b": 1}}, [{}], 0.3, 3, 7.0, 11.7, 0.9, 9600, "hwgrep://x", "socket://h:1", "spy://x?file=y",
]  # fmt: skip
STATIONS: list[Any] = [
    {"free": True}, {"free": False}, {"tie": "anchor"}, {"tie": "G1"}, {"tie": "B1"}, {"haul": "team"}, {"haul": "team", "on": "load"},
    {"haul": "team", "toward_deg": 90}, {"pulley": "T2", "on": "G1"}, {"pulley": "A2", "on": "anchor"}, {"pulley": "L1", "on": "load"},
    {"pulley": "Q1", "on": "P1"}, {"pulley": "B2", "on": "B1"}, {"grab": "G2", "at_m": 8.0}, {"capture": "C2", "on": "anchor"},
    {"capture": "C3", "on": "G1"}, {"edge": "E2", "at_m": 4.0, "wrap_deg": 10, "friction": 0.1}, {"edge": "E3", "on": "anchor", "wrap_deg": 720, "friction": 1.0},
    {}, {"pulley": "A1", "grab": "A1"}, 7,
]  # fmt: skip
NEW_KEYS = [
    "on", "at_m", "strength", "efficiency", "efficiency_u", "mbs_kN", "wll_kN", "slips_at_kN", "damages_rope_at_kN", "setback_m", "resistance_N",
    "resistance_u_N", "surface", "breakaway", "offset_m", "stretch_percent", "stretch_at_kN", "clearance_m", "item", "source", "diameter_mm",
    "checksum", "calibration", "separator", "decimal", "count", "column", "id", "zero", "toward_deg", "x", "a b", "é",
]  # fmt: skip


def grown(base: dict[str, Any], data: bytes) -> str:
    """A document of the right syntax whose values, keys and stations were changed."""
    document = copy.deepcopy(base)
    for i in range(0, len(data) - 4, 5):
        places = [
            (box, key)
            for box in _boxes(document)
            for key in (box if isinstance(box, dict) else range(len(box)))
        ]
        if not places:
            break
        box, key = places[(data[i] * 256 + data[i + 1]) % len(places)]
        what, pick = data[i + 2] % 8, data[i + 3] * 7 + data[i + 4]
        if what <= 2:
            box[key] = copy.deepcopy(LEAVES[pick % len(LEAVES)])
        elif what == 3:
            del box[key]
        elif what == 4 and isinstance(box, list):
            box.insert(
                key,
                copy.deepcopy(box[pick % len(box)] if pick % 3 else STATIONS[pick % len(STATIONS)]),
            )
        elif what == 5 and isinstance(box, list):
            other = pick % len(box)
            box[key], box[other] = box[other], box[key]
        elif what <= 5:
            value = box[key]
            if isinstance(value, float) and abs(value) < 1e100:
                box[key] = value * (pick % 400 - 100) / 100
        elif isinstance(box, dict):
            box[NEW_KEYS[pick % len(NEW_KEYS)]] = copy.deepcopy(LEAVES[data[i + 4] % len(LEAVES)])
        else:
            box.insert(key, copy.deepcopy(STATIONS[pick % len(STATIONS)]))
    return "".join(f"{json.dumps(key)} = {_toml(value)}\n" for key, value in document.items())


def _boxes(value: Any) -> Iterator[Any]:
    if isinstance(value, (dict, list)):
        yield value
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _boxes(inner)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, (bool, str)):
        return json.dumps(value)
    return repr(value)


def one_line(fault: UserFault) -> None:
    text = str(fault)
    assert "\n" not in text and text.isprintable() and len(text) < 3000, text


def rig(data: bytes) -> None:
    """A rig file is a rig, or one line says what is wrong with it."""
    from analysis.rig_file.load import parse_rig

    try:
        text = (
            edited(RIG, data)
            if data[:1] < b"\x30"
            else grown(RIGS[data[0] % len(RIGS)], data[1 : 6 + 5 * (data[0] % 4)])
        )
        parse_rig(text, "rig.toml")
    except UserFault as fault:
        one_line(fault)


def sensors(data: bytes) -> None:
    """A sensors file likewise."""
    try:
        text = (
            edited(SENSORS, data)
            if data[:1] < b"\x30"
            else grown(tomllib.loads(SENSORS), data[1 : 6 + 5 * (data[0] % 4)])
        )
        parsed = parse_sensors(text, "sensors.toml")
        for one in parsed.channels:
            value = one.si(1.0)
            assert isinstance(value, float)
        for_recording(parsed)
    except UserFault as fault:
        one_line(fault)


class FuzzFolder:
    """A folder in memory where there is one; the same for all inputs of a process."""

    def __init__(self) -> None:
        shm = Path("/dev/shm")
        base = os.environ.get("HAUL_FUZZ_DIR") or (shm if os.access(shm, os.W_OK) else None)
        self.base = Path(tempfile.mkdtemp(prefix="fuzz", dir=base))
        self.templates = self._templates()

    def _templates(self) -> list[dict[str, bytes]]:
        """A sealed session, and one that was cut short, with its marks and without."""
        templates = []
        for sealed in (True, False):
            out = self.base / f"template-{sealed}"
            writer = SessionWriter.create(out, RIG.encode(), parse_sensors(XDR_TWO, "s"))
            writer.event(0.0, "start")
            for k in range(30):
                writer.readings(b"%d.25,f,%d.5\n%d.5,d,%d\n" % (k, 100 + k, k, k))
                writer.clock(k + 0.75, "2026-05-04T10:00:00.000Z", (k, 0, k, 0))
            writer.event(29.0, "mark", text='a "b", c')
            writer.reject(1.0, "port", "cause", b"\xff")
            if sealed:
                writer.event(30.0, "stop")
                writer.seal()
            else:
                writer.flush()
                writer.abandon()
            templates.append({p.name: p.read_bytes() for p in out.iterdir() if p.is_file()})
            shutil.rmtree(out)
        templates.append({name: data for name, data in templates[-1].items() if name != MARKS})
        return templates

    def close(self) -> None:
        shutil.rmtree(self.base, ignore_errors=True)


_place: list[FuzzFolder] = []


def place() -> FuzzFolder:
    import atexit

    if not _place:
        files.ops = NoSync()
        try:
            _place.append(FuzzFolder())
        finally:
            files.ops = FileOps()
        atexit.register(_place[0].close)
    return _place[0]


NAMES = ["datapackage.json", "readings.csv", "events.csv", "clock.csv", "rejects.csv", "rig.toml", "sensors.toml", "SHA256SUMS", MARKS]  # fmt: skip
ROWS = [
    b"5,f,7\n", b"5,nobody,1\n", b"x,f,1\n", b"7,f\n", b"8,f,nan\n", b"1,f,9\n", b"9,f,1,2\n", b"\xff\xff\n", b'"\n', b"\n", b"\r\n",
    b"\0" * 50, b"1e400,f,1\n", b"99999,f,1e308\n", b"-5,d,-1e308\n", b'1,"x\n', b"y,r9,mark,,,\n", b"3,r000001,rig,,,../../x\n",
    b"3,a,zero,f,1e999,\n", b"3,a,zero,f,5,\n", b"3,b,undo,f,0,a\n", b"9,r999999999999,stop,,,\n", b"1e308,r5,start,,,\n", b"3,a,gap,f,-1,\n",
    b"3,a,alarm,f,,stop: x\n", b"1,2026-01-01T00:00:00Z,1,0,1,0\n", b"1e9,x,1,0,1,0\n", b"1,x,-1,0,1,0\n", b"[]", b"{}", b"null",
    b"NaN", b'"a"', b"1e999", b"9" * 400, b"[" * 500, b"haul_format", b"channels", b"resources", b"path", b"../", b"/etc/passwd",
    b"sha256:", b"0" * 64, b",", b'"', b":", b"\\u0000", b"\\ud800", b"\xe2\x80\xa8", b"rig-2.toml", b"inf", b" 1 ,f, 2 \n", b"1_0,f,1_0\n",
    b"readings.csv 24 0123456789abcdef\n", b"readings.csv 24", b"haul marks 1 \n", b"0x10,f,1\n", b"1,f,1\r2,f,2\n", b"\xef\xbb\xbf", b"time_s,channel,reading\n",
]  # fmt: skip


def session(data: bytes) -> None:
    """A folder of any content is read, verified, repaired, or refused in one line; the careful and
    the fast reading agree, and reading in pieces gives what reading at once does."""
    from analysis.review.review import review_session

    if len(data) < 6:
        return
    here = place()
    folder = here.base / "session"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    tables = dict(here.templates[data[0] % 3])
    odd = data[1]
    for i in range(2, len(data) - 4, 5):
        name = NAMES[data[i] % len(NAMES)]
        old = tables.get(name, b"")
        at = (data[i + 1] * 256 + data[i + 2]) % (len(old) + 1)
        what, row = data[i + 3] % 6, ROWS[data[i + 4] % len(ROWS)]
        if what == 0:
            tables[name] = old[:at] + row + old[at:]
        elif what == 1:
            tables[name] = old[:at] + row + old[at + len(row) :]
        elif what == 2:
            tables[name] = old[:at]
        elif what == 3:
            tables[name] = old + row
        elif what == 4:
            tables[name] = old[:at] + bytes([data[i + 4]]) + old[at + 1 :]
        else:
            tables.pop(name, None)
    for name, content in tables.items():
        (folder / name).write_bytes(content)
    if odd % 16 == 1:
        (folder / "inbox").mkdir()
        (folder / "inbox" / "x.json").write_bytes(b"{}")
    elif odd % 16 == 2:
        os.mkfifo(folder / "pipe")
    elif odd % 16 == 3:
        (folder / NAMES[odd // 16 % 9]).unlink(missing_ok=True)
        os.mkfifo(folder / NAMES[odd // 16 % 9])
    elif odd % 16 == 4:
        (folder / NAMES[odd // 16 % 9]).unlink(missing_ok=True)
        (folder / NAMES[odd // 16 % 9]).mkdir()
    elif odd % 16 == 5:
        (folder / "a\nb\\c").write_bytes(b"x")
    elif odd % 16 == 6:
        Path(os.fsdecode(bytes(folder) + b"/\xff\xfe")).write_bytes(b"x")
    elif odd % 16 == 7:
        (folder / NAMES[odd // 16 % 9]).unlink(missing_ok=True)
        (folder / NAMES[odd // 16 % 9]).symlink_to("/dev/zero")
    calls: list[Callable[[Path], object]] = [open_session, read_all, session_state, _pieces]
    if data[1] % 5 == 0:
        calls.append(review_session)
    for call in calls:
        try:
            call(folder)
        except UserFault as fault:
            one_line(fault)
    verdict = verify(folder)
    assert verdict.state in ("complete", "cut short", "changed", "unreadable"), verdict
    if verdict.state == "cut short":
        files.ops = NoSync()
        try:
            again = repair(folder)
            assert again.state == "complete", again
            assert read_all(folder).malformed == 0
        except UserFault as fault:
            one_line(fault)
        finally:
            files.ops = FileOps()


def _pieces(folder: Path) -> None:
    """The readings cut in two at any line give what they give at once."""
    whole = read_all(folder)
    path = folder / "readings.csv"
    if not path.is_file():
        return
    data = path.read_bytes()
    middle = data.rfind(b"\n", 0, max(25, len(data) // 2)) + 1
    follower = Follower(folder)
    path.write_bytes(data[:middle])
    try:
        parts = [follower.read()]
        path.write_bytes(data)
        parts.append(follower.read())
    finally:
        path.write_bytes(data)
    for name, readings in whole.readings.items():
        joined = np.concatenate([p.readings[name].reading for p in parts])
        assert joined.tolist() == readings.reading.tolist(), name
    assert sum(p.malformed for p in parts[:2]) >= whole.malformed


VALUES: list[object] = [
    "mark", "undo", "zero", "ack", "rig", "end", "", "x", "f", "d", "operator", "viewer", None, True, 7, 1e308, [], {}, "\0", "\ud800",
    "a = 1\n", "\ud800\n", 'title = "x"\n', "q.toml", "../../rig.toml", "x" * 5000, "é", "\n\n\n", "=", '"', "r000001", "one", "inf",
]  # fmt: skip
KEYS = ["verb", "channel", "text", "role", "id", "colour", "\ud800"]
RAW = [
    b"", b"{", b"[]", b"\xff", b"[" * 3000, b"{" + b" " * 5000 + b"}", b'{"verb": "mark"', b"9" * 4000, b"null", b'"mark"',
    b'{"verb":"mark","verb":"end","role":"operator"}', b"\xef\xbb\xbf{}", b'{"verb": NaN}', b'{"a":' * 700,
]  # fmt: skip
FILES = ["one.json", "two.json", "odd name.json", "é.json", ".json", "a" * 64 + ".json", "a" * 65 + ".json", "r000001.json",
         "-.json", "q.json", "A_b-c.json", "\udcff.json"]  # fmt: skip


class Desk:
    """A recorder's desk that has seen readings, an alarm, and rigs that fail their check."""

    def __init__(self, folder: Path) -> None:
        self.sensors = parse_sensors(XDR + "capacity = 1e300\nscale = 1e300\n", "s")
        self.writer = SessionWriter.create(folder, b"", self.sensors)
        self.desk = RequestHandler(self.writer, self.sensors, self._check)
        self.desk.set_alarm_level("f", "f", 2)

    def _check(self, text: str, name: str) -> str | None:
        if "=" not in text:
            raise ValueError(text)
        from analysis.rig_file.load import parse_rig

        try:
            parse_rig(text, name)
        except UserFault as fault:
            return str(fault)
        return None


def inbox(data: bytes) -> None:
    """Each request gets exactly one answer, a row that can be read back, and its file is gone."""
    from logger.session.descriptor import csv_line
    from logger.session.parser import parse_events

    if len(data) < 3:
        return
    here = place()
    folder = here.base / "inboxed"
    shutil.rmtree(folder, ignore_errors=True)
    files.ops = NoSync()
    try:
        made = Desk(folder)
        texts = [b"1", b"2"] if data[0] % 2 else [b"9" * 40 + b"e99"] * 3
        made.desk.remember("f", 0.5, 0.1, texts)
        wanted = 0
        for i in range(1, len(data) - 10, 11):
            name = FILES[data[i] % len(FILES)]
            if data[i + 1] % 3 == 0:
                content = RAW[data[i + 2] % len(RAW)]
            else:
                asked: dict[str, object] = {
                    "verb": VERBS[data[i + 2] % len(VERBS)],
                    "role": "operator",
                }
                for k in range(3, 3 + 2 * (data[i + 1] % 4), 2):
                    asked[KEYS[data[i + k] % len(KEYS)]] = VALUES[data[i + k + 1] % len(VALUES)]
                content = json.dumps(asked).encode()
            path = folder / "inbox" / name
            path.write_bytes(content)
            if data[i + 10] % 9 == 0:
                (folder / "inbox" / "q.toml").write_bytes(
                    RIG.encode() if data[i + 9] % 2 else b"\xff"
                )
            fresh = (
                name.startswith(".") or name.removesuffix(".json") not in made.desk._inbox._answered
            )
            answers = list(made.desk.answers(1.0))
            check = made.desk._rig_check
            if check is not None:  # a rig is checked in a thread of its own
                until(check.verdict)
                answers += made.desk.answers(1.0)
            wanted = 0 if name.startswith(".") else int(fresh)
            assert len(answers) == wanted, (name, answers)
            for answer in answers:
                assert not answer.text.startswith("cannot be done (") or answer.text.endswith(
                    "(ValueError)"
                ), answer
                shown = "" if answer.value is None else repr(answer.value)
                row = csv_line(
                    (
                        "1.0000",
                        answer.request or "r000009",
                        answer.kind,
                        answer.channel,
                        shown,
                        answer.text,
                    )
                )
                events, malformed = parse_events(row)
                assert malformed == 0 and events[0].text == answer.text, answer
            assert name.startswith(".") or not path.exists()
        made.writer.abandon()
    finally:
        files.ops = FileOps()


TARGETS: dict[str, Callable[[bytes], None]] = {
    "decoders": decoders, "text": only(lambda c: c.format == "text"), "json": only(lambda c: c.format == "json"),
    "line ends": only(lambda c: c.ends is not None), "number marks": only(lambda c: bool(c.decimal or c.thousands)),
    "modbus": modbus, "rig": rig, "sensors": sensors, "session": session, "inbox": inbox,
}  # fmt: skip


def mutants(seed: int, least: int = 3, most: int = 60):
    """Bytes without end: fresh ones, and earlier ones with a few places changed."""
    draw = random.Random(seed)
    pool = [draw.randbytes(draw.randint(least, most)) for _ in range(64)]
    while True:
        data = bytearray(draw.choice(pool))
        for _ in range(draw.randint(0, 4)):
            at = draw.randrange(len(data) + 1)
            how = draw.random()
            if how < 0.4 and at < len(data):
                data[at] = draw.randrange(256)
            elif how < 0.6:
                data[at:at] = draw.randbytes(draw.randint(1, 6))
            elif how < 0.8:
                del data[at : at + draw.randint(1, 6)]
            else:
                data = bytearray(draw.randbytes(draw.randint(least, most)))
        if least <= len(data) <= 2 * most:
            pool[draw.randrange(len(pool))] = bytes(data)
        yield bytes(data)
