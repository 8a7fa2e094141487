"""Reads the keys of a device that must be asked: `ask`, `every_s`, `answer_s`; of Modbus the last two."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass

from logger.channels.channel import Channel
from logger.channels.channel_keys import LEAST_ANSWER_S
from logger.channels.port_schemes import SCHEMES, scheme_of
from logger.errors import SensorsFault
from logger.toml_tables import Table

# interface section 2: questions without an answer after which a reading is too old
STALE_PERIODS = 3
MOST_ASK = 200  # characters of a question, as in a sensors file


@dataclass(frozen=True)
class Asking:
    """How one channel is asked; all None where its device sends by itself."""

    ask: str | None  # the question, each character one byte
    every_s: float | None  # time from one question to the next, s
    answer_s: float | None  # longest time to wait for the answer, s


def read_asking(table: Table, polled: bool = False) -> Asking:
    """The keys of one channel; raises SensorsFault.

    polled: whether its format asks by itself, without `ask`.
    """
    ask = table.text("ask")
    every_s = table.number("every_s")
    answer_s = table.number("answer_s")
    if ask is None and not polled:
        for key, value in (("every_s", every_s), ("answer_s", answer_s)):
            if value is not None:
                raise table.fault(
                    key,
                    "is for a device that is asked, and there is no ask",
                    f'leave {key} out, or write ask = "READ?\\r\\n" with the device\'s question',
                )
        return Asking(None, None, None)
    if ask is not None and (not ask or any(ord(character) > 0xFF for character in ask)):
        raise table.fault(
            "ask",
            "is empty or holds a character that is no byte",
            'write the question as the device takes it, such as ask = "READ?\\r\\n"',
        )
    if every_s is None:
        what = "format modbus" if ask is None else "ask"
        raise table.fault("every_s", f"is missing, and {what} needs it", "write every_s = 0.1")
    return Asking(ask, every_s, answer_s or max(every_s, LEAST_ANSWER_S))


def stale_default_s(every_s: float | None) -> float:
    """Time without a reading after which the last one is too old, where the file states none, s."""
    return max(1.0, STALE_PERIODS * (every_s or 0.0))


def check_asking(channels: Sequence[Channel], file: str, recorded: bool) -> None:
    """Check the questions of channels that share a port; raises SensorsFault.

    recorded: the text is a session's, whose ports are not opened.
    """
    first: dict[str, Channel] = {}
    questions: dict[tuple[str, str], Channel] = {}
    for channel in channels:
        port = channel.port
        if port is None:
            continue
        where = f"channel {channel.name}: ask"
        other = first.setdefault(port, channel)
        if (channel.ask is None) != (other.ask is None):
            silent, asking = (channel, other) if channel.ask is None else (other, channel)
            raise SensorsFault(
                file,
                f"{asking.name} is asked and {silent.name} is not, on the same port",
                f"give {silent.name} its own ask, or the same one if one answer holds both",
                f"channel {silent.name}: ask",
            )
        if channel.ask is None:
            continue
        scheme = scheme_of(port)
        if not recorded and scheme is not None and not scheme.asks:
            raise SensorsFault(
                file, f"nothing can be asked on {port}", f"take a port such as {_askable()}", where
            )
        same = questions.setdefault((port, channel.ask), channel)
        for key in ("every_s", "answer_s"):
            if getattr(channel, key) != getattr(same, key):
                raise SensorsFault(
                    file,
                    f"{key} differs from channel {same.name}'s, which shares the question",
                    f"give both the same {key}",
                    f"channel {channel.name}: {key}",
                )


def _askable() -> str:
    *most, last = (scheme.example for scheme in SCHEMES.values() if scheme.asks)
    return f"{', '.join(most)} or {last}"


def typed_question(text: str) -> str:
    r"""The question, such as "READ?\r\n" with its escapes; raises ValueError with what is wrong."""
    try:
        question = str(tomllib.loads('ask = "' + text.replace('"', '\\"') + '"')["ask"])
    except (ValueError, KeyError, RecursionError):
        raise ValueError(
            rf'{text[:MOST_ASK]!r} is no text with the escapes of TOML, such as "READ?\r\n"'
        ) from None
    if not question or len(question) > MOST_ASK or any(ord(one) > 0xFF for one in question):
        raise ValueError(
            f"{text[:MOST_ASK]!r} is empty, longer than {MOST_ASK} characters, or holds a character that is no byte"
        )
    return question
