"""A test that leaves a descriptor, a thread or a process behind fails itself, and no other one does."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from support.places import ROOT
from support.systems import linux

TESTS = """
import os, socket, subprocess, sys, threading, time
import pytest

KEPT = []
SLEEP = [sys.executable, "-c", "import time; time.sleep(600)"]
FORGETS = ("import subprocess, sys; "  # waits until the other one runs
           "p = subprocess.Popen([sys.executable, '-c', 'import time; print(flush=True); time.sleep(600)'], "
           "start_new_session=True, stdout=subprocess.PIPE); p.stdout.readline()")

def test_descriptor(): KEPT.append(socket.socket())

def test_file(tmp_path): KEPT.append(os.open(tmp_path / "x", os.O_CREAT | os.O_RDWR))

def test_thread():
    event = threading.Event()
    KEPT.append(event)
    threading.Thread(target=event.wait, daemon=True, name="forgotten").start()

def test_child(): KEPT.append(subprocess.Popen(SLEEP))

def test_process_of_a_process(): subprocess.run([sys.executable, "-c", FORGETS], check=True)

@pytest.fixture(scope="module")
def wider():
    child = subprocess.Popen(SLEEP)
    with socket.socket():
        yield
    child.kill()
    child.wait()

def test_with_a_wider_fixture(request): request.getfixturevalue("wider")

@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    path = tmp_path_factory.mktemp("session") / "clock.csv"
    numbers = [os.open(path, os.O_CREAT | os.O_RDONLY)]
    yield path, numbers
    os.close(numbers[0])

def test_opened_before(followed): pass

def test_a_wider_fixture_opens_its_file_again(followed):
    path, numbers = followed
    again = os.open(path, os.O_RDONLY)
    os.close(numbers[0])
    numbers[0] = again

def test_clean_after_the_others(tmp_path):
    with socket.socket(), open(tmp_path / "y", "w"):
        child = subprocess.Popen(SLEEP)
        child.kill()
        child.wait()
    thread = threading.Thread(target=time.sleep, args=(0.05,))
    thread.start()
"""


@linux
@pytest.mark.many
def test_what_a_test_leaves_behind_is_named_and_fails_it(tmp_path: Path) -> None:
    (tmp_path / "conftest.py").write_text(
        "from support.leftovers import nothing_left, pytest_fixture_setup\n"
    )
    (tmp_path / "test_some.py").write_text(TESTS)
    call = [sys.executable, "-m", "pytest", "-v", "-n0", "-rE", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [*call, "-p", "no:dash", "--rootdir", str(tmp_path), str(tmp_path)],
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]),
            "COLUMNS": "500",  # the summary's lines are whole
            "HAUL_GONE_WITHIN_S": "0.02",
        },
        capture_output=True,
        text=True,
        cwd=tmp_path,
        timeout=300,
    )
    for pid in re.findall(r"left behind: .*?process ([0-9]+):", done.stdout):
        with suppress(ProcessLookupError):
            os.kill(int(pid), signal.SIGKILL)
    row = r"ERROR test_some.py::test_(\w+) - .*?left behind: (.*)"
    left = dict(re.findall(row, done.stdout))
    assert set(left) == {"descriptor", "file", "thread", "child", "process_of_a_process"}, (
        done.stdout
    )
    assert "socket:" in left["descriptor"] and str(tmp_path.name) not in left["descriptor"]
    assert re.match(r"descriptor [0-9]+ of /", left["file"])
    assert left["thread"] == "thread forgotten"
    assert "process " in left["child"] and "process " in left["process_of_a_process"]
