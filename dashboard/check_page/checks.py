"""Keeps the check of one folder: its lines as they are now, what persons said to them, and the start."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from analysis.rig.rig import Rig
from analysis.signals.channel_roles import check_places
from dashboard.check_page.check_line import CheckLine, CheckState, left, said, typed_reason
from dashboard.check_page.machine_lines import disk_line, power_line, sleep_line
from dashboard.check_page.machine_now import MachineNow
from dashboard.check_page.port_listener import PortListener
from dashboard.check_page.recorder_start import RecorderStart
from dashboard.check_page.rig_lines import (
    levels_line,
    no_files_line,
    people_line,
    rig_fault_line,
    rig_lines,
)
from dashboard.check_page.sensors_lines import alive_lines, bytes_per_s, zero_lines
from dashboard.check_page.session_name import suggested_name
from dashboard.desk.chosen import NextHaul, chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import checked_name, running, within
from dashboard.desk.held_ports import give_to_recorder, given_to_recorder, holds_ports, let_go
from dashboard.desk.virtual import truth_of
from dashboard.text.alarm_levels import check_levels
from logger.channels.channel import Sensors
from logger.channels.sensors_file import for_recording
from logger.errors import CallFault, UserFault
from logger.filesystem import read_plain, write_atomic
from logger.session.descriptor import DESCRIPTOR

FILE = "check.json"  # in the desk's store
MOST = 20_000  # bytes of the file
MOST_SAID = 200  # confirmations and overrulings that are kept; memory only
TIMES_S = (1800.0, 3600.0, 7200.0, 14400.0, 28800.0)  # that a haul may take; chosen by us
USUAL_S = 7200.0  # of those, until a person chooses
QUIET_S = 6.0  # without an operator who looks, after which ports are closed; chosen by us
LOOK_S = 1.0  # between two looks whether anybody looks; speed only
MARK = frozenset("0123456789abcdef")  # letters of a line's mark


@dataclass(frozen=True)
class Said:
    """What persons said at the check; kept in a file, so that every page and phone agrees."""

    name: str = ""  # of the session; "" for the suggested one
    takes_s: float = USUAL_S  # how long the haul takes, s
    confirmed: tuple[str, ...] = ()  # marks of confirmed lines
    overruled: Mapping[str, str] = field(default_factory=dict)  # mark of a line -> reason
    started: str = ""  # the session that was started with all this; "" for none


@dataclass(frozen=True)
class CheckNow:
    """The check as it is now."""

    files: NextHaul  # rig and sensors file of the haul
    lines: tuple[CheckLine, ...]  # empty while a recording runs
    left: tuple[CheckLine, ...]  # the lines that keep Start back
    name: str  # of the session that would be made
    takes_s: float  # how long the haul takes, s
    recording: str  # the session that is being recorded; "" for none
    starting: str  # the session whose recorder is being started; "" for none
    fault: str  # why the last start failed; "" where it did not


class Checks:
    """The check of one desk.  Safe for several threads."""

    def __init__(self, desk: Desk, machine: MachineNow | None = None) -> None:
        self.desk = desk
        self.recorder = RecorderStart(desk.folder)
        self._machine = MachineNow(desk.folder) if machine is None else machine
        self._lock, self._one_start = threading.RLock(), threading.Lock()
        self._said = _read(desk)
        self._listener: PortListener | None = None
        self._began_s = self._looked_s = 0.0
        self._of_rig: tuple[Rig, Sensors, tuple[CheckLine, ...]] | None = None
        self._starting = False  # while ports are given to a recorder that is not yet a process
        self._forget = holds_ports(desk.folder, self.quiet)

    # -- what is there -------------------------------------------------------------------------
    def now(self, tended: bool = False) -> CheckNow:
        """The check as it is; tended: an operator looks, so ports are listened to."""
        files = chosen(self.desk)
        going = running(self.desk.folder)
        started = self.recorder.state()
        busy = going is not None or started.starting
        if tended and not busy:
            self._tend(files)
        plain = () if busy else self._lines(files, again=tended)
        self._forget_used()
        with self._lock:
            answers = self._said
        lines = said(plain, answers.confirmed, answers.overruled)
        return CheckNow(
            files=files,
            lines=lines,
            left=left(lines),
            name=answers.name or suggested_name(self.desk.folder, files),
            takes_s=answers.takes_s,
            recording=going or "",
            starting=started.name if started.starting else "",
            fault="" if busy else started.fault,
        )

    def _forget_used(self) -> None:
        """What was said held for one haul: forget it once that haul's session is there."""
        with self._lock:
            started = self._said.started
        if started and (self.desk.folder / started / DESCRIPTOR).exists():
            self._keep(name="", confirmed=(), overruled={}, started="")

    def _lines(self, files: NextHaul, again: bool) -> tuple[CheckLine, ...]:
        """All lines, before anybody said anything to them."""
        usable = _usable(files)
        if isinstance(usable, CheckLine):
            return (usable,)
        rig, sensors = usable
        units = self.desk.units
        with self._lock:
            listener, began_s, takes_s = self._listener, self._began_s, self._said.takes_s
        # what was heard before the ports were closed is no number of now
        same = listener is not None and listener.listening and listener.sensors == sensors
        heard = listener.heard() if same and listener is not None else {}
        machine = self._machine.state(again)
        waits = CheckState.WAITING
        own = (
            (
                disk_line(machine.free, bytes_per_s(sensors, heard), takes_s),
                power_line(machine.power),
                sleep_line(machine.sleep),
            )
            if machine.asked
            else (CheckLine("machine", "Disk, power, sleep", waits, "asking the system"),)
        )
        return (
            *alive_lines(sensors, heard, time.monotonic() - began_s, units),
            *zero_lines(sensors),
            *self._rig_lines(rig, sensors),
            *own,
            people_line(),
        )

    def _rig_lines(self, rig: Rig, sensors: Sensors) -> tuple[CheckLine, ...]:
        """The lines that the files alone give, worked out once for each pair."""
        with self._lock:
            kept = self._of_rig
        if kept is None or kept[:2] != (rig, sensors):
            units = self.desk.units
            lines = (levels_line(rig, sensors, units), *rig_lines(rig, units))
            kept = (rig, sensors, lines)
            with self._lock:
                self._of_rig = kept
        return kept[2]

    # -- listening -----------------------------------------------------------------------------
    def _tend(self, files: NextHaul) -> None:
        """An operator looks: listen to the ports of the chosen sensors file."""
        usable = _usable(files)
        with self._lock:
            self._looked_s = time.monotonic()
            if isinstance(usable, CheckLine):
                return
            listener = self._listener
            if listener is not None and listener.sensors == usable[1] and listener.listening:
                return
        let_go(self.desk.folder)  # what the other pages hold open, and our own
        with self._lock:
            if self._listener is not None and self._listener.listening:
                return
            # a look that began before the start must not take a port from the recorder
            if given_to_recorder(self.desk.folder) or running(self.desk.folder):
                return
            self._listener = PortListener(usable[1])
            self._began_s = time.monotonic()
            threading.Thread(
                target=self._close_when_quiet,
                args=(self._listener,),
                name="check-listens",
                daemon=True,
            ).start()

    def _close_when_quiet(self, listener: PortListener) -> None:
        """The thread: close the ports once no operator looks any more."""
        while listener.listening:
            time.sleep(LOOK_S)
            with self._lock:
                quiet = time.monotonic() - self._looked_s > QUIET_S
            if quiet:
                listener.close()

    def quiet(self) -> None:
        """Close the ports that the check holds open."""
        with self._lock:
            listener = self._listener
        if listener is not None:
            listener.close()

    def close(self) -> None:
        """Close the ports and forget them."""
        self.quiet()
        self._forget()

    # -- what a person says --------------------------------------------------------------------
    def confirm(self, mark: str) -> None:
        """A person confirms a line; raises CallFault where it isn't there any more."""
        self._line(mark, CheckState.CONFIRM)
        self._keep(confirmed=(*self._said.confirmed, mark)[-MOST_SAID:])

    def overrule(self, mark: str, reason: object) -> None:
        """A person goes on without what a line misses; raises CallFault without a reason or the line."""
        why = typed_reason(reason)
        if not why:
            raise CallFault("overruling", "needs a word why", "choose a reason, or write one")
        self._line(mark, CheckState.MISSING)
        kept = dict(list(self._said.overruled.items())[-MOST_SAID:])
        self._keep(overruled={**kept, mark: why})

    def take_back(self, mark: str) -> None:
        """Take a confirmation or an overruling back."""
        answers = self._said
        self._keep(
            confirmed=tuple(one for one in answers.confirmed if one != mark),
            overruled={k: v for k, v in answers.overruled.items() if k != mark},
        )

    def call_it(self, text: object) -> None:
        """Name the session; "" for the suggested name.  Raises CallFault."""
        typed = text.strip() if isinstance(text, str) else ""
        self._keep(name=checked_name(typed) if typed else "")

    def takes(self, time_s: float) -> None:
        """Say how long the haul takes; raises CallFault for another than one of TIMES_S."""
        if time_s not in TIMES_S:
            raise CallFault("time", "is none of the list", "load the page again")
        self._keep(takes_s=float(time_s))

    def _line(self, mark: str, state: CheckState) -> CheckLine:
        for line in self._lines(chosen(self.desk), again=False):
            if line.mark == mark and line.state == state:
                return line
        raise CallFault("check", "this line has changed meanwhile", "look at it again")

    def _keep(self, **changed: Any) -> None:
        with self._lock:
            self._said = replace(self._said, **changed)
            _write(self.desk, self._said)

    # -- start ---------------------------------------------------------------------------------
    def start(self) -> str:
        """Start the recorder; returns the session's name.  Raises CallFault where something is left."""
        with self._one_start:  # a second touch waits, and then sees what the first one began
            return self._start()

    def _is_starting(self) -> bool:
        """Whether a recorder is being started that has no session yet."""
        return self._starting or self.recorder.state().starting

    def _start(self) -> str:
        now = self.now(tended=True)
        for what, state in (
            (now.recording, "is being recorded"),
            (now.starting, "is being started"),
        ):
            if what:
                raise CallFault(what, f"{state} already", "look at it, or end it first")
        if now.left:
            raise CallFault(
                "start", "not yet: " + ", ".join(line.title for line in now.left), "see to the list"
            )
        assert now.files.rig is not None and now.files.sensors is not None
        sensors = now.files.sensors.sensors
        assert sensors is not None
        path = within(self.desk.folder, now.name)
        if path.exists():
            raise CallFault(now.name, "is there already", "give the session another name")
        self._starting = True
        try:
            give_to_recorder(self.desk.folder, self._is_starting)
            self.recorder.start(
                now.files.rig.path,
                now.files.sensors.path,
                path.name,
                [line.event for line in now.lines if line.state == CheckState.OVERRULED],
                self.desk.units.name,
                truth_of(self.desk.folder, sensors),
            )
        finally:
            self._starting = False
        self._keep(started=path.name)
        return path.name


def _usable(files: NextHaul) -> tuple[Rig, Sensors] | CheckLine:
    """Rig and sensors that a recording can begin with, or the line that says why not."""
    if files.rig is None or files.sensors is None:
        return no_files_line("rig" if files.rig is None else "sensors file")
    rig, sensors = files.rig.rig, files.sensors.sensors
    if rig is None:
        return rig_fault_line(f"{files.rig.name}: {files.rig.fault}")
    if sensors is None:
        return rig_fault_line(f"{files.sensors.name}: {files.sensors.fault}")
    try:
        for_recording(sensors)
        check_levels(sensors)
        check_places(rig, sensors)
    except UserFault as fault:
        return rig_fault_line(f"{fault.place}: {fault.fault}; {fault.cure}".removeprefix(": "))
    return rig, sensors


def _read(desk: Desk) -> Said:
    """What was said, from the file; nothing where it is missing or is not ours."""
    try:
        kept = json.loads(read_plain(desk.store / FILE, MOST))
    except (OSError, ValueError, RecursionError):
        return Said()
    if not isinstance(kept, dict):
        return Said()
    takes_s, confirmed, overruled = (kept.get(key) for key in ("takes_s", "confirmed", "overruled"))
    return Said(
        name=_name(kept.get("name")),
        started=_name(kept.get("started")),
        takes_s=takes_s if takes_s in TIMES_S else USUAL_S,
        confirmed=tuple(one for one in confirmed if is_mark(one)) if isinstance(confirmed, list) else (),
        overruled={
            mark: typed_reason(why)
            for mark, why in (overruled.items() if isinstance(overruled, dict) else ())
            if is_mark(mark) and typed_reason(why)
        },
    )  # fmt: skip


def _name(kept: object) -> str:
    """A session's name from the file; "" where it is none."""
    try:
        return checked_name(kept) if isinstance(kept, str) and kept else ""
    except CallFault:
        return ""


def _write(desk: Desk, answers: Said) -> None:
    kept = {
        "started": answers.started,
        "name": answers.name,
        "takes_s": answers.takes_s,
        "confirmed": list(answers.confirmed),
        "overruled": dict(answers.overruled),
    }
    try:
        desk.store.mkdir(exist_ok=True)
        write_atomic(desk.store / FILE, json.dumps(kept).encode())
    except OSError as error:
        raise CallFault(
            desk.store, f"cannot be written ({error.strerror or error})", "make the folder writable"
        ) from None


def is_mark(one: object) -> bool:
    """Whether it may be the mark of a line."""
    return isinstance(one, str) and len(one) == 16 and set(one) <= MARK
