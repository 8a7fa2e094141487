"""Writes the declared keys of a file as help for the terminal: unit, range, default, meaning, example."""

from __future__ import annotations

import math
import textwrap

from logger.file_keys import FileKeys, Key, KeyKind, KeyTable, TableForm, spoken_unit

WIDTH = 78  # characters of a line, as wide as a terminal usually is (80)
INDENT = "      "
# bounds from here on only catch a slip of the pen, so help leaves them out; chosen by us
SLIP_OF_THE_PEN = 1e5


def key_help(file: FileKeys) -> str:
    """The keys of a file, table by table in the order of the file."""
    parts = [textwrap.fill(file.meaning, WIDTH), *(_table(table) for table in file.tables)]
    return "\n\n".join(parts) + "\n"


def heading(table: KeyTable) -> str:
    """How the table is written in its file: "[load]", "[[rope]]"; a station as in a path."""
    if table.form is TableForm.STATION:
        return f"{{ {table.name} = ... }}"
    if table.form is TableForm.LIST:
        return f"[[{table.name}]]"
    return f"[{table.name}]" if table.name else "At the top of the file"


def _table(table: KeyTable) -> str:
    """One table: its heading, its meaning, its keys."""
    title = textwrap.fill(
        f"{heading(table)}  {table.meaning}", WIDTH, subsequent_indent="  ", break_long_words=False
    )
    return "\n".join([title, *(_key(key) for key in table.keys)])


def _key(key: Key) -> str:
    """One key: a line to copy, then what it means."""
    facts = [key.meaning]
    if key.unit:
        facts.append(spoken_unit(key.unit))
    if (span := allowed(key)) is not None:
        facts.append(span)
    others = [each.name for each in key.spellings[1:]]
    sentence = ", ".join(facts) + "."
    if key.needed:
        sentence += " Needed."
    elif key.default:
        sentence += f" Left out: {key.default}."
    if others:
        sentence += f" Or {', '.join(others)}."
    text = textwrap.fill(
        sentence, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return f"  {key.name} = {key.example}\n{text}"


def key_tables(file: FileKeys) -> str:
    """The same in Markdown, a table for each table of the file: the reference for developers."""
    blocks = []
    for table in file.tables:
        rows = [
            f"| {_names(key)} | {_unit(key)} | {_default(key)} | {_cell(key)} |"
            for key in table.keys
        ]
        blocks.append("\n".join([
            f"`{heading(table)}` {table.meaning}" if table.name else f"{heading(table)}: {table.meaning}",
            "", "| key | unit | left out | meaning |", "|---|---|---|---|", *rows,
        ]))  # fmt: skip
    return "\n\n".join(blocks) + "\n"


def _names(key: Key) -> str:
    """The key's names, as code."""
    return ", ".join(f"`{each.name}`" for each in key.spellings)


def _unit(key: Key) -> str:
    """The declared unit, "1" for a plain number, else what the value is."""
    if key.kind is KeyKind.NUMBER:
        return {"deg": "degrees", "percent": "%"}.get(key.unit, key.unit) or "1"
    return key.kind.value


def _default(key: Key) -> str:
    """What holds where the key is left out."""
    return "needed" if key.needed else key.default or "not known"


def _cell(key: Key) -> str:
    """Meaning, allowed values and example."""
    span = allowed(key)
    text = key.meaning + (f", {span}" if span else "")
    return text.replace("|", "\\|") + f"; `{key.example}`"


def allowed(key: Key) -> str | None:
    """Which values a key takes, in its declared unit; None where any will do."""
    if key.choices:
        return "one of " + " ".join(key.choices)
    if key.kind is KeyKind.TEXT or key.kind not in (KeyKind.NUMBER, KeyKind.WHOLE):
        return None
    if key.above is not None:
        return f"above {key.above:g}" + (f" and at most {key.most:g}" if key.most == 1.0 else "")
    least = math.isfinite(key.least) and key.least > -SLIP_OF_THE_PEN
    most = math.isfinite(key.most) and key.most < SLIP_OF_THE_PEN
    if least and most:
        return f"from {key.least:g} to {key.most:g}"
    return f"at least {key.least:g}" if least else None
