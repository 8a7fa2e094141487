"""Defines the parts of a menu as plain values: buttons, fields, groups of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Choice:
    """One button."""

    label: str  # what it says
    act: str  # what it does
    on: bool = False  # whether it holds now


@dataclass(frozen=True)
class Entry:
    """One field."""

    label: str  # what it asks for
    act: str  # what a new value does
    value: str  # as the draft has it, with its unit; "" where it has none
    hint: str  # shown while it is empty


@dataclass(frozen=True)
class About:
    """What is said of a group of buttons and fields."""

    notes: tuple[str, ...] = ()  # sentences: what holds now, and how sure it is
    sources: tuple[str, ...] = ()  # where each of the values comes from; shown when asked for
    more: str = "Where these values come from"  # what is touched to see them
    folded: bool = False  # whether the buttons are shown only when asked for, because they are many
    link: tuple[str, str] = ("", "")  # words and address of a link to another page; "" for none


@dataclass(frozen=True)
class MenuGroup:
    """One group of buttons and fields."""

    title: str  # what is asked
    choices: tuple[Choice, ...] = ()  # the buttons
    entries: tuple[Entry, ...] = ()  # the fields
    about: About = About()  # what is said of them


@dataclass(frozen=True)
class Menu:
    """All that may be done with what was touched."""

    title: str  # what was touched
    questions: tuple[MenuGroup, ...]  # in the order in which they are shown


@dataclass(frozen=True)
class MenuMore:
    """What is added to the menu of a strand, part or body."""

    capture: About = About()  # what is said where a capture is offered on a strand
    groups: tuple[MenuGroup, ...] = ()  # further groups, last in the menu but for splitting
