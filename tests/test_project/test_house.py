"""A stranger finds the file: what DEVELOPERS.md and the packages' docstrings name is there, and all of it."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("logger", "analysis", "dashboard")
PACKAGES = sorted(p.parent for room in ROOMS for p in (ROOT / room).rglob("__init__.py"))
# modules that the documents name already, of rooms that are being rebuilt: each name goes with its file
COMING = {
    "logger/channels/channel", "logger/channels/line_formats", "logger/transports/base",
    "logger/transports/reader_thread", "logger/transports/registry", "logger/recorder/alarm_judge",
    "logger/recorder/disk_retry", "logger/recorder/port_warnings", "logger/recorder/reading_intake",
    "logger/recorder/reading_ledger", "analysis/numeric", "analysis/signals/noise_floor",
    "analysis/strokes/cell_track", "analysis/strokes/complete_seconds",
    "analysis/strokes/stroke_accumulator", "analysis/strokes/stroke_sums",
    "analysis/live/current_loads", "analysis/live/events_so_far", "analysis/live/live_state",
    "analysis/live/rig_in_use", "analysis/review/shown_rows", "analysis/rig_file/body_places",
    "analysis/rig_file/consistency", "analysis/rig_file/draft", "analysis/rig_file/item_tables",
    "analysis/rig_file/rope_paths", "dashboard/live/follower_thread", "dashboard/live/load_display",
    "dashboard/live/publisher", "dashboard/text/result_rows", "dashboard/text/table_rows",
    "tests/test_logger/test_seams",
}  # fmt: skip
GOING = {"dashboard/live/loads_now"}  # modules that are being replaced, and are not named any more


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
    going = {Path(name).name for name in GOING if ROOT / name in map(path.joinpath, own_names(path))}
    assert own_names(path) - going - set(names_in(path)) == set()


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_a_packages_docstring_names_is_there(path):
    there = {p.stem for room in ROOMS for p in (ROOT / room).rglob("*.py")}
    there |= {p.name for p in PACKAGES} | {Path(name).name for name in COMING}
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
        there = ROOT.joinpath(name).exists() or name.removesuffix(".py") in COMING
        assert there or "NAME" in name, name


def test_no_name_waits_for_a_file_that_is_there():
    assert [name for name in sorted(COMING) if (ROOT / f"{name}.py").exists()] == []
    assert [name for name in sorted(GOING) if not (ROOT / f"{name}.py").exists()] == []


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
