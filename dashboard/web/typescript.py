"""Writes records that a server sends as JSON as TypeScript declarations, for the checks of the scripts.

A record is a TypedDict, or a NamedTuple, which JSON writes without the names of its fields.  Its docstring has one line for each field, "name: meaning, unit, shape.", which
becomes the comment of the field.  Records whose keys are numbered (`alarm:0`, `alarm:1`) are given as a
TypedDict of their own, which becomes index signatures of the record that holds them.  A type that the
scripts declare themselves is `Annotated[..., "Name"]`.
"""

from __future__ import annotations

import json
import re
import types
import typing
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, NotRequired, Required, Union, get_args, get_origin

SIMPLE = {
    str: "string",
    bool: "boolean",
    int: "number",
    float: "number",
    type(None): "null",
    Any: "unknown",
    object: "unknown",
}
FIELD = re.compile(r"([A-Za-z_]\w*): (.+)")


def declaration(
    heading: str,
    records: Sequence[type],
    numbered: Mapping[type, type] | None = None,
    bases: Mapping[type, type] | None = None,
) -> str:
    """The text of a declaration file.

    heading: the comment at its top.
    records: TypedDicts, in the order in which they are written.
    numbered: record -> TypedDict of what it holds under keys "name:k".
    bases: record -> the record that it extends, which Python does not keep of a TypedDict.
    """
    numbered, bases = numbered or {}, bases or {}
    blocks = [f"/* {heading} */\n"]
    blocks += [_interface(one, numbered.get(one), bases.get(one)) for one in records]
    return "\n".join(blocks)


def field_lines(record: type) -> dict[str, str]:
    """Field -> what the record's docstring says of it."""
    fields = typing.get_type_hints(record)
    lines: dict[str, str] = {}
    name = ""
    for line in (record.__doc__ or "").splitlines():
        text = line.strip()
        match = FIELD.fullmatch(text)
        if match and match[1] in fields:
            name = match[1]
            lines[name] = match[2]
        elif name and text:
            lines[name] += f" {text}"
        else:
            name = ""
    return lines


def optional_fields(record: type) -> set[str]:
    """Fields that a record need not have.  Python itself overlooks NotRequired in an annotation that is
    evaluated late."""
    hints = typing.get_type_hints(record, include_extras=True)
    required: frozenset[str] = getattr(record, "__required_keys__", frozenset())
    return {
        name
        for name, hint in hints.items()
        if name not in required or get_origin(hint) is NotRequired
    }


def _interface(record: type, numbered: type | None, base: type | None) -> str:
    inherited = typing.get_type_hints(base) if base is not None else {}
    first = (record.__doc__ or "").strip().split("\n\n")[0]
    if is_named_tuple(record):
        return _named_tuple(record, first)
    extends = "" if base is None else f" extends {base.__name__}"
    lines = [
        f"/** {' '.join(first.split())} */",
        f"export interface {record.__name__}{extends} {{",
    ]
    comments, optional = field_lines(record), optional_fields(record)
    for name, hint in typing.get_type_hints(record, include_extras=True).items():
        if name not in inherited:
            mark = "?" if name in optional else ""
            lines += _field(f"{name}{mark}", hint, comments.get(name, ""))
    if numbered is not None:
        comments = field_lines(numbered)
        for name, hint in typing.get_type_hints(numbered, include_extras=True).items():
            lines += _field(f"[key: `{name}:${{string}}`]", hint, comments.get(name, ""))
    return "\n".join([*lines, "}\n"])


def is_named_tuple(hint: Any) -> bool:
    """Whether an annotation is a NamedTuple class."""
    return isinstance(hint, type) and issubclass(hint, tuple) and hasattr(hint, "_fields")


def _named_tuple(record: type, first: str) -> str:
    comments = field_lines(record)
    hints = typing.get_type_hints(record, include_extras=True)
    said = [f" *   {name}: {_null(comments[name])}" for name in hints]
    fields = ", ".join(f"{name}: {_type(hint)}" for name, hint in hints.items())
    text = [
        f"/** {' '.join(first.split())}",
        *said,
        " */",
        f"export type {record.__name__} = [{fields}];",
        "",
    ]
    return "\n".join(text)


def _null(text: str) -> str:
    """A comment with the word that JSON has for None."""
    return re.sub(r"\bNone\b", "null", text)


def _field(name: str, hint: Any, said: str) -> list[str]:
    comment = [f"  /** {_null(said)} */"] if said else []
    return [*comment, f"  {name}: {_type(hint)};"]


def _type(hint: Any) -> str:
    """A Python annotation in TypeScript.  Raises TypeError where there is no word for it."""
    if hint in SIMPLE:
        return SIMPLE[hint]
    if typing.is_typeddict(hint) or is_named_tuple(hint):
        return str(hint.__name__)
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return str(inner[1])
    if origin in (NotRequired, Required):
        return _type(inner[0])
    if origin is Literal:
        return " | ".join(json.dumps(value) for value in inner)
    if origin in (Union, types.UnionType):
        return " | ".join(_type(one) for one in inner)
    if origin is list:
        word = _type(inner[0])
        several = get_origin(inner[0]) in (Union, types.UnionType, Literal)
        return f"({word})[]" if several else f"{word}[]"
    if origin is tuple:
        return "[" + ", ".join(_type(one) for one in inner) + "]"
    if origin is dict:
        return f"Record<{_type(inner[0])}, {_type(inner[1])}>"
    raise TypeError(f"{hint!r} has no word in a declaration")
