"""Keeps what the sensors page works on: the draft of one sensors file, the open question, points of a calibration.

In memory for the page, and on disk, so that a reload, a second device and a desk that was killed show the same.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from analysis.sensors_edit.sensors_draft import SensorsDraft
from analysis.sensors_edit.sensors_text import ChannelEdit
from dashboard.desk.chosen import choose, chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import TOML, within
from dashboard.desk.written_files import keep_draft, write_text
from logger.errors import CallFault, SensorsFault, UserFault
from logger.filesystem import read_plain
from logger.toml_tables import read_text

KEPT = "sensors-page.json"  # in the desk's store
MOST_KEPT = 2_000_000  # bytes of it: a draft and its points
MOST_TEXT = 250_000  # characters of a draft; as the parser of the files takes them
MOST_TYPED_PORTS = 20  # memory only


@dataclass(frozen=True)
class OpenStep:
    """The question that is open, about a number that was touched or about a channel."""

    kind: str = ""  # which question, see `questions`; "" for none
    port: str = ""  # of the touched number
    place: str = ""  # which number of the port's lines
    channel: str = ""  # name of the channel; "" while there is none
    quantity: str = ""  # what was answered: "force" or "length"
    unit: str = ""  # what was answered
    scale: float = 0.0  # N or m in one count, as it was answered; 0: not known
    size: float = 0.0  # a weight or a length that was typed for the pull, N or m; 0: none
    size_text: str = ""  # the same as it was typed


@dataclass(frozen=True)
class CalibrationPoint:
    """One known force or length, and what the device showed."""

    applied: float  # N or m
    text: str  # as it was typed
    reading: float  # mean, as the device sends it
    sd: float  # standard deviation of the readings, in the same unit
    n: int  # readings


@dataclass(frozen=True)
class SensorsState:
    """One state of the page."""

    file: str  # name of the file, without its ending; "" for a new one
    base: str  # the file's text when it was opened or saved
    draft: SensorsDraft  # the text with all edits
    step: OpenStep = OpenStep()  # the open question
    typed: tuple[str, ...] = ()  # ports that a person typed
    points: dict[str, tuple[CalibrationPoint, ...]] = field(default_factory=dict)  # by channel
    backward: tuple[str, ...] = ()  # channels of which the last pull counted as negative
    version: int = 1  # rises with every change

    @property
    def changed(self) -> bool:
        """Whether the draft holds what the file did not."""
        return self.draft.text != self.base


class SensorsStore:
    """The state of one folder's page.  Safe for several threads."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.RLock()
        self._told_changed = False
        self._state = self._kept() or self._first()

    @property
    def state(self) -> SensorsState:
        """The state as it is."""
        with self._lock:
            changed = self.changed_on_disk()
            if changed != self._told_changed:
                self._told_changed = changed
                self._state = replace(self._state, version=self._state.version + 1)
            return self._state

    def path(self, name: str) -> Path:
        """The path of a sensors file of the folder; raises CallFault for a name that is not allowed."""
        return within(self._desk.folder, name, TOML)

    def changed_on_disk(self) -> bool:
        """Whether somebody else changed the file since it was opened or saved."""
        with self._lock:
            state = self._state
            if not state.file:
                return False
            disk = self._disk(state.file)
            return disk is not None and disk not in (state.base, state.draft.text)

    def change(self, make: Callable[[SensorsState], SensorsState]) -> SensorsState:
        """Replace the state by `make` of it; it is on disk when this returns.

        Raises what `make` raises, the state unchanged; CallFault where it can't be kept.
        """
        with self._lock:
            made = make(self._state)
            if made is not self._state:
                if len(made.draft.text) > MOST_TEXT:
                    raise CallFault("sensors", "the file gets too long", "take channels out")
                self._state = replace(made, version=self._state.version + 1)
                self._keep()
            return self._state

    def open_file(self, name: str) -> None:
        """Go on with a file of the folder; raises CallFault, SensorsFault."""

        def opened(state: SensorsState) -> SensorsState:
            """The state with that file."""
            self._check_nothing_lost(state)
            text = read_text(self.path(name), SensorsFault, plain=True)
            return replace(
                state,
                file=name,
                base=text,
                draft=SensorsDraft((text,)),
                step=OpenStep(),
                points={},
                backward=(),
            )

        self.change(opened)

    def begin_new(self) -> None:
        """Go on with a new file; raises CallFault where changes would be lost."""

        def begun(state: SensorsState) -> SensorsState:
            """The state with an empty draft."""
            self._check_nothing_lost(state)
            return replace(
                state,
                file="",
                base="",
                draft=SensorsDraft(("",)),
                step=OpenStep(),
                points={},
                backward=(),
            )

        self.change(begun)

    def take_file(self) -> None:
        """Go on with the file as it is on disk; the draft is one step to undo."""

        def taken(state: SensorsState) -> SensorsState:
            """The state with the file's text."""
            text = (
                "" if not state.file else read_text(self.path(state.file), SensorsFault, plain=True)
            )
            return replace(state, base=text, draft=state.draft.replaced(text), step=OpenStep())

        self.change(taken)

    def save(self, name: str = "", over_other: bool = False) -> str:
        """Write the file, or a new one under another name; returns its name.  It is then the next haul's.

        over_other: write it even though somebody else changed it.  Raises CallFault.
        """

        def saved(state: SensorsState) -> SensorsState:
            """The state with the file written."""
            wanted = name or state.file
            path = self.path(wanted)
            called = path.name.removesuffix(TOML)
            if called != state.file:
                if path.exists():
                    raise CallFault(
                        path.name, "exists, and no file is overwritten", "choose another name"
                    )
            elif self.changed_on_disk() and not over_other:
                raise CallFault(
                    path.name, "was changed by another program since it was opened",
                    "save under another name, or take the file as it is now",
                )  # fmt: skip
            write_text(path, state.draft.text)
            return replace(state, file=called, base=state.draft.text)

        state = self.change(saved)
        choose(self._desk, sensors=state.file)
        return state.file

    def edit_file(self, name: str, text: str, *edits: ChannelEdit) -> None:
        """Make edits in a file of the folder and write it, also one that this page does not work on.

        text: of the file, as the caller showed it; where the page works on this file, the edits are one step to
        undo there.  Raises CallFault where the file was changed meanwhile, holds no such channel any more, has
        changes on this page that are not saved, or can't be written.
        """

        def edited(state: SensorsState) -> SensorsState:
            """The state with the file written."""
            path = self.path(name)
            if state.file == name and state.changed:
                raise CallFault(
                    path.name, "has changes on the Sensors page that are not saved",
                    "save them there, or take them back",
                )  # fmt: skip
            if self._disk(name) != text:
                raise CallFault(
                    path.name, "was changed by another program, and is not overwritten",
                    "look where the cells sit now, then do it once more",
                )  # fmt: skip
            made = SensorsDraft((text,)).make(*edits).text
            write_text(path, made)
            if state.file != name:
                return state
            return replace(state, base=made, draft=state.draft.replaced(made))

        self.change(edited)

    # -- disk --------------------------------------------------------------------------------------
    def _check_nothing_lost(self, state: SensorsState) -> None:
        if state.changed and state.draft.text.strip():
            raise CallFault(
                state.file or "the new file", "has changes that are not saved",
                "save it first, or take the changes back",
            )  # fmt: skip

    def _disk(self, name: str) -> str | None:
        """The file's text; None where it is missing or can't be read."""
        try:
            return read_text(self.path(name), SensorsFault, plain=True)
        except UserFault:
            return None

    def _first(self) -> SensorsState:
        """The file of the next haul, or a new one."""
        try:
            now = chosen(self._desk).sensors
        except CallFault:
            now = None
        text = None if now is None else self._disk(now.name)
        if now is None or text is None:
            return SensorsState(file="", base="", draft=SensorsDraft(("",)))
        return SensorsState(file=now.name, base=text, draft=SensorsDraft((text,)))

    def _kept(self) -> SensorsState | None:
        """The state of an earlier run; None where there is none that can be read."""
        try:
            data = json.loads(read_plain(self._desk.store / KEPT, MOST_KEPT))
            state = _read_state(data)
            if state.file:
                self.path(state.file)
        except (
            OSError,
            ValueError,
            TypeError,
            KeyError,
            AttributeError,
            RecursionError,
            UserFault,
        ):
            return None
        if not state.changed and state.file and self._disk(state.file) != state.base:
            return None  # nothing was edited, and the file is another one now
        return state

    def _keep(self) -> None:
        state = self._state
        data = {
            "file": state.file, "base": state.base, "text": state.draft.text, "step": asdict(state.step),
            "typed": list(state.typed), "backward": list(state.backward),
            "points": {name: [asdict(p) for p in points] for name, points in state.points.items()},
        }  # fmt: skip
        keep_draft(self._desk.store / KEPT, json.dumps(data))


def _read_state(data: Any) -> SensorsState:
    """The state that a file of the store holds; raises ValueError, TypeError, KeyError or AttributeError."""
    base, text = data["base"], data["text"]
    backward = data.get("backward", [])
    if not all(
        isinstance(one, str) for one in (data["file"], base, text, *data["typed"], *backward)
    ):
        raise TypeError("no texts")
    draft = SensorsDraft((base,)).replaced(text)
    return SensorsState(
        file=data["file"],
        base=base,
        draft=draft,
        step=_typed_like(OpenStep, data["step"]),
        typed=tuple(data["typed"])[:MOST_TYPED_PORTS],
        backward=tuple(backward),
        points={
            str(name): tuple(_typed_like(CalibrationPoint, one) for one in points)
            for name, points in data["points"].items()
        },
    )


def _typed_like(kind: Any, data: Any) -> Any:
    """A dataclass from its values, each of the declared type; raises TypeError or ValueError."""
    types = {"str": str, "float": float, "int": int}
    return kind(**{one.name: types[str(one.type)](data[one.name]) for one in fields(kind)})
