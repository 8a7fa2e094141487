"""A record with more than four values is built by keyword: two numbers that change places are then seen."""

import ast

from support.places import ROOT

FILES = [
    path
    for room in ("logger", "analysis", "dashboard")
    for path in sorted((ROOT / room).rglob("*.py"))
]
MOST = 4
# rows of tables, a line each, whose columns the class names
TABLES = {
    "Column",
    "HitchPreset",
    "Knot",
    "PulleyPreset",
    "Quantity",
    "Route",
    "Surface",
    "Term",
    "Units",
}


def trees():
    return {path: ast.parse(path.read_text("utf-8")) for path in FILES}


def records(every):
    """Names of the dataclasses of the program."""
    return {
        node.name
        for tree in every.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        and any("dataclass" in ast.unparse(d) for d in node.decorator_list)
    }


def positional(tree, names):
    """(line, class) of each record that is built from more than four values, some by their place."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in names:
            starred = any(isinstance(value, ast.Starred) for value in node.args)
            if len(node.args) > 1 and not starred and len(node.args) + len(node.keywords) > MOST:
                yield node.lineno, node.func.id


def test_records_of_more_than_four_values_are_built_by_keyword():
    every = trees()
    names = records(every) - TABLES
    assert "AlarmRow" in names
    found = [f"{path.relative_to(ROOT)}:{line}: {name}" for path, tree in every.items()
             for line, name in positional(tree, names)]  # fmt: skip
    assert found == []


def test_the_check_sees_a_record_that_is_built_by_place():
    tree = ast.parse(
        "Row(1, 2, 3, 4, 5)\nRow(a=1, b=2, c=3, d=4, e=5)\nRow(1, 2)\nRow(*all, 2, 3, 4, 5)\n"
    )
    assert list(positional(tree, {"Row"})) == [(1, "Row")]
