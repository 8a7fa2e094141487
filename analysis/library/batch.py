"""The same function for many sessions: here, on all cores, or on a cluster; nothing is lost.

A worker that dies loses only its own try: what it had is done again, at last in this process.
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
ANSWERS_WITHIN = "10s"  # a scheduler
ALONE = 8  # sessions; speed only: up to here, starting processes takes longer than the work


def answers(
    function: Callable[[str], Answer], paths: Sequence[str], executor: Executor | None = None
) -> Iterator[tuple[str, Answer | None]]:
    """(path, function(path)) as they come.  function: of a module, raises nothing of its own.

    executor: where it runs; None: in this process.  None for a session that killed every process
    which tried it.
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
        except Exception:  # function raises nothing: the worker died, or the way to it
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
    """An executor for this many sessions on all cores; None where they are too few to be worth it."""
    cores = workers or len(_cores())
    if count <= ALONE or cores < 2:
        yield None
        return
    # spawn: the same on every system, and safe beside threads
    with ProcessPoolExecutor(min(cores, count), mp_context=get_context("spawn")) as pool:
        yield pool


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """The executor of an existing Dask cluster.  Raises CallFault where there is none to reach.

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
        # pure=False: a session that changed must not be answered from what was kept
        yield client.get_executor(pure=False)
    finally:
        client.close()


def _cores() -> Any:
    if hasattr(os, "sched_getaffinity"):
        return os.sched_getaffinity(0)
    return range(os.cpu_count() or 1)


def _one_by_one(
    function: Callable[[str], Answer], paths: Sequence[str]
) -> Iterator[tuple[str, Answer | None]]:
    """What is left over after a process died: one of them is the cause, and gets a process that
    may die."""
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
