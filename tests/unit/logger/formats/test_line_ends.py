"""Every usual line end ends a line, wherever the bytes are cut; a silence does, where it is stated."""

from __future__ import annotations

import itertools
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.channels import COLUMNS, JSON, XDR, channel
from support.fuzz_targets import ended
from support.waiting import Limit, joined, until
from support.yard import Yard, recording, silent_wire

from logger.channels.channel import Channel
from logger.channels.line_formats import NAMED_ENDS
from logger.channels.sensors_file import parse_sensors
from logger.formats.base import MOST_LINE
from logger.formats.line_ends import LineEnds
from logger.formats.registry import decoder_for, encode
from logger.transports.simulated import serve_pty, serve_tcp

ONE = channel("f", "force", format="columns", column=1, separator=",", unit="N")
BYTES = st.lists(
    st.sampled_from(
        [
            b"\r",
            b"\n",
            b"\x02",
            b"\x03",
            b"\r\n",
            b"E",
            b"ND;",
            b"END;",
            b";",
            b"1",
            b"2.5",
            b",",
            b" ",
        ]
    ),
    max_size=30,
)
ENDS = [None, "lf", "cr", "crlf", "etx", ";", "END;", "\r\r\n"]


def channels(ends: str | None, text: str = ONE) -> tuple[Channel, ...]:
    stated = "" if ends is None else f"ends = {ends!r}\n".replace("'", '"')
    return parse_sensors(text + stated, "s").channels


def read(ends: str | None, *chunks: bytes, torn: bool = False) -> list[bytes]:
    decoder = decoder_for(channels(ends))
    decoder.connected(torn=torn)
    return [text for chunk in chunks for text in decoder.feed(chunk).readings.get("f", [])]


@pytest.mark.parametrize("ends", ENDS)
@settings(deadline=None)
@given(pieces=BYTES, cuts=st.lists(st.integers(0, 60), max_size=8))
def test_lines_are_those_of_the_description_for_any_cut(
    ends: str | None, pieces: list[bytes], cuts: list[int]
) -> None:
    stream = b"".join(pieces)
    edges = sorted({0, len(stream), *(cut for cut in cuts if cut < len(stream))})
    wanted = ended(stream, ends)
    for chunks in (
        [stream],
        [stream[a:b] for a, b in itertools.pairwise(edges)],
        [stream[i : i + 1] for i in range(len(stream))],
    ):
        splitter = LineEnds(ends)
        out = b"".join(splitter.normal(chunk) for chunk in chunks) + splitter._held.replace(
            b"\r", b""
        )
        assert out.rpartition(b"\n")[0] == wanted.rpartition(b"\n")[0]


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\n\r"])
def test_each_usual_end_ends_a_line_at_once(end: bytes) -> None:
    decoder = decoder_for(channels(None))
    for text in (b"1.5", b"2.5"):
        assert decoder.feed(text + end).readings == {"f": [text]}


def test_a_frame_is_a_line_and_what_stands_behind_it_is_none() -> None:
    """The check character behind ETX may itself be a digit or a line end."""
    for check in (b"", b"7", b"\r\n", b"7\r\n", b"12.5\r", b"\x7f\n"):
        frames = b"".join(b"\x02%d.5\x03%s" % (n, check) for n in range(1, 4))
        assert read(None, frames) == read("etx", frames) == [b"1.5", b"2.5", b"3.5"]
    assert read(None, b"\x021.5\r\x022.5\r\n") == [b"1.5", b"2.5"]  # STX without ETX


def test_an_etx_that_is_noise_costs_a_line_or_two_and_no_more() -> None:
    assert read(None, b"1.5\r\n2\x03.5\r\n3.5\r\n4.5\r\n5.5\r\n") == [b"1.5", b"2", b"4.5", b"5.5"]
    noise = bytes(range(256)) * 8
    assert read(None, noise + b"\r\n1.5\r\n2.5\r\n3.5\r\n")[-2:] == [b"2.5", b"3.5"]


def test_a_line_that_another_stx_cuts_off_is_dropped() -> None:
    decoder = decoder_for(channels(None))
    assert decoder.feed(b"\x0212\x023.5\x03").readings == {"f": [b"3.5"]}
    assert decoder.causes == {"torn off by the STX of the next line": 1} and decoder.drops == {
        "f": 1
    }


def test_a_stated_end_is_the_only_one() -> None:
    assert read(";", b"1.5;2.5;\r\n3.5;") == [b"1.5", b"2.5", b"3.5"]
    assert read("lf", b"1.5\r\n2.5\n") == [b"1.5", b"2.5"]
    assert read("cr", b"1.5\r\n2.5\r3") == [b"1.5", b"2.5"]
    assert read("crlf", b"1.5\r", b"\n2.5\r\n") == [b"1.5", b"2.5"]
    assert read("crlf", b"1.5\n2.5\r\n") == []
    assert read("cr", b"1.5\x037\r2.5\x037\r") == [b"1.5", b"2.5"]  # ETX and check, no STX


@pytest.mark.parametrize("ends", [*NAMED_ENDS, ";", "\\r\\r\\n", "END", None])
@pytest.mark.parametrize("text", [XDR, JSON, COLUMNS])
def test_what_encode_ends_comes_back(ends: str | None, text: str) -> None:
    stated = "" if ends is None else f'ends = "{ends}"\n'
    port = parse_sensors(text + stated, "s").channels
    decoder = decoder_for(port)
    for _ in range(3):
        found = decoder.feed(encode(port, {"f": 12.5})).readings
        assert (found or decoder.pause().readings) == {"f": [b"12.5"]}
    assert not decoder.causes


def test_no_more_than_4_kb_are_held_whatever_ends_a_line() -> None:
    for ends in (*ENDS, "pause"):
        decoder = decoder_for(channels(ends))
        for _ in range(20):
            decoder.feed(b"\x02" + b"1" * 1000)
            assert len(decoder._tail) <= MOST_LINE and len(decoder._ends._held) < 4
        assert sum(decoder.causes.values()) in (1, 20)


PAUSED = channel(
    "force", "force", 'ends = "pause"', port="{}", baud=9600, format="columns", column=1, unit="N"
)


@pytest.mark.parametrize("serve", [serve_pty, serve_tcp])
def test_a_silence_of_30_ms_ends_a_line_and_a_shorter_one_does_not(tmp_path: Path, serve) -> None:  # type: ignore[no-untyped-def]
    device = serve()
    yard = Yard(tmp_path, PAUSED.replace("{}", device.url))
    limit, judged, quiet, number = Limit(20.0), 0, False, 0
    with recording(yard) as running, HeldUp() as held_up:
        until(lambda: getattr(device, "wait_client", lambda _: True)(0.1))
        silent_wire()
        while judged < 6:
            # what was sent while the machine held a thread up, or right behind that, had other silences
            assert not limit.over(), f"the machine held up nearly every line: {limit}"
            number, quiet_before = number + 1, quiet
            held_up.longest_s = 0.0
            device.send(b"%d" % number)
            time.sleep(0.004)  # no end of a line
            device.send(b"2.5")
            time.sleep(0.06)  # the silence that ends it
            quiet = held_up.longest_s < 0.015
            if quiet and quiet_before:
                until(lambda n=number: n * 10 + 2.5 in yard.values())
                judged += 1
        running.end()
    device.close()


class HeldUp(threading.Thread):
    """Sleeps for an instant again and again; longest_s: the longest time that one took, s."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.longest_s, self._over = 0.0, threading.Event()

    def run(self) -> None:
        while not self._over.is_set():
            began = time.monotonic()
            self._over.wait(0.001)
            self.longest_s = max(self.longest_s, time.monotonic() - began)

    def __enter__(self) -> HeldUp:
        self.start()
        return self

    def __exit__(self, *what: object) -> None:
        self._over.set()
        joined(self)
