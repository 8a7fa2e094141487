"""The recorder's one writer thread: rows, clock, inbox, alarms, and the seal at the end."""

from __future__ import annotations

import math
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from logger import clock
from logger.channels.channel import Channel, Sensors
from logger.errors import UserFault, one_line
from logger.formats.columns import COMMA
from logger.recorder.alarms import AlarmRow, AlarmState, judge
from logger.recorder.bounded_queue import Ring
from logger.recorder.request_handler import Answer, RequestDesk
from logger.session.descriptor import csv_line
from logger.session.fsync_thread import Syncer
from logger.session.writer import SessionWriter
from logger.transports.reader_thread import Arrival, PortEvent, PortReader

TAKE_S, INBOX_S, CLOCK_S, SYNC_S, RETRY_S = 0.02, 0.04, 0.25, 0.8, 0.25
SPREAD_S = 0.001  # a chunk that took less has one time for all its lines
SEAL_S = 1.4  # how long sealing is tried on a disk that refuses
SLEEP_S = 0.5
NO_ANSWER_S, NO_SYNC_S = 0.9, 3.0  # a slow disk's write, its fsync take less
MOST_PENDING_EVENTS = 1000
DURABLE = ("mark", "gap", "stop", "start", "undo", "zero", "ack", "rig", "end")


@dataclass(frozen=True)
class Told:
    """An `alarm` or `ack` row, for the terminal; text, value as in events.csv."""

    time_s: float
    kind: str
    channel: str
    value: float | None
    text: str


class WriterThread(threading.Thread):
    """Writes what the readers deliver.  counts: readings taken over into the file, by channel;
    disk_fault: "" or why nothing can be written; others: by port, that it brings lines, but none
    for its channels; digest: the seal's, once there is one; ended_s: when the recording stopped;
    own_fault: an error of ours that this thread outlived; told: alarms and what became of them, for
    the terminal, taken out by the main thread; notices: lines for the terminal, taken out likewise."""

    def __init__(
        self,
        writer: SessionWriter,
        sensors: Sensors,
        ring: Ring,
        readers: Sequence[PortReader],
        zero_moment: float,
        alarms: Sequence[AlarmRow],
        check_rig: Callable[[str, str], object] | None,
        done: threading.Event,
        reasons: list[str],
    ) -> None:
        super().__init__(name="writer", daemon=True)
        names = [channel.name for channel in sensors.channels]
        self.counts = dict.fromkeys(names, 0)
        self.disk_fault = ""
        self.told: deque[Told] = deque(maxlen=MOST_PENDING_EVENTS)
        self.notices: deque[str] = deque()  # one a port at most
        self._asked: deque[tuple[str, float | None, str]] = deque()
        self._turned = clock.awake()
        self.others: dict[str, str] = {}
        self.own_fault: Exception | None = None
        self.digest: str | None = None
        self.ended_s = 0.0
        self._writer, self._ring, self._readers = writer, ring, readers
        self._channels = {channel.name: channel for channel in sensors.channels}
        self._zero_moment = zero_moment
        self._labels = {n: csv_line([n])[:-1] for n in names}
        self._port_channel = {
            url: channels[0].name if len(channels) == 1 else ""
            for url, channels in sensors.ports().items()
        }
        self._alarms = [(row, AlarmState()) for row in alarms]
        self._desk = RequestDesk(writer, sensors, check_rig)
        self._done, self._reasons = done, reasons
        self._finish = threading.Event()
        self._last = dict.fromkeys(names, 0.0)
        self._lost_before = dict.fromkeys(names, 0)
        self._disk_since: float | None = None
        self._held: deque[tuple[object, ...]] = deque()
        self._not_held = 0
        self._lost_untold: Counter[str] = Counter()
        self._strangers = dict.fromkeys((reader.url for reader in readers), 0)
        self._unclear_told: set[str] = set()
        self._unmarked_told = False
        self._slept = clock.slept()
        self._syncer = Syncer(writer.sync_written)
        self._next = {"inbox": 0.0, "clock": 0.0, "sync": SYNC_S, "retry": 0.0}

    # -- asked by the main thread ---------------------------------------------------------------
    def time_s(self) -> float:
        """Seconds since the recording started."""
        return clock.now() - self._zero_moment

    def drops(self) -> dict[str, int]:
        """Losses so far by channel: dropped lines, and readings that could not be kept."""
        found = dict(self._lost_before)
        for reader in self._readers:
            for name, count in reader.decoder.drops.items():
                found[name] += count
        return found

    def tell(self, kind: str, value: float | None, text: str) -> None:
        """Let a row of events.csv say something of the machine."""
        self._asked.append((kind, value, text))

    def finish(self) -> None:
        """The readers have stopped: write what is left, seal, end."""
        self._finish.set()

    # -- the thread -----------------------------------------------------------------------------
    def run(self) -> None:
        self._syncer.start()
        self._try(self._writer.event, 0.0, "start")
        while not self._finish.is_set():
            try:
                self._turn()
            except Exception as error:  # our own fault must not end the recording
                if self.own_fault is None:
                    self.own_fault = error
                time.sleep(TAKE_S)
        self._syncer.stop()
        try:
            self._seal()
        except Exception as error:
            self.own_fault = self.own_fault or error
            self._writer.abandon()

    def no_answer(self) -> str:
        """That the disk has not answered for a while, or ""."""
        silent, unsynced = clock.awake() - self._turned, self._syncer.busy_s()
        if not self.is_alive() or (silent <= NO_ANSWER_S and unsynced <= NO_SYNC_S):
            return ""
        return f"no answer for {max(silent, unsynced):.0f} s"

    def _turn(self) -> None:
        self._turned = clock.awake()
        if self._disk_since is None:
            self._write(self._ring.take(TAKE_S))
        else:
            time.sleep(TAKE_S)
        now = self.time_s()
        if self._disk_since is not None and self._due("retry", now, RETRY_S):
            self._retry(now)
        if self._due("inbox", now, INBOX_S):
            self._answer(now)
        if self._due("clock", now, CLOCK_S):
            self._look_round(now)
        if self._due("sync", now, SYNC_S):
            self._syncer.ask()
        if (fault := self._syncer.fault()) is not None:
            if not isinstance(fault, OSError):
                raise fault
            self._refused(fault)

    def _due(self, what: str, now: float, period: float) -> bool:
        if now < self._next[what]:
            return False
        self._next[what] = max(self._next[what] + period, now)
        return True

    def _try(self, action: Callable[..., object], *args: object, **keys: object) -> bool:
        """Do it; on a disk that refuses, remember since when.  Nothing is lost: the files keep
        what they could not write and go on at the very byte."""
        try:
            action(*args, **keys)
        except OSError as error:
            self._refused(error)
            return False
        return True

    def _refused(self, error: OSError) -> None:
        self.disk_fault = one_line(error.strerror or str(error), 100)
        if self._disk_since is None:
            self._disk_since = self.time_s()

    def _retry(self, now: float) -> None:
        try:
            self._writer.put_back()
            self._writer.look()
            self._writer.mend()
        except OSError as error:
            self.disk_fault = one_line(error.strerror or str(error), 100)
            return
        since, self._disk_since = self._disk_since or now, None
        text = f"nothing could be written for {now - since:.1f} s: {self.disk_fault}"
        self.disk_fault = ""
        self._try(self._writer.event, now, "disk", value=round(now - since, 3), text=text)
        while self._held and self._disk_since is None:
            args = self._held.popleft()
            self._event(*args)  # type: ignore[arg-type]
        if self._not_held and self._disk_since is None:
            count, self._not_held = self._not_held, 0
            self._event(now, "disk", value=float(count),
                        text=f"{count} further events could not be kept meanwhile")

    def _event(
        self, time_s: float, kind: str, channel: str = "", value: float | None = None,
        text: str = "", request: str | None = None,
    ) -> None:
        if kind in ("alarm", "ack"):
            self.told.append(Told(time_s, kind, channel, value, text))
        if self._disk_since is not None:
            # in order behind the `disk` row, and bounded however long the disk refuses
            if len(self._held) < MOST_PENDING_EVENTS:
                self._held.append((time_s, kind, channel, value, text, request))
            else:
                self._not_held += 1
            return
        self._try(self._writer.event, time_s, kind, channel, value, text, request)
        if kind in DURABLE:
            self._syncer.ask()

    # -- readings -------------------------------------------------------------------------------
    def _write(self, items: Sequence[Arrival | PortEvent]) -> None:
        rows: list[bytes] = []
        for item in items:
            if isinstance(item, PortEvent):
                text = f"{item.port}: {item.text}" if item.text else item.port
                self._event(item.time_s - self._zero_moment, item.kind,
                            self._port_channel[item.port], text=text)
                continue
            from_s, to_s = item.from_s - self._zero_moment, item.to_s - self._zero_moment
            for name, texts in item.decoded.readings.items():
                self._rows(rows, name, texts, from_s, to_s)
            for cause, line in item.decoded.samples:
                self._try(self._writer.reject, to_s, item.port, cause, line)
        if rows:
            self._try(self._writer.readings, b"".join(rows))

    def _rows(
        self, rows: list[bytes], name: str, texts: list[bytes], from_s: float, to_s: float
    ) -> None:
        """Rows of one channel's chunk.  Its lines are spread over the time the chunk took: a
        burst every 20 ms would else have 20 lines at one moment."""
        label, n = self._labels[name], len(texts)
        from_s = max(from_s, self._last[name])
        if n == 1 or to_s - from_s < SPREAD_S:
            head = b"%.4f,%s," % (from_s, label)
            rows.append(head + (b"\n" + head).join(texts) + b"\n")
            step = 0.0
        else:
            step = (to_s - from_s) / n
            rows.append(b"".join([
                b"%.4f,%s,%s\n" % (from_s + i * step, label, text) for i, text in enumerate(texts)
            ]))
        silent = from_s - self._last[name]
        if silent > self._channels[name].stale_after_s:
            self._gap(from_s, name, silent)
        self._last[name] = from_s + (n - 1) * step
        self.counts[name] += n
        self._desk.remember(name, from_s, step, texts)
        if self._alarms:
            self._judge(name, texts, from_s, step)

    def _gap(self, now: float, name: str, silent: float) -> None:
        self._event(now, "gap", name, round(silent, 3), f"no reading for {silent:.1f} s")

    def _judge(self, name: str, texts: list[bytes], from_s: float, step: float) -> None:
        channel, zero = self._channels[name], self._desk.zeros[name]
        values: list[float] | None = None
        for place, (row, state) in enumerate(self._alarms):
            if row.channel != name:
                continue
            if values is None:
                values = [_si(channel, float(text), zero) for text in texts]
            for i, value in enumerate(values):
                state, told = judge(row, state, from_s + i * step, value)
                if told is not None:
                    word = ("clear", "caution", "stop")[state.level]
                    shown = round(told, 3) if math.isfinite(told) else None
                    self._event(from_s + i * step, "alarm", name, shown,
                                f"{word}: {row.label}")
                    self._desk.alarmed(name, row.label, state.level)
            self._alarms[place] = (row, state)

    def _new_table(self, now: float, table: Sequence[AlarmRow]) -> None:
        """Another rig, another table: rows that stay keep their state, those that go are cleared."""
        states = dict(self._alarms)
        for row, state in self._alarms:
            if state.level and row not in table:
                self._event(now, "alarm", row.channel, None, f"clear: {row.label}")
                self._desk.alarmed(row.channel, row.label, 0)
        self._alarms = [(row, states.get(row, AlarmState())) for row in table]

    # -- every quarter of a second --------------------------------------------------------------
    def _look_round(self, now: float) -> None:
        while self._asked:
            kind, value, text = self._asked.popleft()
            self._event(now, kind, value=value, text=text)
        slept = clock.slept()
        if slept - self._slept > SLEEP_S:
            away = slept - self._slept
            self._event(now, "sleep", value=round(away, 3), text=f"the machine slept {away:.1f} s")
        self._slept = slept
        for name, count in self._ring.lost().items():
            self._lost_before[name] += count
            self._lost_untold[name] += count
        if self._disk_since is None:  # told once, when the disk is back
            for name, count in self._lost_untold.items():
                self._event(now, "gap", name, float(count),
                            f"{count} readings could not be kept: the queue was full")
            self._lost_untold.clear()
        for reader in self._readers:
            self._strange(reader, now)
            self._unclear(reader, now)
        if self._disk_since is None:
            self._try(self._writer.look)
        if self._writer.unmarked and not self._unmarked_told:
            self._unmarked_told = True
            self._event(now, "disk", text=f"what is written is not marked any more: {self._writer.unmarked}; "
                        "after a power cut the last rows would be judged by their shape alone")
        if self._disk_since is None:
            self._clock_row(now)

    def _strange(self, reader: PortReader, now: float) -> None:
        """Tell of a port that brings lines, but none for its channels: another device stands under
        its name, or two are swapped.  Once a silence."""
        channels = [self._channels[name] for name in reader.decoder.names]
        seen, self._strangers[reader.url] = self._strangers[reader.url], reader.decoder.others
        silent = now - max(self._last[channel.name] for channel in channels)
        if silent <= min(channel.stale_after_s for channel in channels):
            self.others.pop(reader.url, None)
        elif reader.opened and reader.decoder.others > seen and reader.url not in self.others:
            line = reader.decoder.other_line.decode("latin-1")
            self.others[reader.url] = what = one_line(
                f'brings lines, but none for {" or ".join(reader.decoder.names)}, such as "{line}": '
                "another device, or two swapped?", 300)
            self._event(now, "gap", channels[0].name, round(silent, 3), f"{reader.url}: {what}")

    def _unclear(self, reader: PortReader, now: float) -> None:
        """Tell once, with what to write, of lines that the sensors file leaves two ways to read."""
        line = reader.decoder.unclear_line.decode("latin-1")
        if not line or reader.url in self._unclear_told:
            return
        self._unclear_told.add(reader.url)
        names = reader.decoder.names
        text = one_line(
            f'{one_line(reader.url, 60)}: lines such as "{one_line(line, 40)}" are dropped for '
            f"{one_line(' and '.join(names), 60)} ({COMMA}); write in each channel of this port "
            'decimal = "," if it stands before decimals, separator = "," if it stands between numbers; '
            "if it groups thousands, set the device to leave it out"
        )
        self._event(now, "gap", names[0], text=text)
        self.notices.append(text)

    def _clock_row(self, now: float) -> None:
        drops = self.drops()
        counts = [n for name in self.counts for n in (self.counts[name], drops[name])]
        self._try(self._writer.clock, now, clock.utc_text(), counts)

    def _answer(self, now: float) -> None:
        if len(self._held) >= MOST_PENDING_EVENTS:
            return
        for answer in self._desk.answers(now):
            self._tell(now, answer)
            if self._desk.table is not None:
                self._new_table(now, self._desk.table)
                self._desk.table = None
            if answer.kind == "end":
                self._reasons.append("end")
                self._done.set()

    def _tell(self, now: float, answer: Answer) -> None:
        self._event(now, answer.kind, answer.channel, answer.value, answer.text, answer.request)

    # -- the end --------------------------------------------------------------------------------
    def _seal(self) -> None:
        until = time.monotonic() + SEAL_S
        written = False
        while True:
            now = self.time_s()
            if self._disk_since is not None:
                self._retry(now)
            if self._disk_since is None and not written:
                written = True
                self._write(self._ring.take(0.0))
                self._answer(self.time_s())
                self.ended_s = now = self.time_s()
                for name, last in self._last.items():
                    if now - last > self._channels[name].stale_after_s:
                        self._gap(now, name, now - last)
                self._look_round(now)
                why = self._reasons[0] if self._reasons else "time"
                self._event(now, "stop", text=why)
            if written and self._disk_since is None and not self._held:
                try:
                    self.digest = self._writer.seal()
                    return
                except (OSError, UserFault) as error:
                    self.disk_fault = one_line(str(getattr(error, "strerror", None) or error), 100)
            if time.monotonic() > until:
                self.ended_s = self.ended_s or now
                self._count_unwritten()
                self._writer.abandon()
                return
            time.sleep(0.05)

    def _count_unwritten(self) -> None:
        """What the disk refused to the end is lost, and counted as such."""
        for item in self._ring.take(0.0):
            if isinstance(item, Arrival):
                for name, texts in item.decoded.readings.items():
                    self._lost_before[name] += len(texts)
        for name, count in self._writer.unwritten(self._channels).items():
            self.counts[name] -= count
            self._lost_before[name] += count


def _si(channel: Channel, reading: float, zero: float) -> float:
    """The SI value; without limit where it is too large to be told, which no alarm may miss."""
    try:
        return channel.si(reading, zero)
    except (ArithmeticError, ValueError):
        return math.inf
