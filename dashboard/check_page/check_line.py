"""Defines one line of the check before the pull, and what a person may say to it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.errors import one_line

MOST_REASON = 120  # characters of a typed reason; chosen by us: one line of the session's events


class CheckState(StrEnum):
    """How a line stands, as the word that the page shows."""

    GOOD = "good"
    WAITING = "wait"
    CONFIRM = "to be confirmed"
    MISSING = "missing"
    BLOCKED = "cannot start"
    CONFIRMED = "confirmed"
    OVERRULED = "overruled"


LEFT = (
    CheckState.WAITING,
    CheckState.CONFIRM,
    CheckState.MISSING,
    CheckState.BLOCKED,
)  # states that keep Start back
# why somebody goes on all the same; a typed note may stand in their place
REASONS = ("seen to by hand", "not needed for this haul", "nothing else at hand")


@dataclass(frozen=True)
class CheckLine:
    """One line of the check."""

    key: str  # names the line for good, such as "zero haul_force"
    title: str  # what is checked, in a few words
    state: CheckState  # as found, before a person said anything
    text: str  # what was found, with its numbers
    cure: str = ""  # what to do; "" where there is nothing to do
    cause: str = ""  # what is wrong, without numbers that change
    details: tuple[str, ...] = ()  # what belongs to it, a line each
    reason: str = ""  # why it was overruled, once it is

    @property
    def mark(self) -> str:
        """Names the line with its cause: a confirmation or an overruling holds for this alone."""
        whole = "\x1f".join((self.key, self.state, self.cause, *self.details))
        return hashlib.sha256(whole.encode("utf-8", "replace")).hexdigest()[:16]

    @property
    def event(self) -> str:
        """The text of the event `override` of the session."""
        what = f"{self.title}: {self.cause or self.text}"
        return one_line(f"{what}; overruled: {self.reason}", 300)


def said(
    lines: Sequence[CheckLine], confirmed: Sequence[str], overruled: Mapping[str, str]
) -> tuple[CheckLine, ...]:
    """The lines after what a person said to them.

    confirmed: marks of confirmed lines.  overruled: mark -> reason.  What was said to another cause of the
    same line does not count: somebody who overruled a missing zero has not overruled a missing device.
    """
    shown = []
    for line in lines:
        state, reason = line.state, ""
        if state == CheckState.CONFIRM and line.mark in confirmed:
            state = CheckState.CONFIRMED
        elif state == CheckState.MISSING and line.mark in overruled:
            state, reason = CheckState.OVERRULED, overruled[line.mark]
        shown.append(
            CheckLine(
                key=line.key,
                title=line.title,
                state=state,
                text=line.text,
                cure=line.cure,
                cause=line.cause,
                details=line.details,
                reason=reason,
            )
        )
    return tuple(shown)


def left(lines: Sequence[CheckLine]) -> tuple[CheckLine, ...]:
    """The lines that keep Start back."""
    return tuple(line for line in lines if line.state in LEFT)


def typed_reason(text: object) -> str:
    """A reason as a person typed it, on one line and bounded; "" for nothing or for another type."""
    return one_line(text.strip(), MOST_REASON) if isinstance(text, str) else ""
