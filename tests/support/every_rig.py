"""Every rig file that the program ships and that the tests write: from files, from words, from source text."""

from __future__ import annotations

import ast
import re
from functools import cache
from importlib import resources
from pathlib import Path

from analysis.rig_file.load import parse_rig
from logger.errors import RigFault
from support import chapter_sessions
from support import rigs as rigs_of_words
from support.rigs import blocks, nine_to_one, three_to_one, words_toml
from support.simulator_c.rigs import RIGS as BUILT

TESTS = Path(__file__).parents[1]
# a path in the words of `support.rigs.words_toml`
WORDS = re.compile(r"(tie:\w+|haul\S*)( [a-z]+(:\S+|@\S+)?| \|)+")
PLATE = rigs_of_words.BURTON_PLATE


def shipped() -> dict[str, str]:
    """The rigs of the shelf and of the demo, by file name."""
    package = resources.files("analysis")
    files = [*(package / "rigs").iterdir(), package / "demo" / "rig.toml"]
    return {f.name: f.read_text(encoding="utf-8") for f in files if f.name.endswith(".toml")}


@cache
def of_the_tests() -> dict[str, str]:
    """Every valid rig that stands in a test, by where it stands."""
    found_texts = {
        "three to one": three_to_one(),
        "nine to one": nine_to_one("resistance_N = 900.0"),
        "blocks": blocks(8),
        **{
            f"chapters: {name}": chapter_sessions.rig_text(
                chapter_sessions.SessionPlan(rigs=()), name
            )
            for name in chapter_sessions.RIGS
        },
        **{f"built: {name}": words_toml(one.path) for name, one in BUILT.items()},
    }
    for file in sorted(TESTS.rglob("*.toml")):
        found_texts[str(file.relative_to(TESTS))] = file.read_text("utf-8")
    for file in sorted(TESTS.rglob("*.py")):
        for number, text in _constants(file):
            found_texts[f"{file.relative_to(TESTS)}:{number}"] = text
    return {name: text for name, text in found_texts.items() if _works(text)}


def _constants(file: Path) -> list[tuple[int, str]]:
    """Line and text of each constant of a source file that may be a rig, in TOML or in words."""
    out = []
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if "anchor_to_load" in node.value and "[[rope]]" in node.value:
                out.append((node.lineno, node.value))
            elif WORDS.fullmatch(node.value):
                for extra in ("", PLATE):
                    out.append((node.lineno, _from_words(node.value, extra)))
    return [(number, text) for number, text in out if _works(text)]


def _from_words(path: str, extra: str) -> str:
    try:
        return words_toml(path, extra=extra)
    except ValueError:
        return ""  # words that only look like a path


def _works(text: str) -> bool:
    try:
        parse_rig(text, "r.toml")
    except RigFault:
        return False
    return True
