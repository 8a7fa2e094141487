"""`haul listen` on every device of the catalogue, told the port and, of one that is asked, the question alone.

All devices are on their wires at once, eight at a time, because a listening waits more than it works.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.emulated_devices import CATALOGUE, Emulated
from support.mqtt_devices import plugged
from support.serial_wire import noting_framings
from support.systems import pseudo_terminals

from logger.channels.sensors_file import for_recording, parse_sensors
from logger.listening.capture import Answers, Capture
from logger.listening.hearing import LineSettings
from logger.listening.settings_search import Wanted, listen_on, search
from logger.listening.understanding import Understanding, UnderstoodChannel, understand

pytestmark = [pseudo_terminals, pytest.mark.many]
AT_ONCE = 8


@dataclass(frozen=True)
class Heard:
    """What one listening ended with."""

    capture: Capture
    settings: LineSettings
    understanding: Understanding
    inbox: bytes
    seen: tuple[int, str]  # what the device saw set on its terminal


def hear(device: Emulated, folder: Path, number: int) -> Heard:
    emulated = plugged(device, folder, number)
    try:
        asked = device.asked.decode("latin-1") or None
        wanted = Wanted(emulated.port, device.wire == "pty", ask=asked)
        searched = search(wanted, None, lambda _: None)
        with searched.hearing as hearing:
            capture = listen_on(searched, wanted, None)
            return Heard(
                capture, hearing.settings, understand(capture), emulated.inbox, emulated.seen
            )
    finally:
        emulated.close()


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future[Heard]]]:
    folder = tmp_path_factory.mktemp("devices")
    with noting_framings(), ThreadPoolExecutor(AT_ONCE) as pool:
        # those that take longest first
        names = sorted(
            CATALOGUE, key=lambda name: (not CATALOGUE[name].asked, CATALOGUE[name].baud)
        )
        listenings = {
            name: pool.submit(hear, CATALOGUE[name], folder, k) for k, name in enumerate(names, 1)
        }
        wait(listenings.values())  # what is open in a test would look as if the test had left it
        yield listenings


def truths(device: Emulated) -> list[tuple[str, set[float]]]:
    """Unit and values of each number of the device's line."""
    own = {device.shown(value) for value in device.course}
    return [(device.unit, own)] + [
        (unit, {of(v) for v in device.course}) for unit, of in device.also
    ]


def is_true(channel: UnderstoodChannel, truth: tuple[str, set[float]]) -> bool:
    unit, values = truth
    # a second number may be rounded to one decimal or two where it is sent
    return channel.channel.unit == unit and all(
        any(abs(value - one) <= 0.0501 for one in values) for value in channel.values
    )


def found(device: Emulated, understanding: Understanding) -> bool:
    """Whether a channel with a certain unit reads the device's own number."""
    return any(is_true(one, truths(device)[0]) for one in understanding.understood)


def answered(device: Emulated, one: Heard) -> Understanding:
    """What is understood once a person has answered what was asked."""
    if device.person == "comma":
        return understand(one.capture, Answers(comma=device.answer))
    own = truths(device)[0][1]
    counts = {"encoder", "encoder, letter", "counts said"}
    places = [u.place for u in one.understanding.unclear]
    name = next(n for n, d in CATALOGUE.items() if d is device)
    unit = "count" if name in counts else device.answer
    keys = {"scale": 0.001, "quantity": device.quantity} if unit == "count" else {}
    for place in places:
        made = understand(one.capture, Answers(units={place: unit}, keys={place: keys}))
        for channel in made.understood:
            if channel.channel.place == place and all(value in own for value in channel.values):
                return made
    return one.understanding


@pytest.mark.parametrize("name", CATALOGUE)
def test_nothing_is_silently_wrong(name: str, heard: dict[str, Future[Heard]]) -> None:
    """Every channel that is understood reads a number of the line in its true unit, and its table does
    so when it is recorded."""
    device, one = CATALOGUE[name], heard[name].result()
    for channel in one.understanding.understood:
        assert any(is_true(channel, truth) for truth in truths(device)), channel
        for_recording(parse_sensors(channel.toml, "s"))
        table = tomllib.loads(channel.toml)["channel"][0]
        assert (table["at"], table["unit"]) == ("haul", channel.channel.unit)


@pytest.mark.parametrize("name", CATALOGUE)
def test_nothing_but_the_question_is_sent(name: str, heard: dict[str, Future[Heard]]) -> None:
    device, one = CATALOGUE[name], heard[name].result()
    assert one.inbox == device.asked * (len(one.inbox) // max(1, len(device.asked)))
    assert bool(one.inbox) == bool(device.asked)


@pytest.mark.parametrize("name", [n for n, d in CATALOGUE.items() if not d.missed])
def test_a_device_is_found_with_its_rate_framing_number_and_unit(
    name: str, heard: dict[str, Future[Heard]]
) -> None:
    """What the line does not show (a unit, the meaning of a comma) is asked, and read with the answer."""
    device, one = CATALOGUE[name], heard[name].result()
    if device.wire == "pty":
        # a second stop bit does not show when one listens
        shown = device.framing.replace("8N2", "8N1")
        assert (one.settings.baud, one.settings.framing) == (device.baud, shown)
        assert one.seen == (device.baud, shown)
    if not device.person:
        assert found(device, one.understanding), one.understanding
        return
    assert not found(device, one.understanding) and one.understanding.unclear
    if device.answer in ("kg", "N") or device.person == "comma":
        assert found(device, answered(device, one)), one.understanding.unclear
    else:
        assert answered(device, one) is not one.understanding


def test_at_least_nine_of_ten_are_found(heard: dict[str, Future[Heard]]) -> None:
    """Told nothing but the port and the question; a device that shows no unit counts where the answer
    to the question is all that is missing."""
    hits = 0
    for name, device in CATALOGUE.items():
        one = heard[name].result()
        made = answered(device, one) if device.person else one.understanding
        hits += found(device, made) or (device.person != "" and made is not one.understanding)
    assert hits >= 0.9 * len(CATALOGUE), f"{hits} of {len(CATALOGUE)}"
