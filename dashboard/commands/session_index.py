"""The index of a folder's sessions, which `haul library` and `haul gear` open and bring up to date."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.sessions.index import Index, Update


def add_index(parser: argparse.ArgumentParser) -> None:
    """Add the options of a command that reads a folder of sessions."""
    parser.add_argument(
        "--rebuild", action="store_true", help="delete the index and review every session again"
    )
    parser.add_argument(
        "--scheduler", metavar="ADDRESS",
        help="review on the Dask cluster of this scheduler (needs the extra `cluster`)",
    )  # fmt: skip


@contextlib.contextmanager
def open_index(args: argparse.Namespace) -> Any:
    """A context with (the index of args.folder, brought up to date; what the update did)."""
    from analysis.sessions.batch import cluster, processes
    from analysis.sessions.index import Index

    with Index(Path(args.folder)) as index:
        executor: Callable[[int], Any] = processes
        if args.scheduler is not None:
            address = args.scheduler

            def on_cluster(count: int) -> Any:
                """An executor on the cluster, for any number of reviews."""
                return cluster(address)

            executor = on_cluster
        yield index, _updated(index, executor, args)


def _updated(index: Index, executor: Callable[[int], Any], args: argparse.Namespace) -> Update:
    shown = sys.stderr is not None and sys.stderr.isatty() and not args.json

    def progress(done: int, total: int) -> None:
        """Print how many sessions are reviewed, over the line before."""
        print(
            f"\rreviewed {done} of {total}",
            end="" if done < total else "\n",
            file=sys.stderr,
            flush=True,
        )

    return index.update(executor, progress if shown else None, rebuild=args.rebuild)
