"""Strict reading of TOML tables: every key known, of its type, in its range, or one clear line."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from logger.errors import UserFault, one_line
from logger.filesystem import open_plain

MOST_BYTES = 1_000_000  # memory only: a file written by hand is far smaller


def read_text(path: str | Path, fault: type[UserFault], plain: bool = False) -> str:
    """The file's text; raises `fault` if it is missing, too big, a folder, or not UTF-8.

    plain: a pipe is refused, for files that nobody named on purpose.
    """
    path = Path(path)
    try:
        with open_plain(path) if plain else path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise fault(path, "there is no such file", "give the path of an existing file") from None
    except IsADirectoryError:
        raise fault(path, "this is a folder", "give the path of a file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise fault(path, f"cannot be read ({reason})", "give a readable file") from None
    if len(data) > MOST_BYTES:
        raise fault(path, "is larger than 1 MB", "give a TOML file written by hand")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise fault(
            path, f"byte {error.start} is not UTF-8 text", "save the file as UTF-8"
        ) from None


def parse_toml(text: str, file: str, fault: type[UserFault]) -> dict[str, Any]:
    """The TOML document; raises `fault` with the parser's line and column."""
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise fault(
            file, f"is not valid TOML: {one_line(str(error), 160)}", "mend that line"
        ) from None


def nearest(word: str, known: Iterable[str], cutoff: float = 0.5) -> str | None:
    """The known word closest to `word`, or None where none is near (likeness of at least cutoff)."""
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=cutoff)
    return found[0] if found else None


class Table:
    """One TOML table whose keys are taken one at a time; `done()` refuses what was not taken.

    file: for the fault's line; name: how the table is written, e.g. "pulley.A1"; known: keys
    that are legal but were handled elsewhere.
    """

    def __init__(
        self, data: Any, file: str, name: str, fault: type[UserFault]
    ) -> None:
        if not isinstance(data, Mapping):
            raise fault(
                file, "must be a table", f"write [{name}] and its keys below it", name
            )
        self.data: Mapping[str, Any] = data
        self.file, self.name, self.fault_type = file, name, fault
        self.asked: list[str] = []

    def fault(self, key: str, what: str, cure: str) -> UserFault:
        """A fault placed at this key of this table; a missing key that stands there misspelt is
        told as the unknown key that it is."""
        if what.startswith("is missing"):
            strange = nearest(key, [k for k in self.data if k not in self.asked], 0.7)
            if strange is not None:
                where = f"in [{self.name}]" if self.name else "at the top of the file"
                what, cure, key = f"unknown key {_shown(strange)} {where}", f"write {key}", strange
        place = f"{self.name}: {key}" if self.name and key else (self.name or key)
        return self.fault_type(self.file, what, cure, place)

    def has(self, key: str) -> bool:
        self.asked.append(key)
        return key in self.data

    def raw(self, key: str, default: Any = None) -> Any:
        self.asked.append(key)
        return self.data.get(key, default)

    def number(
        self,
        key: str,
        *,
        least: float = -math.inf,
        most: float = math.inf,
        above: float | None = None,
        unit: str = "",
    ) -> float | None:
        """The finite number under `key`, or None where it is absent."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.fault(key, f"{_shown(value)} is not a number", f"write {key} = a number{unit}")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.fault(key, "is not a finite number", f"write {key} = a number{unit}")
        if above is not None and not number > above:
            raise self.fault(key, f"{number:g} is not above {above:g}", f"write a number above {above:g}{unit}")
        if number < least or number > most:
            span = (
                f"from {least:g} to {most:g}"
                if math.isfinite(least) and math.isfinite(most)
                else (f"of at least {least:g}" if math.isfinite(least) else f"of at most {most:g}")
            )
            raise self.fault(key, f"{number:g} is out of range", f"write a number {span}{unit}")
        return number

    def whole(self, key: str, *, least: int = 0, most: int = 2**31) -> int | None:
        """The whole number under `key`, or None where it is absent."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.fault(
                key, f"{_shown(value)} is not a whole number from {least} to {most}", "write one"
            )
        return value

    def text(self, key: str, *, choices: Iterable[str] | None = None, most: int = 2000) -> str | None:
        """The string under `key`, or None where it is absent."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.fault(key, f"{_shown(value)} is not text", f'write {key} = "text"')
        if len(value) > most:
            raise self.fault(key, f"is longer than {most} characters", "shorten it")
        if choices is not None:
            known = list(choices)
            if value not in known:
                near = nearest(value, known)
                cure = f'write "{near}"' if near else "write one of " + ", ".join(known)
                raise self.fault(key, f"{_shown(value)} is not known", cure)
        return value

    def flag(self, key: str) -> bool | None:
        """The boolean under `key`, or None where it is absent."""
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            raise self.fault(key, f"{_shown(value)} is not true or false", "write true or false")
        return value

    def done(self, also: Iterable[str] = ()) -> None:
        """Refuse the first key that nobody asked for, naming the nearest known one."""
        known = [*dict.fromkeys([*self.asked, *also])]
        for key in self.data:
            if key not in known:
                near = nearest(key, known)
                cure = f"write {near}" if near else "known here: " + ", ".join(sorted(known))
                where = f"in [{self.name}]" if self.name else "at the top of the file"
                raise self.fault(key, f"unknown key {_shown(key)} {where}", cure)


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return '"' + one_line(value, 60) + '"'
    return one_line(repr(value), 60)
