"""Help lists every declared key once a table, with its unit, default and meaning."""

from __future__ import annotations

import pytest

from analysis.rig_file.rig_keys import RIG
from dashboard.text.key_help import WIDTH, heading, key_help

HELP = key_help(RIG)


@pytest.mark.parametrize("table", RIG.tables, ids=lambda table: table.name or "top")
def test_each_table_and_key_stands_in_the_help(table) -> None:
    begin = HELP.index(heading(table) + "  ")
    own = HELP[begin:].split("\n\n")[0]
    for key in table.keys:
        assert f"\n  {key.name} = {key.example}\n" in own
        assert " ".join(key.meaning.split()[:3]) in " ".join(own.split())
        for other in key.spellings[1:]:
            assert other.name in own


def test_lines_fit_a_terminal() -> None:
    lines = [line for line in HELP.splitlines() if " = " not in line]
    assert max(map(len, lines)) <= WIDTH
