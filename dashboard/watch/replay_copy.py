"""Plays a recorded session again: writes a copy that grows row by row, which the live page then
watches.

The original is only read.  The copy is marked REPLAY in its folder's name and its rig's title.
"""

from __future__ import annotations

import contextlib
import dataclasses
import re
import threading
import time
import tomllib
from collections.abc import Callable, Generator
from pathlib import Path

from analysis.rig_file.load import parse_rig
from analysis.rig_file.to_toml import rig_toml
from logger.channels.sensors_file import parse_sensors
from logger.clock import utc_text
from logger.errors import RigFault, SessionFault, one_line
from logger.session.descriptor import READINGS, READINGS_HEADER, csv_line
from logger.session.reader import open_session, read_all
from logger.session.records import Event, SessionInfo
from logger.session.writer import SessionWriter
from logger.toml_tables import parse_toml

TICK_S = 0.04  # between two writes
# in one tick: after a pause of the machine the copy catches up over several ticks
MOST_ROWS = 20_000
NOT_PLAYED = frozenset({"stop", "rig"})  # kinds of events that the copy does not repeat


class Replay:
    """A copy of `session` in `folder` that grows by `speed` seconds of the session a second.

    `start` plays it in a thread, `stop` ends that.  clock: monotonic time, s.  Raises UserFault
    where the session cannot be read or has no reading.
    """

    def __init__(
        self, session: Path, folder: Path, speed: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.info: SessionInfo = open_session(session)
        self.speed, self._clock = speed, clock
        block = read_all(session)
        times = [float(r.time_s[0]) for r in block.readings.values() if len(r.time_s)]
        if not times:
            raise SessionFault(
                session, "has no reading, so there is nothing to play", "give another session"
            )
        self.first_s = min(times)
        ends = [float(r.time_s[-1]) for r in block.readings.values() if len(r.time_s)]
        self.last_s = max(
            [*ends, *(row.time_s for row in block.clock), *(e.time_s for e in block.events)]
        )
        self._events = [e for e in block.events if e.kind not in NOT_PLAYED]
        self._channels = [c.name for c in self.info.sensors.channels]
        self._counts = dict.fromkeys(self._channels, 0)
        label = f"{speed:g}x"
        name = re.sub(r"[^A-Za-z0-9._-]+", "_", session.resolve().name)[:80]
        self.path = folder / f"REPLAY-{label}-{name}"
        rig = marked(self.info.rig_text, str(self.info.rig_file), f"REPLAY {label}: ")
        sensors = self._sensors(session, folder)
        self._writer = SessionWriter.create(
            self.path, rig.encode(), sensors, source="replay", started_at=self.info.started_at,
            simulation_true=self.info.simulation_true,
        )  # fmt: skip
        self._writer.event(self.first_s, "start", text=f"REPLAY at {label} of {one_line(name)}")
        self._rows = rows(session / READINGS)
        self._next: tuple[float, str, bytes] | None = next(self._rows, None)
        self._began = clock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self.finished = False

    def start(self) -> None:
        """Begin to play, in a thread of its own."""
        self._began = self._clock()
        self._thread = threading.Thread(target=self._run, name="replay", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop playing; the copy stays as it is, unsealed if it was not played to its end."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(5.0)
        with contextlib.suppress(ValueError):  # the thread may still read the rows if a write hangs
            self._rows.close()
        if not self.finished:
            self._writer.abandon()
            self.finished = True

    def tick(self) -> bool:
        """Append the rows that are due; False once all were played and the copy is sealed."""
        if self.finished:
            return False
        now_s = min(self.first_s + (self._clock() - self._began) * self.speed, self.last_s)
        due: list[bytes] = []
        last_s = now_s
        while self._next is not None and self._next[0] <= now_s:
            time_s, channel, line = self._next
            due.append(line)
            self._counts[channel] = self._counts.get(channel, 0) + 1
            self._next = next(self._rows, None)
            # too late: the time of the copy falls back to that of its rows
            if len(due) >= MOST_ROWS:
                self._began += (now_s - time_s) / self.speed
                last_s = time_s
                break
        if due:
            self._writer.readings(b"".join(due))
        while self._events and self._events[0].time_s <= last_s:
            self._play(self._events.pop(0))
        counts = [n for name in self._channels for n in (self._counts[name], 0)]
        self._writer.clock(last_s, utc_text(), counts)
        if self._next is not None or self._events or last_s < self.last_s:
            return True
        self._writer.event(last_s, "stop", text="end of the REPLAY")
        self._writer.seal()
        self.finished = True
        return False

    def _run(self) -> None:
        while not self._stop.is_set():
            with contextlib.suppress(OSError):  # a full disk ends the replay and nothing else
                if not self.tick():
                    return
            self._stop.wait(TICK_S)

    def _play(self, event: Event) -> None:
        self._writer.event(
            event.time_s, event.kind, event.channel, event.value, event.text, event.id or None
        )

    def _sensors(self, session: Path, folder: Path):  # type: ignore[no-untyped-def]
        """The session's sensors, with the calibration files copied and named as the copy refers to
        them."""
        from logger.channels.sensors_file import calibration_copy_name
        from logger.session.descriptor import CALIBRATION

        text = self.info.sensors.text
        work = folder / "sensors"
        work.mkdir()
        for channel in self.info.sensors.channels:
            reference = channel.calibration_file
            if reference is None:
                continue
            name = calibration_copy_name(reference)
            (work / name).write_bytes((session / CALIBRATION / name).read_bytes())
            text = text.replace(f'"{reference}"', f'"{name}"').replace(
                f"'{reference}'", f'"{name}"'
            )
        return parse_sensors(text, str(work / "sensors.toml"), work, recorded=True)


def rows(path: Path) -> Generator[tuple[float, str, bytes], None, None]:
    """(time_s, channel, line) of each complete row of a readings.csv, in file order.

    A time that goes back is replaced by the latest one, so that the rows after it are still played
    in time.
    """
    import csv

    latest = float("-inf")
    head = csv_line(READINGS_HEADER)
    with path.open("rb") as file:
        for line in file:
            if line == head or not line.endswith(b"\n"):
                continue
            first, _, rest = line.partition(b",")
            try:
                time_s = float(first)
            except ValueError:
                continue
            if not abs(time_s) < 1e15:
                continue
            latest = max(latest, time_s)
            channel = rest.rpartition(b",")[0].decode("utf-8", "replace")
            if channel.startswith('"'):
                channel = next(csv.reader([channel]), [""])[0]
            yield latest, channel, line


def marked(text: str, file: str, mark: str) -> str:
    """The text of a rig file with `mark` before the title and everything else unchanged.

    file: its name, for faults.  Where the title cannot be replaced in the text, the whole text is
    generated from the rig that it describes.
    """
    data = parse_toml(text, file, RigFault)
    title = one_line(mark + str(data.get("title", "")), 200)
    escaped = title.replace("\\", "\\\\").replace('"', '\\"')
    line = f'title = "{escaped}"'
    changed = (
        re.sub(r"(?m)^title[ \t]*=.*$", lambda _: line, text, count=1)
        if "title" in data
        else f"{line}\n{text}"
    )
    try:
        if tomllib.loads(changed) == {**data, "title": title}:
            return changed
    except tomllib.TOMLDecodeError:
        pass
    return rig_toml(dataclasses.replace(parse_rig(text, file), title=title))
