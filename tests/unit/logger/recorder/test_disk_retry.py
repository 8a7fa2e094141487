"""What another program does to a growing session is told while it is recorded."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

from support.disks import NoSync, disk
from support.waiting import until
from support.yard import Running, Yard, recording

from logger.recorder.request_inbox import ask
from logger.session.verify import verify
from logger.transports.simulated import PtyDevice


def news(running: Running) -> str:
    return "\n".join(line for _, status in list(running.statuses) for line in status.news)


def test_a_table_that_is_cut_is_told_at_once(yard: Yard, counting_device: PtyDevice) -> None:
    with recording(yard) as running:
        counting_device.send(yard.lines(0, 50), 1.0)
        until(lambda: len(yard.values()) == 50)
        size = (yard.out / "readings.csv").stat().st_size
        os.truncate(yard.out / "readings.csv", 100)
        until(lambda: "disk" in yard.kinds())
        (row,) = [event for event in yard.events() if event.kind == "disk"]
        assert f"cut {size - 100} bytes off readings.csv" in row.text
        until(lambda: row.text in news(running))
        counting_device.send(yard.lines(50, 10), 1.0)
        until(lambda: 59.0 in yard.values())
        assert yard.kinds().count("disk") == 1  # told once
        running.end()
    assert verify(yard.out).changed == ("readings.csv",)


def test_bytes_that_another_program_adds_are_told_too(
    yard: Yard, counting_device: PtyDevice
) -> None:
    with recording(yard):
        with (yard.out / "events.csv").open("ab") as file:
            file.write(b"0.1,x,mark,,,forged\n")
        until(lambda: any("wrote 20 bytes into events.csv" in e.text for e in yard.events()))


def test_a_removed_inbox_is_made_again(yard: Yard, counting_device: PtyDevice) -> None:
    with recording(yard):
        shutil.rmtree(yard.out / "inbox")
        until(lambda: (yard.out / "inbox").is_dir())
        request = ask(yard.out, "mark", text="cradle on the rail")
        until(lambda: any(event.id == request for event in yard.events()))
    assert verify(yard.out).state == "complete"


class SlowOnce(NoSync):
    """A disk under load: the seal's first try takes longer than SEAL_S, and fails at its end."""

    def __init__(self) -> None:
        self.tries = 0

    def replace(self, source: Path, target: Path) -> None:
        if target.name == "SHA256SUMS":
            self.tries += 1
            if self.tries == 1:
                time.sleep(1.6)  # longer than SEAL_S, as a disk under load takes
                raise OSError(5, os.strerror(5))
        super().replace(source, target)


def test_a_seal_that_a_slow_disk_refuses_once_is_tried_again(
    yard: Yard, counting_device: PtyDevice
) -> None:
    layer = SlowOnce()
    with disk(layer), recording(yard) as running:
        outcome = running.end()
    assert (outcome.state, layer.tries) == ("sealed", 2)
    assert verify(yard.out).state == "complete"
