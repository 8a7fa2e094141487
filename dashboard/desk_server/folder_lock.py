"""One desk a folder: a lock that the system frees when the desk's process ends, however it ends."""

from __future__ import annotations

import contextlib
from pathlib import Path

from dashboard.desk.desk_page import STORE
from logger.errors import CallFault
from logger.filesystem import read_plain, write_atomic
from logger.session import lock

NAME = "desk.lock"
ADDRESS = "desk.address"  # where the running desk answers, for whoever starts a second one
MOST = 200  # bytes of an address


class FolderLock:
    """The lock of a folder, held from its making to `release`.

    Raises CallFault where another desk holds it, and where the folder is missing or can't be written to.
    """

    def __init__(self, folder: Path) -> None:
        self._store = folder / STORE
        if not folder.is_dir():
            what = "is a file" if folder.exists() else "there is no such folder"
            raise CallFault(folder, what, "make the folder, or give one that exists")
        if self._store.is_symlink():
            raise CallFault(
                self._store, "is a link, which may lead out of the folder", "take it away"
            )
        try:
            self._store.mkdir(exist_ok=True)
            held = lock.acquire(self._store, NAME)
        except OSError as error:
            raise CallFault(
                folder,
                f"the desk cannot write there ({error.strerror or error})",
                "make the folder writable",
            ) from None
        if held is None:
            at = self._other()
            raise CallFault(
                folder,
                "another desk serves this folder" + (f", at {at}" if at else ""),
                "use that one, or end it",
            )
        self._held = held

    def tell(self, address: str) -> None:
        """Write where this desk answers, without any code."""
        with contextlib.suppress(OSError):
            write_atomic(self._store / ADDRESS, address.encode())

    def release(self) -> None:
        """Free the folder for another desk."""
        with contextlib.suppress(OSError):
            (self._store / ADDRESS).unlink(missing_ok=True)
        self._held.release()

    def _other(self) -> str:
        """The address of the desk that holds the lock; "" where it isn't known."""
        try:
            text = read_plain(self._store / ADDRESS, MOST).decode("ascii")
        except (OSError, ValueError):
            return ""
        return text if text.startswith("http://") and text.isprintable() else ""
