"""Reads a session folder: opens it, follows it while it grows, or reads it at once.

It changes nothing.  Whatever a torn or hostile file holds, it raises nothing but SessionFault.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from logger.channels.channel import Sensors
from logger.channels.sensors_file import parse_sensors
from logger.errors import SensorsFault, SessionFault, UserFault
from logger.filesystem import open_plain
from logger.session import descriptor as package
from logger.session import lock, seal
from logger.session.descriptor import csv_line
from logger.session.parser import ReadingsParser, parse_clock, parse_events
from logger.session.records import Block, ChannelReadings, ClockRow, Event, SessionInfo
from logger.session.rest import file_stamps, judged_at_rest
from logger.toml_tables import read_text

__all__ = [
    "Block",
    "ChannelReadings",
    "ClockRow",
    "Event",
    "Follower",
    "SessionInfo",
    "joined",
    "open_session",
    "open_unproved",
    "read_all",
    "session_state",
]

_PIECE = 16 << 20  # bytes read at once; memory only
_states: dict[tuple[object, ...], str] = {}  # state by folder, depth of check, sizes and times


def session_state(path: str | os.PathLike[str], quick: bool = False) -> str:
    """The state of a session: "growing", "cut short", "sealed" or "changed", as `verify` judges.

    quick: compare names and sizes only, for long lists.  The result is cached as long as no file's
    size or time changes.  Raises SessionFault if the folder cannot be read.
    """
    folder = Path(path)
    if lock.is_held(folder):
        return "growing"
    try:
        if (folder / package.SUMS).exists():
            open_plain(folder / package.SUMS).close()  # raises for what never ends, as a pipe
        elif not seal.own_hashes(folder).sealed:
            return "cut short"
        state = judged_at_rest(folder, lambda: _state_at_rest(folder, quick))
        return state or "growing"
    except OSError as error:
        raise SessionFault(
            error.filename or folder, f"cannot be read ({error.strerror})",
            "put the file back that the recorder wrote, and make it readable",
        ) from None  # fmt: skip


def _state_at_rest(folder: Path, quick: bool) -> str:
    """The state of a session that no process writes; raises OSError."""
    key = (str(folder.resolve()), quick, *file_stamps(folder))
    if key not in _states:
        if len(_states) > 1000:
            _states.clear()
        state = seal.quick_state(folder) if quick else seal.inspect(folder).state
        _states[key] = "sealed" if state == "complete" else state
    return _states[key]


def open_session(path: str | os.PathLike[str]) -> SessionInfo:
    """Read what a session folder says about its session, and its state; raises SessionFault."""
    return replace(open_unproved(path), state=session_state(path))


def open_unproved(path: str | os.PathLike[str]) -> SessionInfo:
    """As `open_session`, but with state "": hashing every file takes long, and the caller may do it
    in another thread (`session_state`)."""
    folder = Path(path)
    descriptor = package.read_descriptor(folder)
    sensors = _sensors(folder)
    rig_text = read_text(folder / package.RIG, SessionFault, plain=True)
    started_at = descriptor.get("started_at")
    if not isinstance(started_at, str):
        raise SessionFault(
            folder / package.DESCRIPTOR,
            "started_at is missing",
            "use a complete copy of the session",
        )
    simulation = descriptor.get("simulation")
    true = simulation.get("true") if isinstance(simulation, dict) else None
    rigs = [(0.0, folder / package.RIG)]
    tail = _Tail(folder / package.EVENTS, package.EVENTS_HEADER)
    for event in parse_events(tail.all())[0]:
        # the text of a `rig` event is the name of the session's copy; a path is ignored
        name = event.text
        if event.kind == "rig" and Path(name).name == name and (folder / name).is_file():
            rigs.append((event.time_s, folder / name))
    return SessionInfo(
        path=folder,
        descriptor=descriptor,
        state="",
        started_at=started_at,
        sensors=sensors,
        rig_text=rig_text,
        rig_file=folder / package.RIG,
        simulation_true=true if isinstance(true, dict) else None,
        rigs=tuple(rigs),
    )


def _sensors(folder: Path) -> Sensors:
    file = folder / package.SENSORS
    try:
        return parse_sensors(
            read_text(file, SensorsFault, plain=True),
            str(file),
            folder / package.CALIBRATION,
            copies=True,
        )
    except UserFault as fault:
        raise SessionFault(fault.file, fault.fault, fault.cure, fault.place) from None


class _Tail:
    """Reads the new complete lines of a growing table, each byte once."""

    def __init__(self, path: Path, header: tuple[str, ...]) -> None:
        self._path, self._header = path, csv_line(header)
        self._at = 0

    def read(self, most: int = _PIECE) -> bytes:
        """New complete lines, at most `most` bytes; b"" if there is none.

        An incomplete last line is left for a later call.  Raises SessionFault.
        """
        try:
            with open_plain(self._path) as file:
                if not self._at:
                    head = file.read(len(self._header))
                    if len(head) < len(self._header) and self._header.startswith(head):
                        return b""
                    if head != self._header:
                        raise SessionFault(
                            self._path,
                            "its first line is not the header",
                            "write " + self._header.decode().strip() + " as its first line",
                        )
                    self._at = len(head)
                size = os.fstat(file.fileno()).st_size
                if size == self._at:
                    return b""
                if size < self._at:
                    raise SessionFault(
                        self._path, "became shorter while it was read", "open the session again"
                    )
                file.seek(self._at)
                data = file.read(most)
        except FileNotFoundError:
            return b""
        except OSError as error:
            raise SessionFault(
                self._path, f"cannot be read ({error.strerror})", "make the file readable"
            ) from None
        end = data.rfind(b"\n") + 1
        if not end and len(data) >= most:
            raise SessionFault(
                self._path,
                f"has a line longer than {most} bytes",
                "use a complete copy of the session",
            )
        self._at += end
        return data[:end]

    def unread_size(self) -> int:
        """The size of the file in bytes, if `ReadingsParser.parse_file` can read it; else 0.

        It can if nothing was read yet, and the file has a header, _PIECE bytes or more, and a line
        feed at its end.
        """
        if self._at:
            return 0
        try:
            with open_plain(self._path) as file:
                size = os.fstat(file.fileno()).st_size
                if size < _PIECE or file.read(len(self._header)) != self._header:
                    return 0
                file.seek(size - 1)
                return size if file.read(1) == b"\n" else 0
        except OSError:
            return 0  # `read` raises the fault

    def skip(self, size: int) -> None:
        """Continue behind `size` bytes, which another function has read."""
        self._at = size

    def all(self) -> bytes:
        """All new complete lines."""
        pieces = []
        while piece := self.read():
            pieces.append(piece)
        return b"".join(pieces)


class Follower:
    """Reads the new rows of a session at each call, whether it grows or is finished."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        """path: the session folder; raises SessionFault if it is none."""
        self._folder = folder = Path(path)
        package.read_descriptor(folder)
        self._names = [channel.name for channel in _sensors(folder).channels]
        self._parser = ReadingsParser(self._names)
        self._readings = _Tail(folder / package.READINGS, package.READINGS_HEADER)
        self._events = _Tail(folder / package.EVENTS, package.EVENTS_HEADER)
        self._clock = _Tail(folder / package.CLOCK, package.clock_header(self._names))

    def read(self) -> Block:
        """The new complete rows of all tables as one block.  Raises SessionFault."""
        return joined(list(self.blocks()))

    def blocks(self) -> Iterator[Block]:
        """The new complete rows in blocks of some hundred thousand readings, at least one block.

        A session of any length needs little memory.  The first block has all events and clock rows.
        Raises SessionFault.
        """
        # the clock first, so that the readings that it counts are among those read below
        clock, bad_clock = parse_clock(self._clock.all(), self._names)
        events, bad_events = parse_events(self._events.all())
        before = self._parser.malformed - bad_clock - bad_events
        some = False
        for readings in self._pieces():
            some = True
            yield Block(readings, events, clock, self._parser.malformed - before)
            events, clock, before = (), (), self._parser.malformed
        if not some:
            yield Block(self._parser.parse(b""), events, clock, self._parser.malformed - before)

    def _pieces(self) -> Iterator[dict[str, ChannelReadings]]:
        size, pieces = self._readings.unread_size(), None
        if size:
            with contextlib.suppress(OSError):  # `read` raises the fault
                pieces = self._parser.parse_file(self._folder / package.READINGS, size)
        if pieces is not None:
            self._readings.skip(size)
            yield from pieces
        while piece := self._readings.read():
            yield self._parser.parse(piece)


def read_all(path: str | os.PathLike[str]) -> Block:
    """Read a session in one block, without incomplete last lines.  Raises SessionFault."""
    return Follower(path).read()


def joined(blocks: list[Block]) -> Block:
    """Join the blocks of one call of `Follower.blocks` into one."""
    import numpy as np

    if len(blocks) == 1:
        return blocks[0]
    out = {}
    for name in blocks[0].readings:
        pieces = [block.readings[name] for block in blocks]
        out[name] = ChannelReadings(
            np.concatenate([piece.time_s for piece in pieces]),
            np.concatenate([piece.reading for piece in pieces]),
        )
    first, malformed = blocks[0], sum(block.malformed for block in blocks)
    return Block(out, first.events, first.clock, malformed)
