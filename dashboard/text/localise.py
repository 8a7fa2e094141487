"""What the logger and the analysis said, in the reader's units; what a person wrote, as written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from dashboard.text.units import METRIC, Units, holds_quantity

if TYPE_CHECKING:
    from analysis.rig.rig import Rig
    from logger.channels.channel import Sensors

# events whose text is a person's own, a name, a path, or a reading as the device sends it
AS_WRITTEN = frozenset({"mark", "undo", "end", "rig", "start", "stop", "connect", "disconnect", "zero"})


@dataclass(frozen=True)
class Words:
    """shown: the reader's units; own: names that a person gave, which stay as they are."""

    shown: Units = METRIC
    own: tuple[str, ...] = ()

    def __call__(self, text: str) -> str:
        return self.shown.words(text, self.own)

    def event(self, kind: str, text: str) -> str:
        """The text of an event of this kind."""
        return text if kind in AS_WRITTEN else self(text)

    def review(self, found: dict[str, Any]) -> dict[str, Any]:
        """The object of `haul review --json` with its sentences in the reader's units, for showing
        alone: what is stored or printed as JSON stays SI."""
        if not self.shown.of_si:
            return found
        measured, judged = found["measured"], found["agreement"]
        return found | {
            "measured": measured | {"why_not": self(measured["why_not"])},
            "agreement": judged | {"verdict": self(judged["verdict"])},
            "events": [e | {"text": self.event(e["kind"], e["text"])} for e in found["events"]],
            "warnings": [self(text) for text in found["warnings"]],
        }


def words(
    shown: Units, rigs: Iterable[Rig] = (), sensors: Sensors | None = None, more: Iterable[str] = ()
) -> Words:
    """How to tell a text about these rigs and sensors; more: other names that a person gave."""
    if not shown.of_si:
        return Words(shown)
    named = {*more}
    for rig in rigs:
        named |= {rig.title, rig.file, *rig.ratings}
        named |= {part.name for part in (*rig.bodies, *rig.stations, *rig.ropes, *rig.gears)}
        named |= {gear.kind for gear in rig.gears} | {r.item for r in rig.ratings.values() if r.item}
    if sensors is not None:
        for channel in sensors.channels:
            file = channel.calibration_file or ""
            named |= {channel.name, channel.at, file, PurePath(file).name}
    return Words(shown, tuple(sorted(name for name in named if holds_quantity(name))))
