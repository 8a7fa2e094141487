"""Runs one function for many sessions, in this process, on all cores or on a cluster.

The work of a worker process that dies is done again, so no session is lost.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any, TypeVar

from logger.errors import CallFault, one_line

Answer = TypeVar("Answer")
ANSWERS_WITHIN = "10s"  # time for a scheduler to answer
ALONE = 8  # sessions; speed only: for fewer, starting processes takes longer than the work


def answers(
    function: Callable[[str], Answer], paths: Sequence[str], executor: Executor | None = None
) -> Iterator[tuple[str, Answer | None]]:
    """Yield (path, function(path)) in order of completion.

    function: a module-level function that catches its own errors; executor: where it runs, None: in this
    process.  The answer is None for a session that killed every process which tried it.
    """
    if executor is None:
        for path in paths:
            yield path, function(path)
        return
    waiting: dict[Future[Answer], str] = {}
    lost: list[str] = []
    for k, path in enumerate(paths):
        try:
            waiting[executor.submit(function, path)] = path
        except Exception:  # the pool broke, or the cluster went away, while work was handed out
            lost += paths[k:]
            break
    for future in as_completed(waiting):
        path = waiting[future]
        try:
            answer = future.result()
        except Exception:  # function raises nothing, so the worker or the connection to it died
            lost.append(path)
            continue
        yield path, answer
    if isinstance(executor, ProcessPoolExecutor):
        yield from _one_by_one(function, lost)
        return
    for path in lost:  # the cluster went away
        yield path, function(path)


@contextmanager
def processes(count: int, workers: int | None = None) -> Iterator[Executor | None]:
    """Provide an executor on all cores for `count` sessions; None where they are too few to be worth it.

    workers: number of processes, None: one for each core.
    """
    cores = workers or len(_cores())
    if count <= ALONE or cores < 2:
        yield None
        return
    # spawn: the same on every system, and safe beside threads
    with ProcessPoolExecutor(min(cores, count), mp_context=get_context("spawn")) as pool:
        yield pool


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Provide the executor of a running Dask cluster; raises CallFault where none can be reached.

    Its workers must see the folder under the same path and have this program installed.
    """
    try:
        from distributed import Client
    except ImportError:
        raise CallFault(
            "library", "--scheduler needs the package distributed, which is not installed",
            "install the extra: pip install '.[cluster]'",
        ) from None  # fmt: skip
    try:
        client = Client(address, timeout=ANSWERS_WITHIN, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise CallFault(
            "library", f"no scheduler answers at {one_line(address, 80)} ({one_line(str(error), 120)})",
            "give the address that `dask scheduler` prints, such as tcp://10.0.0.5:8786",
        ) from None  # fmt: skip
    try:
        if not client.scheduler_info().get("workers"):
            raise CallFault("library", f"the scheduler at {one_line(address, 80)} has no worker",
                            "start `dask worker ADDRESS` on the machines that are to work")  # fmt: skip
        # pure=False: a session that changed must not be answered from the cluster's cache
        yield client.get_executor(pure=False)
    finally:
        client.close()


def _cores() -> Any:
    """The cores that this process may use; only their number matters."""
    if hasattr(os, "sched_getaffinity"):
        return os.sched_getaffinity(0)
    return range(os.cpu_count() or 1)


def _one_by_one(
    function: Callable[[str], Answer], paths: Sequence[str]
) -> Iterator[tuple[str, Answer | None]]:
    """Run the sessions that remain after a process died, one at a time, so that only the cause fails.

    Each runs in a process that may die; the answer is then None.
    """
    pool: ProcessPoolExecutor | None = None
    try:
        for path in paths:
            pool = pool or ProcessPoolExecutor(1, mp_context=get_context("spawn"))
            try:
                answer = pool.submit(function, path).result()
            except BrokenProcessPool:
                pool.shutdown()
                pool = None
                yield path, None
                continue
            yield path, answer
    finally:
        if pool is not None:
            pool.shutdown()
