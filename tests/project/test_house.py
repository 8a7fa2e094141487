"""A stranger finds the file: what DEVELOPERS.md and the packages' docstrings name is there, and all of it."""

import ast
import re
from pathlib import Path

import pytest
from support.places import ROOMS, ROOT

PACKAGES = sorted(p.parent for room in ROOMS for p in (ROOT / room).rglob("__init__.py"))


def names_in(path):
    """What stands in backticks in a package's docstring."""
    docstring = ast.get_docstring(ast.parse((path / "__init__.py").read_text("utf-8")))
    return re.findall(r"`([^`]+)`", docstring)


def own_names(path):
    """Modules and packages that stand right in a package."""
    inner = {p.parent.name for p in path.glob("*/__init__.py")}
    return ({p.stem for p in path.glob("*.py")} | inner) - {"__init__"}


@pytest.fixture(scope="module")
def text(root):
    return (root / "DEVELOPERS.md").read_text("utf-8")


def chapter(text, title):
    match = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## )", text, re.M | re.S)
    assert match, f"DEVELOPERS.md has no chapter {title}"
    return match[1]


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_packages_docstring_names_all_that_is_in_it(path):
    if path.name == "commands":  # its modules are the subcommands of `haul`
        return
    assert own_names(path) - set(names_in(path)) == set()


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_a_packages_docstring_names_is_there(path):
    there = {p.stem for room in ROOMS for p in (ROOT / room).rglob("*.py")}
    there |= {p.name for p in PACKAGES}
    source = "\n".join(p.read_text("utf-8") for p in path.rglob("*.py"))
    for name in names_in(path):
        if re.fullmatch(r"[a-z_0-9]+", name):
            assert name in there or f"def {name}(" in source or name == "haul", name


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_package_has_its_line_in_the_house(path, text):
    if path.parent != ROOT:
        assert f"| `{path.relative_to(ROOT)}` |" in chapter(text, "The house")


def test_every_path_that_the_document_names_is_there(text):
    for name in re.findall(r"`((?:logger|analysis|dashboard|tests|\.ci)/[\w./-]+)`", text):
        assert ROOT.joinpath(name).exists() or "NAME" in name, name


def test_seven_ways_take_three_files_at_most_and_the_docstrings_name_them(text):
    rows = [row.split(" | ") for row in chapter(text, "Seven ways").splitlines() if "`" in row]
    assert len(rows) == 7
    for what, files, tests in rows:
        paths = re.findall(r"`([\w.-]+/[\w./-]+)`", files)
        assert 1 <= len(paths) <= 3, what
        assert re.findall(r"`tests/[\w./-]+`", tests), what
        for path in map(Path, paths):
            if path.suffix == ".py" and path.stem != "NAME":
                assert path.stem in names_in(ROOT / path.parent), f"{what}: {path}"
