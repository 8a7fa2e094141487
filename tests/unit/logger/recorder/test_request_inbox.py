"""Requests are taken in the order in which they were made, also where the file system dates them alike."""

from __future__ import annotations

import os
from pathlib import Path

from support.yard import Yard, force

from logger.recorder.request_inbox import Inbox, ask, ask_rig_text
from logger.session.descriptor import INBOX


def test_requests_of_one_tick_of_the_file_system_keep_their_order(tmp_path: Path) -> None:
    """A move and the rig that follows it are made within a millisecond; many file systems date files by 4 ms."""
    yard = Yard(tmp_path, force("/dev/null"))
    writer = yard.create()
    made = []
    for step in range(1, 11):
        made.append(ask(yard.out, "move", step=step))
        made.append(ask_rig_text(yard.out, 'title = "slipway"\n'))
    for path in (yard.out / INBOX).iterdir():
        os.utime(path, ns=(10**18, 10**18))
    assert [request.id for request in Inbox(yard.out).poll()] == made
    writer.abandon()
