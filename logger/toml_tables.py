"""Reads TOML tables strictly: an unknown key, a wrong type or a bad value is a UserFault."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from logger.errors import UserFault, one_line
from logger.file_keys import Key, KeyTable, Spelling, spoken_unit
from logger.filesystem import open_plain
from logger.spelling import cure as cure_for
from logger.spelling import likely
from logger.toml_syntax import explain

ROPES, CHANNELS = "rope", "channel"  # the tables by which a rig and a sensors file are told apart
MOST_BYTES = 1_000_000  # memory only: a file written by hand is far smaller
# bounds of a document, because the parser's time grows with the square of a key's parts and its
# stack with the depth.  Speed only: no key of a rig, sensors or calibration file has more than
# three parts, none is deeper than three brackets, and 400 stations take 15 kB
MOST_CHARACTERS, MOST_KEY_PARTS, MOST_DEPTH = 250_000, 8, 16
# speed only: bounds the time of a document at about 1 s
MOST_DOTS = 20_000
# what the bounds are counted by; strings and comments hold none of it.  A string without its end
# reaches to the end of the line or the document, where the parser stops too
_TOKEN = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"""|\Z)'
    r"|'''(?:[^']|'(?!''))*+(?:'''|\Z)"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|[\[\]{}.,=\n]",
    re.DOTALL,
)


def read_text(path: str | Path, fault: type[UserFault], plain: bool = False) -> str:
    """The file's text; raises `fault` if it is missing, too large, a folder, or not UTF-8.

    plain: refuse a pipe or a device too; for a file that the user did not name.
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
        raise fault(path, "is larger than 1 MB", "give a smaller file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise fault(
            path, f"byte {error.start} is not UTF-8 text", "save the file as UTF-8"
        ) from None


def parse_toml(text: str, file: str, fault: type[UserFault]) -> dict[str, Any]:
    """The TOML document in `text`; raises `fault` with the line and what to write instead, or the
    parser's message, and for a document that would take the parser long."""
    if (excess := _excess(text)) is not None:
        raise fault(file, *excess)
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        cure = explain(text.replace("\r\n", "\n"), str(error))
        if cure is not None:
            what = one_line(f"is not valid TOML: {cure.what}", 200)
            raise fault(file, what, one_line(cure.write, 160), f"line {cure.line}") from None
        raise fault(
            file, f"is not valid TOML: {one_line(str(error), 160)}", "correct that line"
        ) from None


def _excess(text: str) -> tuple[str, str] | None:
    """The fault and the cure of a document beyond the bounds; None if it is within them.

    Takes time in proportion to the length of the text.
    """
    if len(text) > MOST_CHARACTERS:
        return f"is longer than {MOST_CHARACTERS} characters", "give a smaller file"
    depth = parts = dots = 0
    line = 1
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token == ".":
            parts, dots = parts + 1, dots + 1
            if parts >= MOST_KEY_PARTS:
                return (
                    f"line {line}: a key of more than {MOST_KEY_PARTS} parts",
                    "write the keys as the documentation names them",
                )
            if dots > MOST_DOTS:
                return f"has more than {MOST_DOTS} dots", "give a smaller file"
        elif token in "[{":
            depth, parts = depth + 1, 0
            if depth > MOST_DEPTH:
                return f"line {line}: brackets more than {MOST_DEPTH} deep", "close the brackets"
        elif token in "]}":
            depth -= 1
        elif token in ",=\n":
            parts = 0
        line += token.count("\n")
    return None


class Table:
    """One TOML table whose keys are read one at a time; `done` refuses every key that was not read.

    data: keys and values as parsed
    file: path of the file, for faults
    name: name of the table in faults, e.g. "pulley.A1"; "" for the top of the file
    fault_type: class of the faults that are raised
    declared: the table's keys, which give ranges, units and other spellings; None: not declared
    asked: keys that were read so far, present or not
    station: (rope, station) from 0, of a table that is a station of a path; None for others
    """

    def __init__(
        self,
        data: Any,
        file: str,
        name: str,
        fault: type[UserFault],
        declared: KeyTable | None = None,
    ) -> None:
        if not isinstance(data, Mapping):
            raise fault(file, "must be a table", f"write [{name}] and its keys below it", name)
        self.data: Mapping[str, Any] = data
        self.file, self.name, self.fault_type = file, name, fault
        self.declared = declared
        self.station: tuple[int, int] | None = None
        self.asked: list[str] = []

    def fault(self, key: str, what: str, cure: str) -> UserFault:
        """A fault at this key of this table.

        If a key is missing and a misspelt one stands there, the fault names the misspelt key.
        """
        if what.startswith("is missing"):
            declared_names = (
                {s.name for k in self.declared.keys for s in k.spellings} if self.declared else ()
            )
            misspelt = likely(
                key, [k for k in self.data if k not in (*self.asked, *declared_names)]
            )
            if misspelt is not None:
                where = f"in [{self.name}]" if self.name else "at the top of the file"
                what, cure = f"unknown key {_shown(misspelt)} {where}", f"write {key}"
                key = misspelt
        place = f"{self.name}: {key}" if self.name and key else (self.name or key)
        fault = self.fault_type(self.file, what, cure, place)
        fault.station = self.station
        return fault

    def spelling(self, key: str) -> Spelling:
        """The name and unit under which the file writes `key`; the declared ones if it is absent.

        Raises the table's fault where the file writes it twice, in two units.
        """
        declared = self._key(key)
        if declared is None:
            return Spelling(key, "", 1.0)
        spellings = declared.spellings
        self.asked += [each.name for each in spellings]
        written = [each for each in spellings if each.name in self.data]
        if len(written) > 1:
            raise self.fault(
                written[1].name,
                f"cannot stand beside {written[0].name}, which says the same in another unit",
                "write one of the two",
            )
        return written[0] if written else spellings[0]

    def has(self, key: str) -> bool:
        """Whether the table has `key`, in any unit; marks it as read."""
        self.asked.append(key)
        return self.spelling(key).name in self.data

    def raw(self, key: str, default: Any = None) -> Any:
        """The value under `key` as parsed, or `default`; marks it as read."""
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
        """The finite number under `key`, in the unit of that key; None if the key is absent.

        least, most: inclusive range; above: exclusive lower bound; unit: text behind "a number" in
        the cure, e.g. " of metres".  A declared key has its own unit and bounds, which these narrow,
        and may be written in another unit of its quantity.  Raises the table's fault.
        """
        declared, written = self._key(key), self.spelling(key)
        if declared is not None:
            least = max(least, declared.least) / written.factor
            most = min(most, declared.most) / written.factor
            above = declared.above if above is None else above
            above = None if above is None else above / written.factor
            unit = f" of {spoken_unit(written.unit)}" if written.unit else ""
        number = self._number(written.name, least, most, above, unit)
        return number if number is None or written.factor == 1.0 else number * written.factor

    def _number(
        self, key: str, least: float, most: float, above: float | None, unit: str
    ) -> float | None:
        """The finite number under the name `key`, in the unit in which it is written."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.fault(
                key, f"{_shown(value)} is not a number", f"write {key} = a number{unit}"
            )
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.fault(key, "is not a finite number", f"write {key} = a number{unit}")
        if above is not None and not number > above:
            raise self.fault(
                key, f"{number:g} is not above {above:g}", f"write a number above {above:g}{unit}"
            )
        if number < least or number > most:
            span = (
                f"from {least:g} to {most:g}"
                if math.isfinite(least) and math.isfinite(most)
                else (f"of at least {least:g}" if math.isfinite(least) else f"of at most {most:g}")
            )
            raise self.fault(key, f"{number:g} is out of range", f"write a number {span}{unit}")
        return number

    def _key(self, key: str) -> Key | None:
        """The declaration of `key`; None where its table is not declared.

        Raises KeyError for a key that a declared table lacks: no user can cause that.
        """
        return None if self.declared is None else self.declared.key(key)

    def whole(self, key: str, *, least: int = 0, most: int = 2**31) -> int | None:
        """The whole number under `key`, from `least` to `most`; None if the key is absent.

        A declared key has its own bounds, which these narrow.
        """
        declared = self._key(key)
        if declared is not None:
            least = max(least, int(declared.least)) if math.isfinite(declared.least) else least
            most = min(most, int(declared.most)) if math.isfinite(declared.most) else most
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.fault(
                key,
                f"{_shown(value)} is not a whole number from {least} to {most}",
                f"write {key} = a whole number in that range",
            )
        return value

    def text(
        self, key: str, *, choices: Iterable[str] | None = None, most: int = 2000
    ) -> str | None:
        """The string under `key`, one of `choices` if given; None if the key is absent.

        most: characters allowed.  A declared key has its own length and choices.  Raises the
        table's fault.
        """
        declared = self._key(key)
        if declared is not None:
            most, choices = min(most, declared.longest), choices or declared.choices or None
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.fault(key, f"{_shown(value)} is not text", f'write {key} = "text"')
        if len(value) > most:
            raise self.fault(key, f"is longer than {most} characters", "shorten it")
        if choices is not None:
            allowed = list(choices)
            if value not in allowed:
                meant = likely(value, allowed)
                cure = f'write "{meant}"' if meant else "write one of " + ", ".join(allowed)
                raise self.fault(key, f"{_shown(value)} is not known", cure)
        return value

    def flag(self, key: str) -> bool | None:
        """The boolean under `key`; None if the key is absent."""
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            raise self.fault(key, f"{_shown(value)} is not true or false", "write true or false")
        return value

    def done(self, also: Iterable[str] = ()) -> None:
        """Refuse the first key that was not read; the fault names the key that was likely
        meant, or all legal ones.

        also: keys that are legal though nothing read them.
        """
        if self.declared is None:
            legal = listed = [*dict.fromkeys([*self.asked, *also])]
        else:
            keys = self.declared.keys
            listed = [*(key.name for key in keys), *also]
            legal = [*listed, *(each.name for key in keys for each in key.spellings)]
        for key in self.data:
            if key not in legal:
                cure = self._cure(key, legal, listed)
                where = f"in [{self.name}]" if self.name else "at the top of the file"
                raise self.fault(key, f"unknown key {_shown(key)} {where}", cure)

    @staticmethod
    def _cure(key: str, legal: list[str], listed: list[str]) -> str:
        """The key that was likely meant, else all keys of the table.

        A key without its unit is meant in the declared one, so those are compared first.
        """
        meant = likely(key, listed) or likely(key, legal)
        return f"write {meant}" if meant else cure_for(key, sorted(listed), "known here:", "{}")


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return '"' + one_line(value, 60) + '"'
    return one_line(repr(value), 60)
