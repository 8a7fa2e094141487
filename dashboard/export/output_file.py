"""Files that a person asks for: never in the session, and one line where they cannot be written."""

from __future__ import annotations

import os
from pathlib import Path

from logger.errors import CallFault


def outside(
    session: str | os.PathLike[str], file: str | os.PathLike[str], option: str = ""
) -> Path:
    """The file's path, if it does not lie in the session; else CallFault."""
    target = Path(file)
    try:
        inside = target.resolve().is_relative_to(Path(session).resolve())
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, option or "path") from None
    if inside:
        raise CallFault(
            target, "lies in the session, which nobody may change", "write it somewhere else"
        )
    return target


def cannot_write(target: Path, error: Exception, option: str) -> CallFault:
    """The fault of a file that could not be written; option: what names another."""
    reason = getattr(error, "strerror", None) or str(error)
    return CallFault(target, f"cannot be written ({reason})", f"give another {option}")
