"""Listens to one port in a thread of its own: finds its settings, keeps the last lines, says what is wrong.

Nothing is sent but a question that the operator typed.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace

from logger import clock
from logger.channels.port_schemes import scheme_of
from logger.errors import PortFault, one_line
from logger.listening.capture import Answers, Capture
from logger.listening.hearing import Hearing, LineSettings
from logger.listening.line_splitting import since as lines_since
from logger.listening.movement import REST_S, PullWatch
from logger.listening.settings_search import SLOW_S, Search, Wanted, search
from logger.listening.understanding import Understanding, heard_numbers, understand

TURN_S = 0.2  # from one look at what came to the next; chosen by us: a moving number looks alive
UNDERSTOOD_S = 1.0  # from one understanding of the lines to the next; speed only
LATEST_BYTES = 6_000  # of what came that are understood; speed only
RETRY_S = 0.7  # before a port that could not be opened is tried again; chosen by us
RECENT_S = (
    1.5  # before the last turn from which a pull is looked at again; chosen by us: one slow line
)
RATE_S = 5.0  # over which lines a second are counted
SILENT_S = 3.0  # without a byte after which a device counts as silent
SILENT_LINES = 3.0  # the same, in times from line to line, of a slower device; chosen by us


@dataclass(frozen=True)
class PortNews:
    """What a port brought so far, as a page shows it."""

    # "trying", "heard", "silent", "few", "no text", "gone", "closed", "held" or "stopped"
    phase: str  # what it does now
    said: str = ""  # why it is gone, closed, held or stopped; the settings that are tried
    baud: int | None = None  # rate that was found, bit/s; None: not found, or the port has none
    framing: str | None = None  # framing that was found; None: not found, or the port has none
    ask: str | None = None  # question that is asked; None: nothing is sent
    tried: int = 0  # settings that were tried
    since_s: float = 0.0  # how long it is in this phase, s
    lines_per_s: float | None = None  # over the last RATE_S; None: too few lines
    lines: tuple[bytes, ...] = ()  # the last lines as they came
    latest: bytes = b""  # the last bytes, where there are no lines
    understood: Understanding | None = None  # of the last lines; None before the first
    comma: str | None = None  # what a person said that a comma means


class HeardPort:
    """One port that is listened to.  Safe for several threads.

    blocked: asked now and then; a text says why the port must not be open, "" that it may.
    """

    def __init__(
        self,
        port: str,
        blocked: Callable[[], str],
        baud: int | None = None,
        framing: str | None = None,
        ask: str | None = None,
    ) -> None:
        self.port = port
        scheme = scheme_of(port)
        self._serial = scheme is not None and scheme.needs_baud
        self._stated = (baud if self._serial else None, framing)
        self._ask, self._blocked = ask, blocked
        self._lock = threading.Lock()
        self._halt = threading.Event()
        self._hearing: Hearing | None = None
        self._answers = Answers()
        self._pull: PullWatch | None = None
        self._pulled_s = 0.0  # from when on the lines were not yet shown to the pull
        self._found: tuple[int | None, str | None] = (None, None)
        self._phase, self._said, self._since_s, self._tried = "trying", "", clock.now(), 0
        self._understood: Understanding | None = None
        self._understood_s = self._byte_s = 0.0
        self._capture: Capture | None = None
        self._was_heard = False
        self._thread = threading.Thread(target=self._run, daemon=True, name=f"listen {port[:40]}")
        self._thread.start()

    # -- for the page ------------------------------------------------------------------------------
    @property
    def running(self) -> bool:
        """Whether it goes on."""
        return self._thread.is_alive() and not self._halt.is_set()

    def news(self) -> PortNews:
        """What came so far."""
        with self._lock:
            capture, understood = self._capture, self._understood
            lines = () if understood is None else understood.lines
            return PortNews(
                phase=self._phase,
                said=self._said,
                baud=self._found[0],
                framing=self._found[1],
                ask=self._ask,
                tried=self._tried,
                since_s=clock.now() - self._since_s,
                lines_per_s=None if understood is None else understood.lines_per_s,
                lines=lines,
                latest=b"" if capture is None or lines else capture.stream[-60:],
                understood=understood,
                comma=self._answers.comma,
            )

    def understanding(self, units: dict[str, str] | None = None) -> Understanding | None:
        """The lines understood anew with what a person said; None before the first lines.

        units: unit by place of the number.
        """
        with self._lock:
            capture, answers = self._capture, self._answers
        if capture is None:
            return None
        return understand(capture.latest(LATEST_BYTES), replace(answers, units=units or {}))

    def say_comma(self, meaning: str) -> None:
        """What a comma means in the lines: "decimal", "separator" or "thousands"."""
        with self._lock:
            self._answers = replace(self._answers, comma=meaning)
            self._understood_s = 0.0

    def since(self, for_s: float) -> Capture | None:
        """What came in the last seconds, for_s; None before the first bytes."""
        with self._lock:
            capture = self._capture
        if capture is None:
            return None
        return lines_since(capture, clock.now() - for_s)

    def begin_pull(self, place: str = "") -> None:
        """Watch all numbers from now on; those of the last REST_S are at rest.

        place: the number that is pulled; "": not known.
        """
        pull = PullWatch(place, clock.now())
        capture = self.since(REST_S)
        with self._lock:
            self._pull, self._pulled_s = pull, pull.asked_s
        if capture is not None:
            pull.settle(heard_numbers(capture, self._answers), pull.asked_s)

    def pull(self) -> PullWatch | None:
        """The pull that is watched; None without one."""
        with self._lock:
            return self._pull

    def end_pull(self) -> None:
        """Watch no longer."""
        with self._lock:
            self._pull = None

    def stop(self, why: str = "", wait: bool = True) -> None:
        """Close the port; why: for people.  wait: until it is closed."""
        self._halt.set()
        self._enter("stopped", why)
        if wait and threading.current_thread() is not self._thread:
            self._thread.join(5.0)

    # -- the thread --------------------------------------------------------------------------------
    def _run(self) -> None:
        while not self._halt.is_set():
            why = self._blocked()
            if why:
                self._enter("held", why)
                self._halt.wait(RETRY_S)
                continue
            try:
                sought = search(self._wanted(), None, self._trying, self._halt)
            except PortFault as fault:
                why = f"{fault.fault}; {fault.cure}" if fault.cure else fault.fault
                self._enter("gone" if self._was_heard else "closed", why)
                self._halt.wait(RETRY_S)
                continue
            with sought.hearing as hearing:
                self._hear(sought, hearing)
            if not self._halt.is_set():
                self._halt.wait(RETRY_S)

    def _wanted(self) -> Wanted:
        """The settings to begin with: those that are stated, or that were right before."""
        baud = self._stated[0] or self._found[0]
        framing = self._stated[1] or self._found[1]
        return Wanted(
            port=self.port, serial=self._serial, baud=baud, framing=framing, ask=self._ask
        )

    def _trying(self, settings: LineSettings) -> None:
        with self._lock:
            self._tried += 1
        said = "" if settings.baud is None else f"{settings.baud} baud, {settings.framing}"
        if self._phase not in ("gone", "silent", "few", "no text"):
            self._enter("trying", said)

    def _hear(self, sought: Search, hearing: Hearing) -> None:
        """Collect until the device is gone, or until its settings must be sought anew."""
        if sought.settled:
            with self._lock:
                self._found = (hearing.settings.baud, hearing.settings.framing)
        else:
            with self._lock:
                self._found = (None, None)
            unread = "no text" if sought.few is None else "few"
            self._enter(unread if sought.came else "silent")
        size = len(hearing.raw())
        self._byte_s = clock.now()
        while not self._halt.is_set() and hearing.lost is None:
            capture = hearing.listen(TURN_S)
            now_size = len(hearing.raw())
            came = now_size != size or _last_s(capture) != _last_s(self._capture)
            size = now_size
            if came:
                self._byte_s = clock.now()
            with self._lock:
                self._capture = capture
            if self._blocked():
                return
            if not sought.settled:
                if self._serial and came:
                    return  # it speaks now: its settings are sought
                if came:
                    self._enter(unread)
                elif clock.now() - self._byte_s > (SILENT_S if sought.few is None else SLOW_S):
                    self._enter("silent")
                continue
            self._was_heard = True
            quiet = clock.now() - self._byte_s > self._silent_s()
            self._enter("silent" if quiet else "heard")
            self._look(capture, came)
        if hearing.lost is not None and not self._halt.is_set():
            self._enter("gone", one_line(hearing.lost, 120))

    def _silent_s(self) -> float:
        """Time without a byte after which the device counts as silent, s."""
        rate = None if self._understood is None else self._understood.lines_per_s
        return SILENT_S if not rate else max(SILENT_S, SILENT_LINES / rate)

    def _look(self, capture: Capture, came: bool) -> None:
        """Understand what came, and show it to a pull that is watched."""
        now_s = clock.now()
        if came:
            self._show_pull(capture, now_s)
        if not came and self._understood is not None and self._understood_s:
            return
        if now_s - self._understood_s < UNDERSTOOD_S and self._understood is not None:
            fresh = heard_lines(capture)
            with self._lock:
                if fresh and self._understood is not None:
                    self._understood = replace(self._understood, lines=fresh)
            return
        understood = understand(capture.latest(LATEST_BYTES), self._answers)
        with self._lock:
            self._understood, self._understood_s = understood, now_s

    def _show_pull(self, capture: Capture, now_s: float) -> None:
        """Show what came to a pull that is watched: as its rest, and after that as the pull."""
        with self._lock:
            pull, from_s = self._pull, self._pulled_s
        if pull is None:
            return
        if pull.ready:
            pull.feed(heard_numbers(lines_since(capture, from_s), self._answers))
            from_s = max(from_s, now_s - RECENT_S)
        else:
            before = lines_since(capture, pull.asked_s - REST_S)
            pull.settle(heard_numbers(before, self._answers), now_s)
            from_s = now_s
        with self._lock:
            if pull is self._pull:
                self._pulled_s = from_s

    def _enter(self, phase: str, said: str = "") -> None:
        with self._lock:
            if self._halt.is_set() and phase != "stopped":
                return
            if (phase, said) != (self._phase, self._said):
                if phase != self._phase:
                    self._since_s = clock.now()
                self._phase, self._said = phase, said


def _last_s(capture: Capture | None) -> float:
    """When the last byte came, `clock.now`, s; 0 before the first."""
    return capture.pieces[-1].to_s if capture is not None and capture.pieces else 0.0


def heard_lines(capture: Capture, most: int = 12) -> tuple[bytes, ...]:
    """The last lines as they came."""
    from logger.listening.line_splitting import line_end, raw_lines

    latest = capture.latest(2_000)
    return tuple(raw_lines(latest, line_end(latest))[-most:])
