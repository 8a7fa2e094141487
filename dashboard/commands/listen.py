"""Listens to a device, shows what it sends, and writes the [[channel]] that reads it.

The rate and the framing of a serial line are found by trying. Nothing is sent to the device without --ask. What may
mean two things is asked on a terminal and never guessed; there you are also asked to pull once, so that the number that
moves is marked.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.text.console import add_json, positive, print_json, table
from logger.channels.asking import typed_question
from logger.channels.framing import parse_framing
from logger.errors import CallFault, one_line

if TYPE_CHECKING:
    from analysis.messages.message import Message
    from logger.listening.hearing import LineSettings
    from logger.listening.settings_search import Search, Wanted
    from logger.listening.understanding import Understanding

SHOWN_LINES = 6  # raw lines shown on a terminal; --json has more
_ENDS = {"lf": "LF", "cr": "CR", "crlf": "CR LF", "etx": "ETX", "pause": "a pause of 30 ms"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `haul listen`."""
    parser.add_argument(
        "port", metavar="PORT", help="the device: a path that `haul ports` lists, socket://HOST:PORT and so on"
    )  # fmt: skip
    parser.add_argument(
        "--baud", metavar="N", type=_rate, help="rate of a serial line; otherwise the usual ones are tried"
    )  # fmt: skip
    parser.add_argument(
        "--framing", metavar="F", type=_framing,
        help="data bits, parity and stop bits, such as 7E1; otherwise the usual ones are tried",
    )  # fmt: skip
    parser.add_argument(
        "--ask", metavar="TEXT", type=_question,
        help=r'question to send, with the escapes of a TOML string: --ask "READ?\r\n"; nothing else is ever sent',
    )  # fmt: skip
    parser.add_argument(
        "--for", dest="for_s", metavar="S", type=positive("seconds"),
        help="listen for S seconds from the start, trying rates included; otherwise until some lines are there",
    )  # fmt: skip
    add_json(parser)
    parser.add_argument(
        "--write", metavar="FILE", help="write a new sensors file with the channels that are understood"
    )  # fmt: skip
    parser.add_argument(
        "--with", dest="other", metavar="OTHER",
        help="with --write: a sensors file whose channels, of another device, stand first in the new file",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run `haul listen` and return the exit status."""
    from logger import clock
    from logger.listening.hearing import check_port
    from logger.listening.settings_search import Wanted, listen_on, search
    from logger.listening.understanding import understand

    began_s = clock.now()
    serial = check_port(args.port)
    if not serial and args.baud is not None:
        raise CallFault(
            "listen", f"--baud is for a serial line, and {args.port} is none", "leave --baud out"
        )
    if args.write is not None:
        _check_new(Path(args.write))
    other = _other(args.other, args.write)
    wanted = Wanted(
        port=args.port, serial=serial, baud=args.baud, framing=args.framing, ask=args.ask, for_s=args.for_s
    )  # fmt: skip
    terminal = _on_terminal() and not args.json
    until_s = None if args.for_s is None else began_s + args.for_s
    searched = search(wanted, until_s, _say if terminal and serial else _say_nothing)
    with searched.hearing as hearing:
        capture = listen_on(searched, wanted, until_s)
        understanding = understand(capture).beside(other[1])
        if args.json and args.write is not None:
            _joined(
                other[0], understanding, args.write
            )  # a fault is raised before anything is printed
        messages = _messages(searched, wanted, understanding, clock.now() - began_s)
        if args.json:
            print_json(_object(searched, wanted, understanding, messages))
        else:
            print("\n".join(_lines(searched, understanding, messages)))
            if terminal and args.port != "stdin:" and understanding.lines and hearing.lost is None:
                from dashboard.commands.listen_dialogue import Dialogue

                understanding = Dialogue(hearing).hold(understanding)
    understanding = understanding.beside(other[1])
    if not args.json:
        _print_channels(understanding, args.write)
    if args.write is not None and understanding.understood:
        _write(Path(args.write), _joined(other[0], understanding, args.write))
        if not args.json:
            print(_written(args.write, understanding))
    return 0 if understanding.understood else 1


# -- arguments -------------------------------------------------------------------------------------
def _rate(text: str) -> int:
    if not text.isdecimal() or not 50 <= int(text) <= 10_000_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a rate from 50 to 10000000 such as 9600")
    return int(text)


def _framing(text: str) -> str:
    try:
        parse_framing(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{error}; write 8N1, 7E1 or the like") from None
    return text


def _question(text: str) -> str:
    """The question that an argument writes with the escapes of a TOML string."""
    try:
        return typed_question(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _check_new(path: Path) -> None:
    """Raise CallFault if a file of this name is there."""
    try:
        there = path.exists() or path.is_symlink()
    except (OSError, ValueError) as error:
        raise CallFault(path, f"cannot be written ({error})", "give another --write") from None
    if there:
        raise CallFault(path, "exists, and is not overwritten", "give --write a new file")


def _other(other: str | None, write: str | None) -> tuple[str, tuple[str, ...]]:
    """Text and channel names of the sensors file of --with; raises CallFault, SensorsFault."""
    from logger.channels.sensors_file import load_sensors

    if other is None:
        return "", ()
    if write is None:
        raise CallFault(
            "listen", "--with is for --write", "give --write a new file, or leave --with out"
        )
    names = tuple(channel.name for channel in load_sensors(Path(other)).channels)
    return Path(other).read_text("utf-8"), names


def _joined(other: str, understanding: Understanding, write: str) -> str:
    """The text of the new file; raises SensorsFault where the two do not go together."""
    from logger.channels.sensors_file import parse_sensors

    if not other:
        return understanding.file_text()
    text = f"{other.rstrip()}\n\n{understanding.file_text()}"
    parse_sensors(text, write, Path(write).parent)
    return text


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CallFault(path, f"cannot be written ({reason})", "give another --write") from None


# -- what is said ----------------------------------------------------------------------------------
def _on_terminal() -> bool:
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout))


def _say(settings: LineSettings) -> None:
    print(f"trying {settings.baud} baud, {settings.framing}", flush=True)


def _say_nothing(settings: LineSettings) -> None:
    del settings


def _messages(
    searched: Search, wanted: Wanted, understanding: Understanding, took_s: float
) -> list[Message]:
    """What is worth knowing of this listening."""
    from analysis.messages.message import message
    from dashboard.text.listen_sentences import escaped, sentence, unsettled

    said: list[Message] = []
    came = searched.came or bool(searched.hearing.raw())
    if not came:
        if wanted.ask is None:
            said.append(message("listen_silent", waited_s=took_s))
        else:
            ask = escaped(wanted.ask.encode("latin-1"))
            said.append(message("listen_no_answer", ask=ask, waited_s=took_s))
        if wanted.serial:
            said += [
                message("listen_try_power"),
                message("listen_try_ask"),
                message("listen_try_framing"),
                message("listen_try_wires"),
            ]
        else:
            said += [message("listen_try_power"), message("listen_try_sender")]
    elif not searched.settled:
        said.append(unsettled(searched))
    elif not understanding.lines:
        said.append(message("listen_no_end"))
    elif not understanding.channels and not understanding.unclear and not understanding.remarks:
        said.append(message("listen_no_number"))
    if searched.hearing.lost is not None:
        said.append(message("listen_lost", why=one_line(searched.hearing.lost, 120)))
    said += [sentence(one) for one in understanding.remarks]
    if searched.settled and understanding.port.framing == "8E1" and wanted.framing is None:
        said.append(message("listen_either_parity"))
    usb, by_id = _lasting_ports(wanted.port) if wanted.serial else (None, None)
    if usb is not None:
        said.append(message("listen_usb", port=usb))
    if by_id is not None:
        said.append(message("listen_by_id", port=by_id))
    return said


def _lasting_ports(port: str) -> tuple[str | None, str | None]:
    """The usb: port and the by-id path of a device path; None for what there is not, or what it is."""
    import os

    from logger.transports.serial import list_ports

    if "://" in port or port.startswith("usb:"):
        return None, None
    for listed in list_ports():
        if os.path.realpath(listed.device) == os.path.realpath(port):
            return listed.usb, listed.by_id if listed.by_id != port else None
    return None, None


def _object(
    searched: Search, wanted: Wanted, understanding: Understanding, messages: list[Message]
) -> dict[str, Any]:
    """The object of --json, interface section 7."""
    from dashboard.text.listen_sentences import escaped, sentence

    settled = searched.settled
    settings = searched.hearing.settings
    serial = wanted.serial
    return {
        "port": wanted.port,
        "heard": searched.came or bool(searched.hearing.raw()),
        "baud": settings.baud if serial and (settled or wanted.baud) else None,
        "framing": settings.framing
        if (serial and (settled or wanted.framing)) or (settled and settings.framing != "8N1")
        else None,
        "ends": understanding.end if settled else None,
        "lines_per_s": understanding.lines_per_s if settled else None,
        "lines": [escaped(line) for line in _raw(searched, understanding)],
        "channels": [
            {
                "toml": one.toml,
                "quantity": one.channel.quantity,
                "unit": one.channel.unit,
                "values": list(one.values),
            }
            for one in understanding.channels
        ],
        "unclear": [sentence(one).text() for one in understanding.unclear],
        "messages": [one.json() for one in messages],
    }


def _raw(searched: Search, understanding: Understanding) -> list[bytes]:
    """The lines as they came, or the latest bytes where there are no lines."""
    if understanding.lines:
        return list(understanding.lines)
    latest = searched.hearing.raw()[-60:]
    return [latest] if latest else []


def _lines(searched: Search, understanding: Understanding, messages: list[Message]) -> list[str]:
    """What was heard, as lines for a terminal."""
    from dashboard.text.listen_sentences import escaped, sentence

    settings, lines = searched.hearing.settings, []
    if searched.settled:
        said = [settings.port]
        if settings.baud is not None:
            said.append(f"{settings.baud} baud, {settings.framing}")
        if understanding.end is not None:
            end = _ENDS.get(understanding.end, f'"{understanding.end}"')
            said.append(f"each line ends with {end}")
        if understanding.lines_per_s is not None:
            said.append(f"{understanding.lines_per_s:.3g} lines a second")
        lines.append(": ".join([said[0], "; ".join(said[1:])]).rstrip(": "))
    raw = _raw(searched, understanding)[-SHOWN_LINES:]
    if raw:
        lines += ["", "as sent:", *(f"  {escaped(line)[:150]}" for line in raw)]
    if understanding.channels:
        rows = [
            [one.channel.name, f"{one.values[-1]:.10g}", one.channel.unit or "unit not shown", one.channel.place]
            for one in understanding.channels
        ]  # fmt: skip
        lines += ["", "numbers:", *table([["name", "last", "unit", "where"], *rows], left=4)]
    notes = [*(f"? {sentence(one).text()}" for one in understanding.unclear)]
    notes += [("! " if one.level != "info" else "- ") + one.text() for one in messages]
    return [*lines, *([""] if notes and lines else []), *notes]


def _print_channels(understanding: Understanding, write: str | None) -> None:
    """Print the tables that read the device, unless they are written to a file."""
    shown = understanding.understood if write is not None else understanding.channels
    if not shown:
        if write is not None:
            print("nothing is written: no number with a certain unit was found")
        return
    if write is None:
        print("\nin the sensors file:\n")
        print("\n".join(one.toml for one in shown), end="")
        if understanding.understood:
            print("\n--write sensors.toml writes these channels to a file")


def _written(write: str, understanding: Understanding) -> str:
    """The line that says what was written and what to do next."""
    names = ", ".join(one.channel.name for one in understanding.understood)
    lacking = [
        one.channel.name for one in understanding.understood if "u_percent" not in one.channel.keys
    ]
    more = (
        f"; without u or u_percent in {', '.join(lacking)} the review gives no interval that rests on it"
        if lacking
        else ""
    )
    return f"written to {one_line(write)}: {names}; next: haul record RIG {one_line(write)} --out DIR{more}"
