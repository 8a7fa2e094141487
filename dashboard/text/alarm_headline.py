"""Words an alarm for a crew, on the page and on the terminal alike.

The headline says what is at risk and how much of how much; how the level came about stands apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboard.text.alarm_levels import label_text
from dashboard.text.units import Units
from logger.channels.channel import Channel, Sensors
from logger.errors import one_line
from logger.recorder.alarms import LEVELS

if TYPE_CHECKING:
    from analysis.messages.message import Message
    from analysis.prediction.alarm_headlines import PartAtRisk

# characters of what an alarm is about, and of how its level came about; memory only: names in a rig file
# are shorter, so nothing that people wrote is cut
WHAT, HOW = 120, 300
STOP = LEVELS.index("stop")


@dataclass(frozen=True)
class AlarmSubject:
    """What an alarm is about."""

    what: str  # what is at risk, in a few words
    how: str  # how its level came about; "" where that is not known
    limit: float | None  # the level, N or m; None where it is not known


@dataclass
class AlarmWords:
    """Words the alarms of one session in the reader's units."""

    sensors: Sensors  # of the session
    units: Units  # of the reader
    labels: dict[str, Message] = field(default_factory=dict)  # recorded text -> its sentence
    at_risk: dict[str, PartAtRisk] = field(default_factory=dict)  # recorded label -> rated part

    def add(self, labels: Mapping[str, Message], at_risk: Mapping[str, PartAtRisk]) -> None:
        """Take the texts of one more rig: labels by `part_texts`, at_risk by `parts_at_risk`."""
        self.labels |= labels
        self.at_risk |= at_risk

    def label(self, label: str) -> str:
        """A recorded label, in the reader's units where it is of a rig of the session."""
        return label_text(label, self.labels, self.units)

    def subject(self, channel_name: str, label: str, level: int) -> AlarmSubject:
        """What an alarm is about; channel_name, label: as recorded; level: index into LEVELS."""
        rated = self.at_risk.get(label)
        if rated is not None:
            return AlarmSubject(
                one_line(rated.what.text(self.units), WHAT),
                one_line(self.label(label), HOW),
                rated.limit_N,
            )
        channel = self._channel(channel_name)
        if channel is None:
            return AlarmSubject(one_line(label, WHAT), "", None)
        if label != channel.name:  # an overload, or of a rig that is not known here
            what = label if channel.name in label else f"{channel.name}: {label}"
            return AlarmSubject(one_line(what, WHAT), "", None)
        how = f"{'stop_at' if level == STOP else 'warn_at'} of the sensors file"
        limit = channel.stop_at if level == STOP else channel.warn_at
        return AlarmSubject(one_line(channel.name, WHAT), how, limit)

    def headline(self, channel_name: str, label: str, level: int, value: float | None) -> str:
        """What is at risk, and how much of how much; value: that the alarm was told at, N or m."""
        about = self.subject(channel_name, label, level)
        if value is None:
            return about.what
        return f"{about.what}, {self._amount(channel_name, value, about.limit)}"

    def now(self, channel_name: str, label: str, value: float | None) -> str:
        """What was at risk, and the value now, N or m, where there is one: of an alarm that is over."""
        about = self.subject(channel_name, label, 0)
        if value is None:
            return about.what
        return f"{about.what}, {self._amount(channel_name, value, None)}"

    def _amount(self, channel_name: str, value: float, limit: float | None) -> str:
        channel = self._channel(channel_name)
        if channel is not None and channel.quantity == "length":
            return self.units.length(value) if limit is None else self.units.length_of(value, limit)
        return self.units.force(value) if limit is None else self.units.force_of(value, limit)

    def _channel(self, name: str) -> Channel | None:
        return next((c for c in self.sensors.channels if c.name == name), None)
