"""Writes moments as time of day where this machine is, with the offset from UTC."""

from __future__ import annotations

from datetime import UTC, datetime


def local_time(moment: str) -> str | None:
    """A moment (RFC 3339; UTC where it has no offset) as "2026-05-04 12:00:00 +02:00".

    The zone is this machine's, with the offset that holds there at the moment itself.  None where the
    text is no moment, or one that the system's zone table cannot hold.
    """
    try:
        when = datetime.fromisoformat(moment)
        here = (when if when.tzinfo else when.replace(tzinfo=UTC)).astimezone()
    except (ValueError, OverflowError, OSError):
        return None
    return f"{here:%Y-%m-%d %H:%M:%S} {here.isoformat()[-6:]}"
