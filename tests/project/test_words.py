"""Names and docstrings of the three rooms: one name for one class, no name that means everything, a line for
each field and each public function, a unit for each number that goes in.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from pathlib import Path

import pytest
from support.places import ROOMS, ROOT

VAGUE = {"known", "told", "found", "way", "part", "of", "that"}  # the names that say nothing
RECORDS = {"NamedTuple", "TypedDict"}
UNIT = re.compile(r"_(N|kN|m|mm|s|ms|m_s|J|W|kg|deg|rad|hz|Hz|percent|share|bytes|per_s)$|^[msN]$")
NUMBER = re.compile(r"\b(float|ndarray|NDArray|Floats|Array)\b")


def modules() -> list[tuple[Path, str, ast.Module]]:
    """Path below the root, text and syntax tree of each module of the three rooms."""
    parsed = []
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            source = path.read_text("utf-8")
            parsed.append((path.relative_to(ROOT), source, ast.parse(source)))
    return parsed


MODULES = modules()


def is_record(node: ast.ClassDef) -> bool:
    decorated = any("dataclass" in ast.unparse(one) for one in node.decorator_list)
    return decorated or any(ast.unparse(base) in RECORDS for base in node.bases)


def arguments(node: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    return [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]


def vague_names(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and name of each function, parameter, variable and attribute whose name says nothing."""
    names = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.append((node.lineno, node.name))
        elif isinstance(node, ast.arg):
            names.append((node.lineno, node.arg))
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            names.append((node.lineno, node.id))
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            names.append((node.lineno, node.attr))
    return [(line, name) for line, name in names if name in VAGUE]


def undescribed_fields(tree: ast.AST, lines: list[str]) -> list[tuple[int, str]]:
    """Line and name of each field of a record with neither a comment on its line nor a line `name: ...`
    in the docstring of its class."""
    missing = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.ClassDef) or not is_record(node):
            continue
        text = ast.get_docstring(node) or ""
        for field in node.body:
            if not isinstance(field, ast.AnnAssign) or not isinstance(field.target, ast.Name):
                continue
            name = field.target.id
            described = re.search(rf"^\s*{name}(, \w+)*: \S", text, re.MULTILINE)
            if "#" not in lines[(field.end_lineno or field.lineno) - 1] and not described:
                missing.append((field.lineno, f"{node.name}.{name}"))
    return missing


def undescribed_functions(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and name of each public function, method and property without a docstring."""
    return [
        (node.lineno, node.name)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        if not node.name.startswith("_") and not ast.get_docstring(node)
    ]


def numbers_without_unit(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and name of each number that a public function takes, where neither the name ends in a unit
    nor the docstring speaks of the parameter."""
    missing = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        text = ast.get_docstring(node) or ""
        for one in arguments(node):
            number = one.annotation is not None and NUMBER.search(ast.unparse(one.annotation))
            if number and not UNIT.search(one.arg) and not re.search(rf"\b{one.arg}\b", text):
                missing.append((one.lineno, f"{node.name}({one.arg})"))
    return missing


def test_no_class_name_stands_twice():
    places = defaultdict(list)
    for path, _, tree in MODULES:
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(str(path))
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


@pytest.mark.parametrize(
    "check",
    [vague_names, undescribed_functions, numbers_without_unit],
    ids=lambda one: one.__name__,
)
def test_nothing_is_left_of(check):
    assert [
        f"{path}:{line} {name}" for path, _, tree in MODULES for line, name in check(tree)
    ] == []


def test_each_field_of_a_record_has_its_line():
    missing = [
        f"{path}:{line} {name}"
        for path, source, tree in MODULES
        for line, name in undescribed_fields(tree, source.splitlines())
    ]
    assert missing == []


EXAMPLE = '''
@dataclass(frozen=True)
class Pull:
    """A pull.

    force_N: of the team.
    """

    force_N: float
    travel_m: float  # of the rope
    bare: float

def pull(known, force: float, travel_m: float):
    found = 1
    self.way = found

def hold(force: float):
    """force: in N."""
'''


def test_the_checks_see_what_they_look_for():
    tree = ast.parse(EXAMPLE)
    assert sorted(name for _, name in vague_names(tree)) == ["found", "known", "way"]
    assert [name for _, name in undescribed_fields(tree, EXAMPLE.splitlines())] == ["Pull.bare"]
    assert [name for _, name in undescribed_functions(tree)] == ["pull"]
    assert [name for _, name in numbers_without_unit(tree)] == ["pull(force)"]
