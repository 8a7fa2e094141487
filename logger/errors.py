"""The errors that a user can correct, one tree.

    UserFault
     ├─ RigFault        the rig file
     ├─ SensorsFault    the sensors or a calibration file
     ├─ SessionFault    a session folder or a table to import
     ├─ PortFault       a serial port
     └─ CallFault       the command line or a request

Any other exception is a defect of the program; the command line logs it and exits with 3.
"""

from __future__ import annotations

import os

MOST_CURE = 600  # characters, chosen by us: the list of all keys of a channel fits


class UserFault(Exception):
    """An error that the user can correct; prints as one line: file, place, fault, cure.

    file: the file, port or call at fault
    place: table, key, line or station within it; "" for the whole
    fault: what is wrong
    cure: what to write or do instead; "" if nothing helps
    station: (rope, station) in a rig file, from 0, where the fault is at one; None elsewhere
    """

    station: tuple[int, int] | None = None

    def __init__(
        self, file: str | os.PathLike[str], fault: str, cure: str = "", place: str = ""
    ) -> None:
        self.file = one_line(os.fspath(file))
        self.place = one_line(place)
        self.fault = one_line(fault)
        self.cure = one_line(cure, MOST_CURE)
        super().__init__(self.file, self.fault, self.cure, self.place)

    def __str__(self) -> str:
        where = f"{self.file}: {self.place}" if self.place else self.file
        return f"{where}: {self.fault}" + (f"; {self.cure}" if self.cure else "")


class RigFault(UserFault):
    """The rig file has an error, or describes a rig that cannot work."""


class SensorsFault(UserFault):
    """The sensors file or a calibration file has an error."""


class SessionFault(UserFault):
    """A session folder, or a table to import, cannot be used as asked."""


class PortFault(UserFault):
    """A serial port cannot be opened or served."""


class CallFault(UserFault):
    """The command line, or a request to a running program, asks for something impossible."""


def one_line(text: str, most: int = 400) -> str:
    """The text on one line, without control characters, cut to `most` characters."""
    clean = "".join(c if c.isprintable() else " " for c in str(text))
    clean = " ".join(clean.split())
    return clean if len(clean) <= most else clean[: most - 1] + "…"
