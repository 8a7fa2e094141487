"""The scripts of the pages: modules without globals, and checks that bring nothing into the program."""

import json
import re
import subprocess
from pathlib import Path

import pytest

from dashboard.web import assets

ROOT = Path(__file__).resolve().parents[2]
WEB = ROOT / ".ci" / "web"
SCRIPTS = sorted(assets.FOLDER.rglob("*.js"))
NO_COMMENT = re.compile(r"/\*.*?\*/|(?<!:)//[^\n]*", re.S)


def code(path):
    return NO_COMMENT.sub("", path.read_text("utf-8"))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: str(p.relative_to(assets.FOLDER)))
def test_a_script_is_a_module_whose_imports_are_there(path):
    text = code(path)
    for name in re.findall(r'from "([^"]+)"|import\("([^"]+)"\)', text):
        target = (path.parent / (name[0] or name[1])).resolve()
        assert target.is_file() and assets.FOLDER in target.parents, name
        subject = target.relative_to(assets.FOLDER).parts[0]
        assert subject in ("shared", path.relative_to(assets.FOLDER).parts[0]), name
    # the one global is what browser tests read
    assert set(re.findall(r"window\.(\w+) = ", text)) <= {"haulTest"}
    reads = set(re.findall(r"haulTest(?! = )", text))
    assert not reads


@pytest.mark.parametrize(
    "entry",
    [
        "check/check.js",
        "convert/convert.js",
        "desk/home.js",
        "live/poll_loop.js",
        "plan/plan.js",
        "review/review.js",
        "rig/rig.js",
        "sensors/sensors.js",
    ],
)
def test_every_module_that_an_entry_leads_to_is_known(entry):
    """So that a page can name them, and a browser fetches them at once."""
    waiting, used = [entry], set()
    while waiting:
        name = waiting.pop()
        used.add(name)
        folder = (assets.FOLDER / name).parent
        for other in re.findall(r'from "([^"]+)"', code(assets.FOLDER / name)):
            found = (folder / other).resolve().relative_to(assets.FOLDER).as_posix()
            waiting += [] if found in used else [found]
    assert assets.imports(entry) == sorted(used - {entry})
    assert "shared/dom.js" in assets.imports(entry)


def test_every_script_belongs_to_a_page():
    entries = (
        "check/check.js",
        "convert/convert.js",
        "desk/home.js",
        "desk/strip.js",
        "live/poll_loop.js",
        "plan/plan.js",
        "result/result.js",
        "review/review.js",
        "rig/rig.js",
        "sensors/sensors.js",
    )
    used = {name for entry in entries for name in (entry, *assets.imports(entry))}
    assert used == {name for name in assets.assets().files if name.endswith(".js")}


def test_the_checks_are_no_part_of_the_program():
    package = json.loads((WEB / "package.json").read_text("utf-8"))
    assert package["private"] is True and set(package) & {"dependencies", "bin", "main"} == set()
    lock = (WEB / "package-lock.json").read_text("utf-8")
    assert '"resolved"' not in lock and "registry" not in lock
    locked = json.loads(lock)["packages"]
    assert locked[""]["devDependencies"] == package["devDependencies"]
    assert all("integrity" in one for name, one in locked.items() if name)
    assert "node_modules/" in (ROOT / ".gitignore").read_text("utf-8").split()


def test_without_node_the_checks_that_were_not_run_are_named(tmp_path):
    for command in ("bash", "dirname"):
        found = subprocess.run(["which", command], capture_output=True, text=True, check=True)
        (tmp_path / command).symlink_to(found.stdout.strip())
    for ci, status in (("", 0), ("1", 1)):
        ran = subprocess.run(
            [str(tmp_path / "bash"), str(WEB / "check")], capture_output=True, text=True,
            env={"PATH": str(tmp_path), "HAUL_CI": ci},
        )  # fmt: skip
        assert ran.returncode == status
        for name in ("tsc --checkJs", "eslint", "node --test"):
            assert name in ran.stdout.split("Not run:")[1]
