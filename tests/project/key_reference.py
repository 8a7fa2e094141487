"""Writes the tables of declared keys into DEVELOPERS.md, and help from its sections on formats.

Run `python tests/project/key_reference.py`.

A test compares them, so a key that is declared anew is written there by running this file.
"""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

from analysis.rig_file.rig_keys import RIG
from dashboard.text.key_help import key_tables
from logger.calibration.calibration_keys import CALIBRATION
from logger.channels.channel_keys import SENSORS
from logger.file_keys import FileKeys

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
FILES = (RIG, SENSORS, CALIBRATION)


def with_tables(text: str, file: FileKeys) -> str:
    """The text with the tables of this file between its two marks."""
    begin, end = f"<!-- keys of the {file.name} file -->\n", f"<!-- end of the {file.name} file -->"
    pattern = re.escape(begin) + ".*?" + re.escape(end)
    if not re.search(pattern, text, re.DOTALL):
        raise ValueError(f"DEVELOPERS.md has no place for the keys of the {file.name} file")
    tables = f"{begin}\n{key_tables(file)}\n{end}"
    return re.sub(pattern, lambda _: tables, text, flags=re.DOTALL)


HELP = Path(__file__).parents[2] / "dashboard" / "text" / "help"
SECTIONS = {
    "session": 4,
    "predict": 5,
    "review": 6,
}  # topic of `haul help` -> section of the interface
WIDTH = 78  # characters of a line of help


def help_text(text: str, section: int) -> str:
    """One section of DEVELOPERS.md as plain text for a terminal: paragraphs, and for each row of a table
    its first cell, then the others below it."""
    body = re.split(r"^## ", text, flags=re.MULTILINE)
    own = next(one for one in body if one.startswith(f"Interface section {section}:"))
    title, _, rest = own.partition("\n")
    title = title.partition(": ")[2].replace("`", "")
    out = [title[:1].upper() + title[1:], ""]
    header: list[str] = []
    for block in re.split(r"\n\n+", rest.strip()):
        lines = block.split("\n")
        if not lines[0].startswith("|"):
            for line in _paragraphs(lines):
                out += [_wrapped(line, ""), ""]
            continue
        header = _cells(lines[0])
        for line in lines[2:]:
            first, *others = _cells(line)
            out.append(_wrapped(first, "  "))
            out.append(_wrapped(_said(header[1:], others), "      "))
        out.append("")
    return "\n".join(out).rstrip("\n") + "\n"


def _said(header: list[str], cells: list[str]) -> str:
    """The cells of a row behind its first: the meaning with its unit, or each with its heading."""
    row = dict(zip(header, cells, strict=False))
    if "meaning" in row:
        unit, left_out = row.pop("unit", ""), row.pop("left out", "")
        more = [one for one in (unit, f"left out: {left_out}" if left_out else "") if one]
        return row["meaning"] + (f" ({', '.join(more)})" if more else "")
    if len(row) == 1:
        return next(iter(row.values()))
    return ". ".join(f"{name}: {cell}" for name, cell in row.items() if cell)


def _paragraphs(lines: list[str]) -> list[str]:
    """The lines of a block joined, but for the items of a list."""
    out: list[str] = []
    for line in lines:
        if out and not line.startswith("- "):
            out[-1] += " " + line.strip()
        else:
            out.append(line)
    return [re.sub(r"[`*]", "", one) for one in out if not one.startswith("<!--")]


def _cells(line: str) -> list[str]:
    return [
        re.sub(r"[`*]", "", cell.strip()) for cell in re.split(r"(?<!\\)\|", line.strip())[1:-1]
    ]


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent,
                         break_long_words=False, break_on_hyphens=False)  # fmt: skip


def main() -> None:
    """Write the tables of all files, and the help made of the sections."""
    text = DEVELOPERS.read_text("utf-8")
    for file in FILES:
        text = with_tables(text, file)
    DEVELOPERS.write_text(text, "utf-8")
    for topic, section in SECTIONS.items():
        (HELP / f"{topic}.txt").write_text(help_text(text, section), "utf-8", newline="\n")


if __name__ == "__main__":
    main()
