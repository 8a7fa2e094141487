"""Defines one row of the catalogue of messages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["info", "caution", "stop"]


@dataclass(frozen=True)
class Template:
    """A sentence with fields.

    level: info, caution or stop.
    text: the sentence; `analysis.messages.message` explains its fields.
    """

    level: Level
    text: str
