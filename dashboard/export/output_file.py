"""Checks a file that a user names for output, and words the fault where writing it fails."""

from __future__ import annotations

import os
from pathlib import Path

from logger.errors import CallFault


def outside(
    session: str | os.PathLike[str], file: str | os.PathLike[str], option: str = ""
) -> Path:
    """The path of a file that lies outside the session.  Raises CallFault where it lies inside.

    option: the option that names the file.
    """
    target = Path(file)
    try:
        inside = target.resolve().is_relative_to(Path(session).resolve())
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, option or "path") from None
    if inside:
        raise CallFault(
            target, "lies in the session, which must not change", "give a file outside the session"
        )
    return target


def write_page(file: str | os.PathLike[str], text: str, option: str = "--html") -> None:
    """Write an HTML file.  Raises CallFault where that fails; option: the one that names the file."""
    target = Path(file)
    try:
        target.write_text(text, "utf-8")
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, option) from None


def cannot_write(target: Path, error: Exception, option: str) -> CallFault:
    """The fault of a file that could not be written.  option: the one that names it."""
    reason = getattr(error, "strerror", None) or str(error)
    return CallFault(target, f"cannot be written ({reason})", f"give another {option}")
