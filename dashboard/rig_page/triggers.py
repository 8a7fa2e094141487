"""Reads what set a callback off: Dash joins several causes into one call, and names parts that appeared.

A button that was just drawn comes with no number of clicks, a field with the value that it was drawn with:
neither is a touch.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

PLACES = ("station", "gap")  # kinds of buttons in the list of a rope


@dataclass(frozen=True)
class Trigger:
    """One cause of a call."""

    identity: Any  # of the component: a text, or a mapping for a button or a field
    value: Any  # of its property now: clicks, or a field's text


@dataclass(frozen=True)
class AskedAct:
    """An act that a person asked for."""

    act: Any  # as the page carried it
    typed: Any  # a field's text; None for a button


def triggers(triggered: Sequence[Mapping[str, Any]], ids: Mapping[str, Any]) -> list[Trigger]:
    """All causes of a call; triggered, ids: as the context of a Dash callback gives them."""
    return [
        Trigger(ids.get(str(one.get("prop_id")), str(one.get("prop_id")).partition(".")[0]), one.get("value"))
        for one in triggered
    ]  # fmt: skip


def touched_place(causes: Sequence[Trigger]) -> dict[str, Any] | None:
    """The station or the gap that was touched in the list last, as `touches.chosen` reads it; else None."""
    for cause in reversed(causes):
        if (
            isinstance(cause.identity, dict)
            and cause.identity.get("type") in PLACES
            and cause.value
        ):
            key = "gap" if cause.identity["type"] == "gap" else "place"
            return {key: [cause.identity.get("rope"), cause.identity.get("station")]}
    return None


def asked_acts(
    causes: Sequence[Trigger], drawn: Callable[[], Mapping[str, str]]
) -> tuple[AskedAct, ...]:
    """What a person asked for: fields that were typed into first, then buttons.

    drawn: gives the text that each field was drawn with, by its act; it is called only where a field
    may have just appeared, which is where other causes come with it.
    """
    fields = [one for one in causes if _type(one) == "field" and one.value is not None]
    if fields and len(causes) > 1:
        was = drawn()
        fields = [one for one in fields if was.get(_act(one), "") != one.value]
    buttons = [one for one in causes if _type(one) == "do" and one.value]
    return tuple(
        [AskedAct(_act(one), one.value) for one in fields]
        + [AskedAct(_act(one), None) for one in buttons]
    )


def _type(cause: Trigger) -> Any:
    return cause.identity.get("type") if isinstance(cause.identity, dict) else None


def _act(cause: Trigger) -> Any:
    act = cause.identity.get("act") if isinstance(cause.identity, dict) else None
    return act if isinstance(act, str) else None
