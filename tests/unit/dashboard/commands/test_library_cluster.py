"""A library reviewed on a real Dask cluster: scheduler and two workers, processes of their own."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading

import pytest
from support.places import ROOT
from support.sealed_sessions import made

from analysis.sessions.batch import answers, cluster
from analysis.sessions.index import Index
from analysis.sessions.session_row import session_row
from logger.errors import CallFault

distributed = pytest.importorskip("distributed", reason="distributed is not installed")
pytestmark = [
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="other system: no SIGKILL"),
    # the library's own, about sockets and loops of the scheduler's side
    pytest.mark.filterwarnings("ignore"),
]


def started(*argv, folder) -> subprocess.Popen:
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}
    return subprocess.Popen([sys.executable, "-m", *argv], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL,
                            text=True, env=env, cwd=folder)  # fmt: skip


def drained(process: subprocess.Popen) -> threading.Thread:
    """Read what it says, so that it never waits for a reader; the thread ends with the process."""
    thread = threading.Thread(target=process.stderr.read, daemon=True)
    thread.start()
    return thread


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """(address, its two workers)."""
    folder = tmp_path_factory.mktemp("cluster")
    processes = [started("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                         "--dashboard-address", ":0", "--no-show", folder=folder)]  # fmt: skip
    address = ""
    for line in processes[0].stderr:
        if found := re.search(r"tcp://127\.0\.0\.1:[0-9]+", line):
            address = found[0]
            break
    assert address
    readers = [drained(processes[0])]
    for _ in range(2):
        worker = started("distributed.cli.dask_worker", address, "--no-nanny", "--nthreads", "1", "--no-dashboard",
                         "--local-directory", str(folder), folder=folder)  # fmt: skip
        readers.append(drained(worker))
        processes.append(worker)
    with distributed.Client(address, timeout=600, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=600)
    yield address, processes[1:]
    for process in processes:
        process.kill()
        process.wait()
    for process, reader in zip(processes, readers, strict=True):
        reader.join()
        process.stderr.close()


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    folder = tmp_path_factory.mktemp("library")
    for k in range(12):
        made(folder / f"s{k:02d}", hz=10.0, strokes=1, e=0.9 - 0.01 * k)
    return folder


def table(library, cache, executor=None) -> str:
    with Index(library, cache) as index:
        assert index.update(executor).reviewed == 12
        return json.dumps([index.rows(), list(index.gear())])


def test_the_same_table_to_the_bit_and_a_killed_worker_loses_nothing(scheduler, library, tmp_path):
    address, workers = scheduler
    alone = table(library, tmp_path / "alone")
    assert table(library, tmp_path / "cluster", lambda count: cluster(address)) == alone
    # again, with one worker killed while there is work to do
    paths = sorted(str(p) for p in library.iterdir())
    found = {}
    with cluster(address) as executor:
        for path, answer in answers(session_row, paths, executor):
            if not found:
                workers[0].kill()
            found[path] = answer
    assert workers[0].wait(600) == -signal.SIGKILL and workers[1].poll() is None
    assert found == {path: session_row(path) for path in paths}


def test_the_command_takes_an_address(scheduler, library, haul, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    address, _ = scheduler
    said = haul("library", library, "--scheduler", address, "--json")
    assert said.status == 0, said.err
    assert len(json.loads(said.out)["sessions"]) == 12


@pytest.mark.leaves("the loop of `distributed`'s client, which it keeps for the next one")
def test_where_no_scheduler_answers_is_one_line(library, haul, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("analysis.sessions.batch.ANSWERS_WITHIN", "1s")
    for address in ("tcp://127.0.0.1:1", "nonsense://", ""):
        said = haul("library", library, "--scheduler", address)
        assert said.status == 2 and said.err.count("\n") == 1 and "scheduler" in said.err, said


def test_without_the_extra_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(CallFault, match=r"pip install '.\[cluster\]'"),
        cluster("tcp://127.0.0.1:1"),
    ):
        pass
