"""One odd session in a folder fails alone, in one row that says why, in bounded time and memory."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.places import ROOT
from support.sealed_sessions import made
from support.waiting import patience

from dashboard.cli import main
from dashboard.live.session_hub import Hub, sessions_in
from dashboard.watch.session_list import page
from logger.session.descriptor import DESCRIPTOR, SUMS
from logger.session.verify import verify

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other system: no pipes, no uid")
NOBODY = 65534  # user id without any right
WITHIN_S = (
    20.0  # far more than reading four short sessions takes, far less than a pipe without an end
)
MOST_MB = (
    700  # far more than numpy and four short sessions take, far less than a descriptor of 1 GB
)


PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True)
peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
print(peak * (1 if sys.platform == "darwin" else 1024))
"""


def pipe(session: Path) -> None:
    (session / SUMS).unlink()
    os.mkfifo(session / SUMS)


def endless(session: Path) -> None:
    (session / SUMS).unlink()
    (session / SUMS).symlink_to("/dev/zero")


def huge(session: Path) -> None:
    with (session / DESCRIPTOR).open("r+b") as file:
        file.truncate(1_000_000_000)  # sparse


def descriptor_pipe(session: Path) -> None:
    (session / DESCRIPTOR).unlink()
    os.mkfifo(session / DESCRIPTOR)


def no_entry(session: Path) -> None:
    session.chmod(0)


ODD = {
    pipe: "SHA256SUMS: cannot be read (it is not a plain file)",
    endless: "SHA256SUMS: cannot be read (it is not a plain file)",
    huge: "datapackage.json: cannot be read (it is larger than 16 MB)",
    descriptor_pipe: "datapackage.json: cannot be read (it is not a plain file)",
    no_entry: "datapackage.json: cannot be read (Permission denied)",
}


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Three sessions and two loops, in a folder that anybody may read."""
    home = Path(tempfile.mkdtemp())
    folder, cache = home / "library", home / "cache"
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    for name in ("a", "odd", "z"):
        made(folder / name, hz=10.0, strokes=1)
    # imports what another user may not read
    for words in (["library", folder], ["gear", folder], ["compare", folder / "a"]):
        main([str(word) for word in words])
    page(folder)
    shutil.rmtree(cache)
    cache.mkdir()
    (folder / "loop").mkdir()
    (folder / "loop" / "itself").symlink_to("itself")
    (folder / "loop" / "up").symlink_to(folder)
    for path in (home, cache):
        path.chmod(0o777)
    root = os.geteuid() == 0
    yield folder
    if root:
        os.seteuid(0)
    for path in folder.iterdir():
        path.chmod(0o755)
    shutil.rmtree(home)


def spoilt(library: Path, spoil: Callable[[Path], None]) -> None:
    """Spoil the session `odd`, and go on as a user without rights."""
    spoil(library / "odd")
    if os.geteuid() == 0:
        os.seteuid(NOBODY)


@pytest.fixture(autouse=True)
def in_time() -> Iterator[None]:
    """Fail, instead of hanging, where the test takes too long."""
    began = time.monotonic()
    stuck = threading.Timer(60 * WITHIN_S, os._exit, (1,))
    stuck.daemon = True
    stuck.start()
    yield
    stuck.cancel()
    assert time.monotonic() - began < 5 * WITHIN_S * patience(began)


@pytest.mark.parametrize(("spoil", "why"), ODD.items(), ids=[f.__name__ for f in ODD])
def test_library_gear_compare_and_list_show_the_others_and_say_why(library, spoil, why, capsys):
    spoilt(library, spoil)

    capsys.readouterr()

    def said(*words: object) -> str:
        assert main([str(word) for word in words]) == 0
        read = capsys.readouterr()
        assert read.err == ""
        return read.out

    rows = json.loads(said("library", library, "--json"))["sessions"]
    assert {r["path"]: r["fault"] for r in rows} == {"a": "", "odd": why, "z": ""}
    assert said("library", library).count(f"! odd: {why}") == 1
    gear = json.loads(said("gear", library, "--json"))
    assert {item["sessions"] for item in gear["items"]} == {2}
    assert [w for w in gear["warnings"] if "odd" in w] == [f"odd is not counted: {why}"]
    assert said("gear", library).count(f"! odd is not counted: {why}") == 1
    folders = [library / name for name in ("a", "odd", "z")]
    compared = json.loads(said("compare", *folders, "--json"))
    assert [Path(r["session"]).name for r in compared["sessions"]] == ["a", "z"]
    assert len(compared["warnings"]) == 1 and compared["warnings"][0].endswith(why)
    assert said("compare", *folders).count(why) == 1
    assert sorted(sessions_in(library)) == ["a", "odd", "z"]
    listed = page(library)
    assert listed.count(f"cannot be read: {why}") == 1 and listed.count(">sealed<") == 2
    judged = verify(library / "odd")
    assert judged.state in ("unreadable", "changed")
    if spoil in (pipe, endless):
        assert judged.details == ("SHA256SUMS cannot be read (it is not a plain file)",)


def test_compare_of_nothing_readable_is_a_fault(library, capsys):
    spoilt(library, pipe)
    assert main(["compare", str(library / "odd"), str(library / "odd")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_folder_of_folders_that_may_not_be_entered_is_listed_and_one_that_is_named_is_a_fault(
    library,
):
    spoilt(library, no_entry)
    from logger.errors import CallFault

    hub = Hub(library, lambda error: None)
    hub.close()
    with pytest.raises(CallFault, match="cannot be entered"):
        Hub(library / "odd", lambda error: None)


def test_the_row_goes_when_the_cause_goes(library, capsys):
    original = (library / "odd" / SUMS).read_bytes()
    pipe(library / "odd")
    main(["library", str(library), "--json"])
    (library / "odd" / SUMS).unlink()
    (library / "odd" / SUMS).write_bytes(original)
    capsys.readouterr()
    main(["library", str(library), "--json"])
    rows = json.loads(capsys.readouterr().out)["sessions"]
    assert [(r["state"], r["fault"]) for r in rows] == [("sealed", "")] * 3


@pytest.mark.parametrize("spoil", [pipe, endless, huge])
def test_memory_is_bounded(library, spoil):
    """A small process starts `haul` and prints the peak of its memory: a child of this large one would
    count the memory of this one as its own (getrusage counts from fork on)."""
    spoil(library / "odd")
    call = [sys.executable, "-c", PEAK, sys.executable, "-P", "-m", "dashboard.cli", "library"]
    done = subprocess.run(
        [*call, str(library)],
        capture_output=True,
        text=True,
        timeout=60 * WITHIN_S,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=True,
    )
    out, _, peak = done.stdout.rstrip().rpartition("\n")
    assert done.stderr == "" and "! odd: " in out
    assert 20 < int(peak) / 1e6 < MOST_MB
