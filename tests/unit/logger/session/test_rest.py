"""A look at a session that another process repairs meanwhile tells of no change that nobody made."""

from __future__ import annotations

import pytest
from support.disks import NoSync, disk
from support.yard import Yard, unsealed

from logger.session import lock, seal
from logger.session.reader import session_state
from logger.session.rest import MOST_TRIES, judged_at_rest
from logger.session.verify import repair, verify


def test_a_look_across_a_repair_is_taken_again(yard: Yard) -> None:
    folder = unsealed(yard)
    looks = 0

    def look() -> str:
        nonlocal looks
        looks += 1
        first = seal.own_hashes(folder)  # of before the repair
        if looks == 1:
            with disk(NoSync()):
                repair(folder)
        second = seal.own_hashes(folder)
        return "changed" if first.sealed != second.sealed else "complete"

    assert judged_at_rest(folder, look) == "complete" and looks == 2


def test_a_session_that_is_repaired_now_is_growing(yard: Yard) -> None:
    folder = unsealed(yard)
    held = []
    assert judged_at_rest(folder, lambda: held.append(lock.acquire(folder)) or "changed") is None
    assert verify(folder).state == session_state(folder) == "growing"
    held[0].release(remove=True)
    assert verify(folder).state == session_state(folder) == "cut short"


def test_a_file_that_goes_while_it_is_read_is_read_again(yard: Yard) -> None:
    folder = unsealed(yard)
    temporary = folder / ".datapackage.json.1.tmp"
    temporary.write_bytes(b"{")

    def look() -> int:
        size = temporary.stat().st_size if temporary.exists() else 0
        if size:
            temporary.unlink()
            temporary.stat()
        return size

    assert judged_at_rest(folder, look) == 0


def test_a_fault_that_stays_is_raised_and_files_that_always_change_are_judged_at_last(
    yard: Yard,
) -> None:
    folder = unsealed(yard)
    with pytest.raises(FileNotFoundError):
        judged_at_rest(folder, lambda: (folder / "gone").stat())
    looks: list[int] = []

    def look() -> int:
        with (folder / "note.txt").open("a") as file:
            file.write("x")
        looks.append(len(looks))
        return looks[-1]

    assert judged_at_rest(folder, look) == MOST_TRIES - 1
