"""Holds a sensors file while it is edited: a file's text, the edits made to it, and what is wrong with it now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from analysis.rig.rig import Rig
from analysis.sensors_edit.sensors_text import ChannelEdit, edited_sensors
from analysis.signals.channel_roles import check_places
from logger.channels.channel import Sensors
from logger.channels.sensors_file import for_recording, parse_sensors
from logger.errors import SensorsFault, UserFault

MOST_UNDONE = 300  # memory only: edits that can be undone


@dataclass(frozen=True)
class SensorsOutcome:
    """What a draft amounts to: channels that can be recorded, or the reason why not."""

    sensors: Sensors | None  # the checked channels; None where there is a fault
    fault: UserFault | None  # why they cannot be recorded, with its place; None where they can
    no_place: UserFault | None = None  # why a channel does not fit the rig; None where all do


@dataclass(frozen=True)
class SensorsDraft:
    """A sensors file that is edited; a value, so that each edit makes another draft."""

    texts: tuple[str, ...]  # the file's text as it was opened, then after each edit
    undone: tuple[str, ...] = ()  # texts that `redo` brings back, the nearest last

    @property
    def text(self) -> str:
        """The file's text now."""
        return self.texts[-1]

    def make(self, *edits: ChannelEdit) -> SensorsDraft:
        """The draft after these edits, which are one step to undo.

        Raises ChannelEditFault for an edit that the file has no place for, SensorsFault for a text that is
        no TOML; the draft stays as it is.
        """
        text = self.text
        for edit in edits:
            text = edited_sensors(text, edit)
        return self.replaced(text)

    def replaced(self, text: str) -> SensorsDraft:
        """The draft with another text in its place; one step to undo."""
        if text == self.text:
            return self
        texts = (*self.texts, text)
        if len(texts) > MOST_UNDONE:
            texts = (texts[0], *texts[-MOST_UNDONE + 1 :])
        return replace(self, texts=texts, undone=())

    def undo(self) -> SensorsDraft:
        """The draft before its last step; itself where there is none."""
        if len(self.texts) == 1:
            return self
        return replace(self, texts=self.texts[:-1], undone=(*self.undone, self.text))

    def redo(self) -> SensorsDraft:
        """The draft with the step that was undone last; itself where there is none."""
        if not self.undone:
            return self
        return replace(self, texts=(*self.texts, self.undone[-1]), undone=self.undone[:-1])

    def outcome(self, folder: Path, file: str, rig: Rig | None = None) -> SensorsOutcome:
        """The channels that the text describes, or what is wrong with them.

        folder: where its calibration files lie; file: its name, for faults; rig: in which the channels
        sit, None: not asked.
        """
        try:
            sensors = parse_sensors(self.text, file, folder)
            for_recording(sensors)
        except UserFault as fault:
            return SensorsOutcome(None, fault)
        if rig is None:
            return SensorsOutcome(sensors, None)
        try:
            check_places(rig, sensors)
        except SensorsFault as fault:
            return SensorsOutcome(sensors, None, fault)
        return SensorsOutcome(sensors, None)
