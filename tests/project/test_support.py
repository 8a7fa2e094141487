"""What several tests need stands once, in tests/support: no class name and no body of a helper stands twice."""

from __future__ import annotations

import ast
from collections import defaultdict

from support.places import ROOT

FILES = [p for p in sorted((ROOT / "tests").rglob("*.py")) if p.parent.name != "benchmarks"]
TREES = {str(p.relative_to(ROOT)): ast.parse(p.read_text("utf-8")) for p in FILES}
SMALL = 160  # characters of a body's dump: below, two helpers are alike by chance; chosen by us


def twice(places: dict[str, list[str]]) -> list[list[str]]:
    return [same for same in places.values() if len(same) > 1]


def test_no_class_name_stands_twice():
    places = defaultdict(list)
    for file, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(f"{file}: {node.name}")
    assert twice(places) == []


def test_no_helper_is_copied():
    places = defaultdict(list)
    for file, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("test_"):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                dump = "".join(ast.dump(statement) for statement in body)
                if len(dump) > SMALL:
                    places[dump].append(f"{file}: {node.name}")
    assert twice(places) == []
