"""Read the README and the command reference: their shell lines, their files, what they say of each command.

As a script: `readme.py tests posix` prints the README's own line that does it, so that CI runs
what people are told to run.
"""

from __future__ import annotations

import re
import sys
import textwrap
from pathlib import Path

README = Path(__file__).resolve().parents[2] / "README.md"
DEVELOPERS = README.with_name("DEVELOPERS.md")
# the chapters of DEVELOPERS.md that are for users: from the first of these to the second
REFERENCE = ("\n## Command reference\n", "\n## What changed in the interface\n")
MOST_BYTES = 12_000  # of the README; required: what a newcomer reads in five minutes
FENCE = re.compile(r"^( *)```(\w+)\n(.*?)^\1```$", re.M | re.S)
LANGUAGE = {"posix": "sh", "windows": "bat"}
MARK = {"tests": "pytest", "demo": "haul demo"}


def blocks(text: str, language: str) -> list[str]:
    """The fenced blocks of a language, without their indentation."""
    return [textwrap.dedent(m[3]) for m in FENCE.finditer(text) if m[2] == language]


def line(text: str, what: str, system: str) -> str:
    """The one line from a fresh clone to the tests or the demo, on posix or windows."""
    found = [
        row
        for block in blocks(text, LANGUAGE[system])
        for row in block.splitlines()
        if "-m venv" in row and MARK[what] in row
    ]
    if len(found) != 1:
        raise SystemExit(f"README.md: {len(found)} lines start the {what} on {system}, want one")
    return found[0]


def calls(text: str) -> list[list[str]]:
    """Every `haul ...` line of the shell blocks, as words."""
    return [
        row.split()
        for block in blocks(text, "sh")
        for row in block.splitlines()
        if row.startswith("haul ")
    ]


def files(text: str) -> dict[str, str]:
    """The TOML blocks, by the file name in their first line."""
    return {block.split("\n", 1)[0].lstrip("# "): block for block in blocks(text, "toml")}


def reference() -> str:
    """The command reference, the notebook and the file formats, which stand in DEVELOPERS.md."""
    begin, end = REFERENCE
    text = DEVELOPERS.read_text("utf-8")
    return text[text.index(begin) : text.index(end)]


def table_of_commands(text: str) -> dict[str, str]:
    """What the README's table says of each command."""
    return dict(re.findall(r"^\| `haul (\S+)` \| (.+) \|$", text, re.M))


def section(text: str, command: str) -> str:
    """What the reference says below the heading of a command; "" without one."""
    found = re.search(rf"^### `haul {command}`\n(.*?)(?=^##)", text, re.M | re.S)
    return found[1] if found else ""


if __name__ == "__main__":
    print(line(README.read_text("utf-8"), sys.argv[1], sys.argv[2]))
