"""Writes a session folder: makes it, appends rows, syncs, seals.

Only the recorder's writer thread, the importer and the repair use it; nothing else writes in a
session.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from logger import filesystem as files
from logger.channels.channel import Sensors
from logger.channels.sensors_file import calibration_copy_name
from logger.clock import utc_text
from logger.errors import SensorsFault, SessionFault, one_line
from logger.filesystem import make_folder, sync_folder, write_atomic
from logger.session import descriptor as package
from logger.session import lock
from logger.session.append_file import Appender
from logger.session.descriptor import csv_line
from logger.session.records import Event
from logger.session.seal import sums_text
from logger.session.unbegun_session import clear_unbegun, is_unbegun
from logger.session.write_journal_writer import MarkWriter

MOST_REJECTS = 1_000_000  # bytes; interface section 4


class SessionWriter:
    """A session being written; made by `create` or `resume`, ended by `seal` or `abandon`.

    folder: the session folder; descriptor: its descriptor, as of an unsealed session
    """

    def __init__(
        self,
        folder: Path,
        descriptor: dict[str, Any],
        held: lock.SessionLock,
        resume: Mapping[str, tuple[int, Any]] | None = None,
    ) -> None:
        self.folder = folder
        self.descriptor = descriptor
        self._lock = held
        self._copies: dict[str, tuple[str, int]] = {}
        self._copied: dict[str, bytes] = {}
        self._files: dict[str, Appender] = {}
        self._marks = MarkWriter(folder)
        try:
            if resume is None:
                self._marks.begin()
            for name in package.TABLES:
                state, announce = resume[name] if resume else None, partial(self._marks.mark, name)
                self._files[name] = Appender(folder / name, state, announce)
            if resume is not None:
                self._marks.replace({n: file.digest() for n, file in self._files.items()})
        except OSError:
            self._close()
            raise
        self._own_ids = 0
        self._foreign_reported = dict.fromkeys(package.TABLES, 0)

    # -- making ------------------------------------------------------------------------------
    @classmethod
    def create(
        cls,
        out: Path,
        rig: bytes,
        sensors: Sensors,
        *,
        source: str = "record",
        simulation_true: Mapping[str, Any] | None = None,
        started_at: str | None = None,
    ) -> SessionWriter:
        """Make a new session in `out`, which must be missing or an empty folder.

        rig: text of the rig file, UTF-8
        sensors: channels, whose file and calibration files are copied
        source: "record" or "import"
        simulation_true: true values of a simulation; None: a real haul
        started_at: start of the recording, RFC 3339 in UTC; None: now
        Raises SessionFault, or SensorsFault for a calibration file, after removing what it made.
        """
        check_out(out)
        existed = out.exists()
        try:
            make_folder(out)
            held = lock.acquire(out)
        except OSError as error:
            if not existed:
                with contextlib.suppress(OSError):
                    out.rmdir()  # empty, or it stays
            raise _cannot(out, error) from None
        if held is None:
            raise _other_recorder(out)
        try:
            check_out(out, locked=True)
            if is_unbegun(out):
                clear_unbegun(out)
            describe = package.descriptor(
                sensors.channels, started_at or utc_text(), source, simulation_true
            )
            writer = cls(out, describe, held)
            try:
                writer._begin(rig, sensors)
            except BaseException:
                writer._close()
                raise
        except BaseException as error:
            # remove what was made; a SessionFault means that another process has filled the folder
            if not isinstance(error, SessionFault):
                _clear(out, existed)
            held.release()
            if isinstance(error, OSError):
                raise _cannot(out, error) from None
            raise
        return writer

    def _begin(self, rig: bytes, sensors: Sensors) -> None:
        names = [channel.name for channel in sensors.channels]
        for name, header in package.headers(names).items():
            self._files[name].write(csv_line(header))
        self.copy(package.RIG, rig)
        self.copy(package.SENSORS, sensors.text.encode("utf-8"))
        folder = Path(sensors.file).parent
        for channel in sensors.channels:
            if channel.calibration_file is None:
                continue
            files.ops.mkdir(self.folder / package.CALIBRATION)
            try:
                data = (folder / channel.calibration_file).read_bytes()
            except OSError as error:
                raise SensorsFault(
                    channel.calibration_file,
                    f"cannot be read ({error.strerror})",
                    "put the calibration file where the sensors file says",
                ) from None
            name = calibration_copy_name(channel.calibration_file)
            self.copy(f"{package.CALIBRATION}/{name}", data)
        files.ops.mkdir(self.folder / package.INBOX)
        self.sync()
        # last, because a folder with a descriptor counts as a session: all other files are durable
        write_atomic(self.folder / package.DESCRIPTOR, package.to_bytes(self.descriptor))

    @classmethod
    def resume(
        cls,
        folder: Path,
        descriptor: dict[str, Any],
        held: lock.SessionLock,
        own_ids: int,
    ) -> SessionWriter:
        """Open a session that was cut short, to seal it; for the repair.  Raises OSError.

        descriptor: as of an unsealed session; held: the folder's lock; own_ids: highest number of
            an
        event's own id so far.
        """
        state: dict[str, tuple[int, Any]] = {}
        for name in package.TABLES:
            hasher, size = hashlib.sha256(), 0
            with contextlib.suppress(FileNotFoundError), (folder / name).open("rb") as file:
                while piece := file.read(1 << 20):
                    hasher.update(piece)
                    size += len(piece)
            state[name] = (size, hasher)
        writer = cls(folder, descriptor, held, state)
        writer._own_ids = own_ids
        return writer

    def write_header(self, name: str, header: Iterable[str]) -> None:
        """Write the header of a table if the table is empty; raises OSError."""
        if not self._files[name].size:
            self._files[name].write(csv_line(tuple(header)))

    def copy(self, name: str, data: bytes) -> None:
        """Write a file with content `data` into the session, to be sealed; raises OSError."""
        write_atomic(self.folder / name, data)
        self._copied[name] = data
        self.add_to_seal(name, hashlib.sha256(data).hexdigest(), len(data))

    def add_to_seal(self, name: str, digest: str, size: int) -> None:
        """Have the seal cover a file of the folder; digest: its SHA-256 (hex); size: in bytes."""
        self._copies[name] = (digest, size)

    # -- appending: each raises OSError and keeps what could not be written --------------------
    def readings(self, rows: bytes) -> None:
        """Append complete rows of readings.csv; raises OSError."""
        self._files[package.READINGS].write(rows)

    def event(
        self,
        time_s: float,
        kind: str,
        channel: str = "",
        value: float | None = None,
        text: str = "",
        request: str | None = None,
    ) -> Event:
        """Append a row to events.csv and return it; raises OSError.

        time_s: s since the recording started; value: see `Event.value`; request: id of the request
        that it answers, None for an id of its own.
        """
        if request is None:
            self._own_ids += 1
            request = f"r{self._own_ids:06d}"
        row = Event(
            time_s=round(time_s, 4),
            id=request,
            kind=kind,
            channel=channel,
            value=value,
            text=one_line(text),
        )
        shown = "" if value is None else repr(value)
        cells = (f"{time_s:.4f}", request, kind, channel, shown, row.text)
        self._files[package.EVENTS].write(csv_line(cells))
        return row

    def clock(self, time_s: float, utc: str, counts: Iterable[int]) -> None:
        """Append a row to clock.csv; raises OSError.

        time_s: s since the recording started; counts: readings and drops so far, alternating, in
            the
        order of the channels.
        """
        self._files[package.CLOCK].write(csv_line((f"{time_s:.4f}", utc, *counts)))

    def reject(self, time_s: float, port: str, cause: str, line: bytes) -> None:
        """Append a dropped line to rejects.csv, unless that would exceed 1 MB; raises OSError.

        time_s: s since the recording started; cause: why the line was dropped.
        """
        text = line.decode("latin-1").encode("unicode_escape").decode("ascii")
        row = csv_line((f"{time_s:.4f}", one_line(port, 100), cause, text))
        file = self._files[package.REJECTS]
        if file.size + len(file.pending) + len(row) <= MOST_REJECTS:
            file.write(row)

    def unwritten(self, names: Iterable[str]) -> dict[str, int]:
        """Number of rows of readings.csv that the disk has not taken, by channel."""
        lines = self._files[package.READINGS].unwritten().split(b"\n")[:-1]
        labels = {csv_line([name])[:-1]: name for name in names}
        counts: dict[str, int] = {}
        for line in lines:
            name = labels.get(line.partition(b",")[2].rpartition(b",")[0])
            if name is not None:
                counts[name] = counts.get(name, 0) + 1
        return counts

    def retry(self) -> None:
        """Write what earlier failures left and make it durable; raises OSError.

        If the disk refuses only the journal marks, they are given up.
        """
        self._marks.retry()
        self.flush()
        self.sync()

    def flush(self) -> None:
        """Write what earlier failures left; raises OSError."""
        self._marks.flush()
        for file in self._files.values():
            file.flush()

    def sync(self) -> None:
        """Write what earlier failures left and make everything durable; raises OSError."""
        self._marks.flush()
        self._marks.sync()
        for file in self._files.values():
            file.sync()

    def foreign_changes(self) -> list[str]:
        """A sentence for each table that another program cut or lengthened since the last call;
        raises OSError."""
        sentences = []
        for name, file in self._files.items():
            foreign = file.foreign_bytes()
            change, self._foreign_reported[name] = (
                foreign - self._foreign_reported[name], foreign,
            )  # fmt: skip
            if change:
                done = f"cut {-change} bytes off" if change < 0 else f"wrote {change} bytes into"
                sentences.append(
                    f"another program {done} {name}: `haul verify` will call this session changed; "
                    "what is recorded from here on is kept"
                )
        return sentences

    def check_in_place(self) -> None:
        """Raise OSError if the session's files are gone; restore a lost lock, journal or inbox."""
        if not all(file.in_place() for file in self._files.values()):
            raise FileNotFoundError(2, "the session's folder was removed or moved")
        self._marks.check_in_place()
        if not self._lock.in_place():
            self._lock_again()
        if not os.path.lexists(self.folder / package.INBOX):
            with contextlib.suppress(OSError):  # it holds no reading
                files.ops.mkdir(self.folder / package.INBOX)

    def put_back(self) -> None:
        """Write a removed session folder again from the open files, which still hold every row.

        A folder that was only moved stays where it is.  Raises OSError.
        """
        gone = [file for file in self._files.values() if not file.in_place()]
        if not gone or not all(file.removed() for file in gone):
            return
        make_folder(self.folder)
        if not self._lock.in_place():
            self._lock_again()
        for name in (
            package.INBOX,
            *(
                [package.CALIBRATION]
                if any(name.startswith(package.CALIBRATION + "/") for name in self._copied)
                else []
            ),
        ):
            files.ops.mkdir(self.folder / name)
        for name, data in self._copied.items():
            if not (self.folder / name).exists():
                write_atomic(self.folder / name, data)
        for file in gone:
            file.put_back()
        self._marks.put_back()
        if not (self.folder / package.DESCRIPTOR).exists():
            write_atomic(self.folder / package.DESCRIPTOR, package.to_bytes(self.descriptor))
        sync_folder(self.folder)

    def _lock_again(self) -> None:
        # without its lock file a growing session looks like one that was cut short
        held = lock.acquire(self.folder)
        if held is None:
            raise BlockingIOError(11, "another program holds the session's lock")
        self._lock.release(remove=False)
        self._lock = held

    def sync_written(self) -> None:
        """Make durable what was written up to now; raises OSError.

        Another thread than the writing one may call it.
        """
        try:
            self._marks.sync()
        finally:  # a fault of the marks must not keep the readings from being synced
            for file in self._files.values():
                file.sync_written()

    @property
    def unmarked(self) -> str:
        """Why the journal marks were given up; "" while they are written."""
        return self._marks.unmarked

    # -- ending --------------------------------------------------------------------------------
    def seal(self) -> str:
        """Write all hashes and SHA256SUMS; returns the seal's digest (SHA-256, hex).

        Takes the same time at any size, because the hashes were computed while writing.  Raises
        OSError, and may be called again: until it succeeds the session is "cut short".
        """
        with contextlib.suppress(OSError):  # they prove the rows if power fails before the seal
            self._marks.flush()
            self._marks.sync()
        for file in self._files.values():
            file.sync()
        hashes = {name: file.digest() for name, file in self._files.items()}
        self._marks.begin_sealing(hashes)
        hashes.update(self._copies)
        data = package.sealed_descriptor(self.descriptor, hashes, utc_text())
        write_atomic(self.folder / package.DESCRIPTOR, data)
        sums = {name: digest for name, (digest, _) in hashes.items()}
        sums[package.DESCRIPTOR] = hashlib.sha256(data).hexdigest()
        text = sums_text(sums).encode("utf-8")
        _remove_inbox(self.folder / package.INBOX)
        write_atomic(self.folder / package.SUMS, text)
        self._close()
        self._marks.remove()
        self._lock.release()
        with contextlib.suppress(OSError):
            sync_folder(self.folder)
        return hashlib.sha256(text).hexdigest()

    def abandon(self) -> None:
        """Close the files and release the lock without a seal: the session is "cut short"."""
        self._close()
        self._lock.release(remove=False)

    def _close(self) -> None:
        self._marks.close()
        for file in self._files.values():
            file.close()


def check_out(out: Path, locked: bool = False) -> None:
    """Check that `out` is missing, an empty folder or one where a recorder was killed before its
    session began; raises SessionFault.

    locked: this process holds the folder's lock.
    """
    try:
        names = {entry.name for entry in os.scandir(out)}
        unbegun = is_unbegun(out)
    except FileNotFoundError:
        return
    except NotADirectoryError:
        raise SessionFault(out, "is a file", "give --out a folder that does not exist") from None
    except OSError as error:
        raise _cannot(out, error) from None
    if not locked and lock.LOCK_NAME in names and lock.is_held(out):
        raise _other_recorder(out)
    if names - {lock.LOCK_NAME} and not unbegun:
        raise SessionFault(
            out, "the folder is not empty", "give --out a folder that does not exist or is empty"
        )


def _other_recorder(out: Path) -> SessionFault:
    return SessionFault(
        out, "another recorder is writing into this folder", "give --out another folder"
    )


def _cannot(out: Path, error: OSError) -> SessionFault:
    return SessionFault(
        out, f"cannot be written ({error.strerror or error})", "give --out a writable folder"
    )


def _clear(out: Path, existed: bool) -> None:
    import shutil

    shutil.rmtree(out, ignore_errors=True)
    if existed:
        with contextlib.suppress(OSError):
            out.mkdir(exist_ok=True)


def _remove_inbox(inbox: Path) -> None:
    # late requests are not answered any more; a link is removed, but not what it leads to
    with contextlib.suppress(OSError):
        if inbox.is_symlink():
            inbox.unlink()
            return
        for entry in os.scandir(inbox):
            with contextlib.suppress(OSError):
                Path(entry.path).unlink()
        inbox.rmdir()
