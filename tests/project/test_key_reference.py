"""The tables of keys in DEVELOPERS.md are those of the declaration."""

from __future__ import annotations

import pytest
from project.key_reference import DEVELOPERS, FILES, HELP, SECTIONS, help_text, with_tables


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_the_reference_is_the_declaration(file) -> None:
    text = DEVELOPERS.read_text("utf-8")
    assert with_tables(text, file) == text, "run python tests/project/key_reference.py"


@pytest.mark.parametrize("topic", SECTIONS)
def test_help_is_the_section_of_the_interface(topic) -> None:
    text = DEVELOPERS.read_text("utf-8")
    assert (HELP / f"{topic}.txt").read_text("utf-8") == help_text(text, SECTIONS[topic])


@pytest.mark.parametrize("topic", SECTIONS)
def test_help_holds_every_key_of_its_section(topic) -> None:
    text = (HELP / f"{topic}.txt").read_text("utf-8")
    for key in {"session": ("events.csv", "time_s", "hand", "refused"), "predict": ("model_ma_u", "use_in", "stop_hauling_at"),
                "review": ("pulley_efficiency", "at_most_N", "load_travel_method", "chapters")}[topic]:  # fmt: skip
        assert key in text
    assert "`" not in text and max(map(len, text.splitlines())) <= 100
