"""Reads what a person types on the sensors page: quantities with their unit, rates, questions, and addresses."""

from __future__ import annotations

import math
import os
import re
import stat
from pathlib import Path
from typing import Any

from logger.channels.asking import typed_question
from logger.channels.framing import parse_framing
from logger.channels.port_schemes import normal_port, split_port, without_secret
from logger.device_units import COUNT, FORCE_UNITS, LENGTH_UNITS, unit_from_word
from logger.errors import CallFault, PortFault, one_line
from logger.listening.hearing import check_port
from logger.typed_commas import asked_comma, comma_in_number

MOST_TYPED = 300  # characters of a field; memory only
SHOWN_TYPED = 60  # characters of it that a fault repeats
MOST_SIZE = 1e9  # N or m, chosen by us: no cell and no rope reaches it
MOST_PORT = 4096  # characters of a port; memory only
MOST_SHOWN = 80  # characters of a port on the page: one or two lines of a phone
RATES = (50, 10_000_000)  # bit/s, as the sensors file takes them
FORCE_TYPED = f"a number with one of {' '.join(FORCE_UNITS)}, such as 20 kg"
LENGTH_TYPED = f"a number with one of {' '.join(LENGTH_UNITS)}, such as 2 m"
PERCENT_TYPED = "a number from 0 to 100, such as 0.5"
COUNT_TYPED = "such as 0.5 N or 0.5 mm"
_NUMBER = re.compile(r"([+-]?(?:[0-9]+[.]?[0-9]*|[.][0-9]+))\s*([A-Za-z%]*)", re.ASCII)


def text_typed(typed: Any, name: str, most: int = MOST_TYPED) -> str:
    """What stands in a field, without blanks around it, "" for nothing; raises CallFault."""
    if typed is None:
        return ""
    if not isinstance(typed, str | int | float) or isinstance(typed, bool):
        raise CallFault(name, "is no text", "type it anew")
    text = str(typed).strip()
    if len(text) > most or not text.isprintable():
        raise CallFault(
            name, "is too long, or holds a control character", f"type at most {most} characters"
        )
    return text


def number_typed(typed: Any, name: str, valid: str) -> tuple[float, str] | None:
    """A number and the word behind it; None for an empty field.  Raises CallFault.

    valid: what may be typed, for people.
    """
    text = text_typed(typed, name)
    if not text:
        return None
    match = _NUMBER.fullmatch(text)
    shown = one_line(text, SHOWN_TYPED)
    if comma_in_number(shown):
        raise CallFault(name, *asked_comma(shown))
    if match is None:
        raise CallFault(name, f'"{shown}" is no number', f"type {valid}")
    value = float(match[1])
    if not math.isfinite(value):
        raise CallFault(name, f'"{shown}" is too large', "type a smaller number")
    return value, match[2]


def quantity_typed(typed: Any, name: str, length: bool, usual: str) -> float | None:
    """A force in N, or a length in m; None for an empty field.  Raises CallFault.

    usual: the unit of a number that is typed without one.
    """
    made = sized_typed(typed, name, length, usual)
    return None if made is None else made[2]


def sized_typed(typed: Any, name: str, length: bool, usual: str) -> tuple[float, str, float] | None:
    """Number, unit and size in N or m of what is typed, as `quantity_typed`."""
    valid = LENGTH_TYPED if length else FORCE_TYPED
    read = number_typed(typed, name, valid)
    if read is None:
        return None
    value, word = read
    units = LENGTH_UNITS if length else FORCE_UNITS
    unit = unit_from_word(word) if word else usual
    if unit is None or unit not in units:
        raise CallFault(
            name, f'"{one_line(word, SHOWN_TYPED)}" is no unit of a {"length" if length else "force"}',
            f"type {valid}",
        )  # fmt: skip
    size = value * units[unit]
    if abs(size) > MOST_SIZE:
        raise CallFault(name, f"{value:g} {unit} is more than any device measures", "type it anew")
    return value, unit, size


def positive_typed(typed: Any, name: str, length: bool, usual: str) -> float | None:
    """As `quantity_typed`, of a size above 0."""
    size = quantity_typed(typed, name, length, usual)
    if size is not None and size <= 0.0:
        raise CallFault(name, "must be above 0", f"type {LENGTH_TYPED if length else FORCE_TYPED}")
    return size


def percent_typed(typed: Any, name: str) -> float | None:
    """A share in %, from 0 to 100; None for an empty field.  Raises CallFault."""
    read = number_typed(typed, name, PERCENT_TYPED)
    if read is None:
        return None
    value, word = read
    if word not in ("", "%") or not 0.0 <= value <= 100.0:
        raise CallFault(name, "is no share in percent", f"type {PERCENT_TYPED}")
    return value


def count_size_typed(typed: Any) -> tuple[float, str] | None:
    """How much one count is: in N or m, and "force" or "length"; None for an empty field."""
    read = number_typed(typed, "one count", COUNT_TYPED)
    if read is None:
        return None
    value, word = read
    unit = unit_from_word(word) if word else None
    if unit is None or unit == COUNT or value == 0.0:
        raise CallFault(
            "one count", "needs a number other than 0 with its unit", f"type {COUNT_TYPED}"
        )
    length = unit in LENGTH_UNITS
    return value * (LENGTH_UNITS if length else FORCE_UNITS)[unit], "length" if length else "force"


def rate_typed(typed: Any) -> int | None:
    """The rate of a serial line, bit/s; None for an empty field, which means to find it."""
    text = text_typed(typed, "rate")
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,8}", text) or not RATES[0] <= int(text) <= RATES[1]:
        raise CallFault("rate", "is no rate", "type 50 to 10000000 bits a second, such as 9600")
    return int(text)


def framing_typed(typed: Any) -> str | None:
    """The framing of a serial line, such as "7E1"; None for an empty field, which means to find it."""
    text = text_typed(typed, "framing", 20).upper()
    if not text:
        return None
    try:
        parse_framing(text)
    except ValueError as error:
        raise CallFault("framing", str(error), "type 8N1, 7E1 or the like") from None
    return text


def ask_typed(typed: Any) -> str | None:
    """The question to a device; None for an empty field: nothing is sent."""
    text = text_typed(typed, "question")
    if not text:
        return None
    try:
        return typed_question(text)
    except ValueError as error:
        raise CallFault("question", str(error), r"type such as READ?\r\n") from None


def address_typed(typed: Any) -> str:
    """A port that may be listened to; raises CallFault or PortFault.

    A path must lead to a terminal device: opening anything else may read or change it.
    """
    text = text_typed(typed, "address")
    if not text:
        raise CallFault("address", "is empty", "type such as socket://192.168.4.1:8080")
    if split_port(text)[0].lower() == "stdin":
        raise PortFault(text, "is what another program prints, which the desk has none of",
                        "run haul listen stdin: in a terminal")  # fmt: skip
    port = normal_port(text)
    check_port(port)
    if split_port(port)[0] == "":
        _check_terminal(port)
    return port


def _check_terminal(path: str) -> None:
    """Raise PortFault for a path that is there and is no terminal device."""
    if os.name == "nt":
        if not re.fullmatch(r"(\\\\\.\\)?COM[0-9]{1,3}", path, re.IGNORECASE):
            raise PortFault(path, "is no serial port", "type such as COM3")
        return
    try:
        real = Path(path).resolve()
        status = real.stat()
    except FileNotFoundError:
        if path.startswith("/dev/"):
            return  # a device that is not plugged in yet
        raise PortFault(path, "is not there", "type a path such as /dev/ttyUSB0") from None
    except (OSError, ValueError, RuntimeError):
        raise PortFault(without_secret(path), "cannot be looked at", "type another") from None
    number = f"{os.major(status.st_rdev)}:{os.minor(status.st_rdev)}"
    subsystem = Path(f"/sys/dev/char/{number}/subsystem")
    other = subsystem.exists() and subsystem.resolve().name != "tty"
    if not stat.S_ISCHR(status.st_mode) or not str(real).startswith("/dev/") or other:
        raise PortFault(path, "is no serial port", "type a path such as /dev/ttyUSB0")


def shown_port(port: str) -> str:
    """A port for people: one line, without a password; of a long one the end, which tells devices apart."""
    text = one_line(without_secret(port), MOST_PORT)
    return text if len(text) <= MOST_SHOWN else f"…{text[1 - MOST_SHOWN :]}"
