"""Passes requests from viewers to the recorder, as small files in `inbox/`.

The recorder answers each with one row of events.csv, whose id is the file's name.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import re
import stat
import time
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from logger.errors import CallFault
from logger.filesystem import write_atomic
from logger.session import lock
from logger.session.descriptor import INBOX
from logger.toml_tables import MOST_BYTES, read_text

VERBS = ("mark", "undo", "zero", "ack", "rig", "end", "hand", "move")
HAND_STATES = ("haul", "held", "reset")  # what a person may say of the haul
ROLES = ("viewer", "operator")
MOST_REQUEST = 4096  # bytes; interface section 4
MOST_AT_ONCE = 100  # requests taken at a time; speed only
MOST_MOVES = 1000  # chosen by us: no conversion of a rig has as many
MOST_NUMBER = 1e12  # chosen by us: no reading or moment is larger
MOST_LOOKED_AT = 2000  # files sorted at a time; speed only
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")
_OWN_ID = re.compile(r"r[0-9]{6,}")


@dataclass(frozen=True)
class Request:
    """One request as read from its file."""

    id: str | None  # name of the file; None if that cannot be an id
    verb: str  # one of VERBS, unless it is refused
    channel: str  # name of a channel; "" for none
    text: str  # a note, a rig, an id or a label, by verb
    role: str  # of the person, one of ROLES, unless it is refused
    refusal: str  # why the request is not valid; "" if it is
    path: Path  # its file
    time_s: float = 0.0  # hand: moment of the touch, s since the recording started
    value: float | None = None  # hand: the number, in its unit; None: a state; move: step, from 1
    state: str = ""  # hand: one of HAND_STATES; "" for a number


def ask(
    session_path: str | os.PathLike[str],
    verb: str,
    channel: str = "",
    text: str = "",
    role: str = "operator",
    id: str | None = None,
    hand: Mapping[str, float | str] | None = None,
    step: int | None = None,
) -> str:
    """Write a request to the recorder of a growing session; returns the request's id.

    verb: one of VERBS; role: one of ROLES; id: None for a new one.
    hand: for the verb `hand`: `time_s` (s) with `value` (in the channel's unit) or `state`
    step: for the verb `move`: which move of the conversion, from 1
    Raises CallFault if nothing records there or the request is not valid.
    """
    folder = Path(session_path)
    if verb not in VERBS:
        raise CallFault(verb, "is not a request to a recorder", "write one of " + ", ".join(VERBS))
    name = id or _new_id()
    if not _ID.fullmatch(name) or _OWN_ID.fullmatch(name):
        raise CallFault(name, "cannot be a request's id", "use letters, digits, _ and -")
    if not lock.is_held(folder):
        raise CallFault(
            folder, f"nothing records here, so `{verb}` is not possible", "start a recording"
        )
    asked = {"verb": verb, "channel": channel, "text": text, "role": role, **(hand or {})}
    if step is not None:
        asked["value"] = step
    data = json.dumps(asked, ensure_ascii=False).encode("utf-8", "replace")
    if len(data) > MOST_REQUEST:
        raise CallFault(verb, "the request is longer than 4 kB", "shorten the text")
    try:
        write_atomic(folder / INBOX / f"{name}.json", data)
    except OSError as error:
        raise CallFault(
            folder / INBOX,
            f"cannot be written ({error.strerror})",
            "run this as a user who may write in the session folder",
        ) from None
    return name


def ask_rig(
    session_path: str | os.PathLike[str], rig_path: str | os.PathLike[str], role: str = "operator"
) -> str:
    """Request that the recorder continues with another rig file; returns the request's id.

    Raises CallFault if the file cannot be read or nothing records there.
    """
    return ask_rig_text(session_path, read_text(Path(rig_path), CallFault), role)


def ask_rig_text(session_path: str | os.PathLike[str], text: str, role: str = "operator") -> str:
    """Request that the recorder continues with another rig; returns the request's id.

    text: text of a rig file.  Raises CallFault if nothing records there.
    """
    if not lock.is_held(Path(session_path)):
        raise CallFault(
            session_path, "nothing records here, so the rig cannot be changed", "start a recording"
        )
    name = _new_id()
    try:
        write_atomic(Path(session_path) / INBOX / f"{name}.toml", text.encode("utf-8", "replace"))
    except OSError as error:
        raise CallFault(
            session_path, f"nothing records here ({error.strerror})", "start a recording"
        ) from None
    return ask(session_path, "rig", text=f"{name}.toml", role=role, id=name)


def _new_id() -> str:
    """An id that nobody else gives, and that sorts by the moment at which it was made.

    A file system dates files by ticks of some milliseconds, in which one person's requests come together.
    """
    return f"q{time.time_ns():016x}{uuid.uuid4().hex[:16]}"


class Inbox:
    """Reads the requests in the inbox of a session, each file once; folder: the inbox."""

    def __init__(self, session: Path) -> None:
        self.folder = session / INBOX
        self._answered: set[str] = set()
        self._stuck: set[str] = set()

    def poll(self) -> Iterator[Request]:
        """Yield requests in the order in which they were written; delete each file afterwards.

        Raises nothing, follows no link and yields no id twice, whatever is in the folder.
        """
        try:
            with os.scandir(self.folder) as entries:
                wanted = (entry for entry in entries if self._wanted(entry.name))
                # a limited number, so that the time is limited too
                oldest_first = sorted(itertools.islice(wanted, MOST_LOOKED_AT), key=_order)
        except OSError:
            return
        for name in [entry.name for entry in oldest_first][:MOST_AT_ONCE]:
            path = self.folder / name
            key = name.removesuffix(".json")
            if key in self._answered and key:
                self._remove(path)
                continue
            good = _ID.fullmatch(key) and not _OWN_ID.fullmatch(key)
            request = self._read(path, key if good else None)
            if request is None:
                continue
            yield request
            if good:
                self._answered.add(key)
            self._remove(path)

    def _wanted(self, name: str) -> bool:
        return name.endswith(".json") and not name.startswith(".") and name not in self._stuck

    def attachment(self, name: str) -> bytes | str:
        """The bytes of a rig file in the inbox, which is then deleted, or why it cannot be read.

        name: file name NAME.toml; a path is refused.
        """
        if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}\.toml", name):
            return "give the text of a rig file, or the name of a file NAME.toml in the inbox"
        data = _regular_bytes(self.folder / name, MOST_BYTES)
        if isinstance(data, bytes):
            self._remove(self.folder / name)
        return data

    def _remove(self, path: Path) -> None:
        try:
            path.unlink()
        except FileNotFoundError:
            pass
        except OSError:
            # it is a folder or may not be deleted: ignored from now on
            self._stuck.add(path.name)

    def _read(self, path: Path, key: str | None) -> Request | None:
        data = _regular_bytes(path, MOST_REQUEST)
        if data == _GONE:
            return None
        refusal = data if isinstance(data, str) else ""
        asked: dict[str, object] = {}
        if isinstance(data, bytes):
            try:
                document = json.loads(data.decode("utf-8"))
            except (ValueError, RecursionError):
                document = None
            if isinstance(document, dict):
                asked = document
            else:
                refusal = "the request is not a JSON object"
        fields = {}
        for name in ("verb", "channel", "text", "role"):
            value = asked.get(name, "")
            if not isinstance(value, str):
                refusal, value = refusal or f"{name} is not text", ""
            fields[name] = value
        keys = {"verb", "channel", "text", "role", "id"}
        entered = _Entered()
        if fields["verb"] == "hand":
            keys |= {"time_s", "value", "state"}
            entered = _entered(asked)
        elif fields["verb"] == "move":
            keys |= {"value"}
            entered = _step(asked.get("value"))
        unknown = sorted(set(asked) - keys)
        if key is None:
            refusal = refusal or "the file's name cannot be a request's id"
        elif unknown and not refusal:
            refusal = f"unknown key {unknown[0][:40]}"
        elif not refusal and fields["verb"] not in VERBS:
            refusal = f"unknown verb {fields['verb'][:40]}"
        elif not refusal and fields["role"] != "operator":
            refusal = "only an operator may do this"
        refusal = refusal or entered.refusal
        return Request(
            id=key,
            verb=fields["verb"],
            channel=fields["channel"],
            text=fields["text"],
            role=fields["role"],
            refusal=refusal,
            path=path,
            time_s=entered.time_s,
            value=entered.value,
            state=entered.state,
        )


@dataclass(frozen=True)
class _Entered:
    """What a person entered by hand; see `Request`."""

    time_s: float = 0.0  # s since the recording started
    value: float | None = None  # in the channel's unit; None: a state
    state: str = ""  # one of HAND_STATES; "" for a number
    refusal: str = ""  # why it is not valid; "" if it is


def _entered(asked: Mapping[str, object]) -> _Entered:
    """The keys of the verb `hand`."""
    time_s, value, state = (asked.get(key) for key in ("time_s", "value", "state"))
    if not _is_number(time_s):
        return _Entered(refusal="hand needs time_s, the moment of the touch in s")
    if (value is None) == (state is None):
        return _Entered(refusal="hand needs one of value and state")
    if state is not None:
        if state not in HAND_STATES:
            return _Entered(refusal="state is none of " + ", ".join(HAND_STATES))
        return _Entered(time_s=float(str(time_s)), state=str(state))
    if not _is_number(value):
        return _Entered(refusal="value is not a number")
    return _Entered(time_s=float(str(time_s)), value=float(str(value)))


def _step(value: object) -> _Entered:
    """The key of the verb `move`: its step."""
    if not _is_number(value) or float(str(value)) not in range(1, MOST_MOVES + 1):
        return _Entered(
            refusal=f"move needs value, its step, a whole number from 1 to {MOST_MOVES}"
        )
    return _Entered(value=float(str(value)))


def _is_number(given: object) -> bool:
    """Whether it is a finite number of JSON, and not true or false."""
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        return False
    return abs(given) < MOST_NUMBER


_GONE = "gone"


def _order(entry: os.DirEntry[str]) -> tuple[int, str]:
    """When it was written, ns; within one tick of the file system by the name, which `_new_id` makes by time."""
    try:
        return entry.stat(follow_symlinks=False).st_mtime_ns, entry.name
    except OSError:
        return 0, entry.name


def _regular_bytes(path: Path, most: int) -> bytes | str:
    """At most `most` bytes of a plain file, or why it cannot be read; follows no link."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            return "is not a plain file"
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        fd = os.open(path, flags | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        return _GONE
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    with contextlib.closing(os.fdopen(fd, "rb")) as file:
        try:
            data = file.read(most + 1)
        except OSError as error:
            return f"cannot be read ({error.strerror})"
    return data if len(data) <= most else f"is longer than {most} bytes"
