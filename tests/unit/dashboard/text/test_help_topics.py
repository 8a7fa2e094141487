"""`haul help device`: the board's example prints what the recorder reads."""

from __future__ import annotations

import re
import sys
import types
from collections.abc import Callable
from typing import Any

import pytest

from dashboard.cli import COMMANDS, main
from dashboard.text.help_topics import FILES, FOLDER, TOPICS, topic_text
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.formats.registry import decoder_for

TEXT = topic_text("device")


def code() -> str:
    """The example of the text."""
    match = re.search(r"^----- board.py -----\n(.*?)^----- end -----$", TEXT, re.M | re.S)
    assert match is not None
    return match[1]


def channel() -> Any:
    """The channel of the text."""
    rows = TEXT[TEXT.rindex("[[channel]]") :].splitlines()
    sensors = parse_sensors("\n".join(row.strip() for row in rows), "device.txt")
    for_recording(sensors)
    return sensors.channels[0]


class Amplifier:
    """A bridge amplifier of 24 bits: low while a reading is ready, then a bit at each pulse of the clock."""

    def __init__(self, counts: list[int]) -> None:
        self.counts, self.bits, self.pulses = list(counts), [], 0

    def data(self) -> int:
        if self.pulses == 0:
            return 0
        return self.bits[self.pulses - 1]

    def clock(self, level: int) -> None:
        if not level:
            return
        if self.pulses == 0:
            word = self.counts.pop(0) & 0xFFFFFF
            self.bits = [word >> place & 1 for place in range(23, -1, -1)]
        self.pulses = (self.pulses + 1) % 25  # the pulse behind the last bit chooses the next gain


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> Callable[[list[int]], dict[str, Any]]:
    """Run the example's file with a board's modules in place of its own hardware."""

    def run(counts: list[int]) -> dict[str, Any]:
        amplifier, clock = Amplifier(counts), [0]

        class BoardPin:
            IN, OUT = 0, 1

            def __init__(self, number: int, mode: int) -> None:
                self.mode = mode

            def value(self, level: int | None = None) -> int:
                if level is None:
                    return amplifier.data()
                amplifier.clock(level)
                return 0

        def sleep_ms(ms: int) -> None:
            clock[0] += ms

        times = types.SimpleNamespace(
            ticks_ms=lambda: clock[0], ticks_diff=lambda a, b: a - b, ticks_add=lambda a, b: a + b, sleep_ms=sleep_ms
        )  # fmt: skip
        monkeypatch.setitem(sys.modules, "machine", types.SimpleNamespace(Pin=BoardPin))
        monkeypatch.setitem(sys.modules, "time", times)
        names: dict[str, Any] = {"__name__": "board"}
        exec(compile(code(), "board.py", "exec"), names)
        return names

    return run


def nmea_checksum(sentence: str) -> str:
    """NMEA 0183: the exclusive or of the characters between $ and *, as two hexadecimal digits."""
    total = 0
    for byte in sentence[1 : sentence.index("*")].encode("ascii"):
        total = total ^ byte
    return format(total, "02X")


def test_the_example_is_about_thirty_lines_of_a_board() -> None:
    rows = [row for row in code().splitlines() if row.strip()]
    assert 25 <= len(rows) <= 45
    compile(code(), "board.py", "exec")


def test_the_examples_sentence_is_read_by_the_texts_channel(board: Any, capsys: Any) -> None:
    names = board([84213, 84213 + 33662, 84213 - 100])
    names["run"](range(3))
    said = capsys.readouterr().out
    lines = said.splitlines()
    assert said.count("\r\n") == 3
    for line in lines:
        assert re.fullmatch(r"\$YXXDR,N,-?[0-9]+\.[0-9],N,CELL,G,[0-9.]+,S,TIME\*[0-9A-F]{2}", line)
        assert line[-2:] == nmea_checksum(line)
    assert [line.split(",")[6] for line in lines] == ["0.000", "0.020", "0.040"]
    decoder = decoder_for([channel()])
    decoder.connected(torn=False)
    readings = decoder.feed(said.encode()).readings["force"]
    # (counts - zero) x newtons a count, by hand: 0; 33662 x 0.01226 = 412.696; -1.226
    assert [float(text) for text in readings] == [0.0, 412.7, -1.2]
    assert not decoder.causes


def test_a_reading_over_the_amplifiers_range_is_dropped_and_told(board: Any) -> None:
    names = board([])
    assert names["force"]((1 << 23) - 1) is None and names["force"](-(1 << 23)) is None
    decoder = decoder_for([channel()])
    decoder.connected(torn=False)
    assert not decoder.feed(names["sentence"](None, 1.0).encode()).readings
    assert decoder.drops == {"force": 1} and set(decoder.causes) == {"not a number"}


def test_the_sentence_in_the_text_has_its_checksum() -> None:
    (sentence,) = re.findall(r"\$YXXDR,N,412\.7,N,CELL\*[0-9A-F]{2}", TEXT)
    assert sentence[-2:] == nmea_checksum(sentence)


def test_each_topic_has_its_text_and_is_printed(capsys: Any) -> None:
    assert {path.stem for path in FOLDER.glob("*.txt")} | set(FILES) == set(TOPICS)
    for topic in TOPICS:
        assert main(["help", topic]) == 0
        said = capsys.readouterr().out
        assert said.startswith(topic_text(topic) + "\n")
        assert (f"`haul {topic} --help`" in said) == (topic in COMMANDS)
        assert max(map(len, said.splitlines())) <= 112


def test_another_topic_is_refused_with_those_that_there_are(capsys: Any) -> None:
    assert main(["help", "devise"]) == 2
    assert "haul help device" in capsys.readouterr().err
