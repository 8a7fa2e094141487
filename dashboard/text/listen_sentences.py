"""Sentences about what `haul listen` heard, from its remarks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.messages.message import Message, message
from logger.errors import one_line
from logger.listening.capture import Remark

if TYPE_CHECKING:
    from logger.listening.settings_search import Search

# what to write for each meaning of a comma
COMMA_CURES = {
    "decimal": 'decimal = ","',
    "thousands": 'thousands = ","',
    "separator": 'separator = ","',
}
COMMA_WORDS = {
    "decimal": "one number with a decimal comma",
    "thousands": "a number with commas between thousands",
    "separator": "two numbers",
}


def sentence(remark: Remark) -> Message:
    """The message of a remark."""
    values = {
        name: one_line(value, 80) if isinstance(value, str) else value
        for name, value in remark.values.items()
    }
    match remark.code:
        case "comma":
            names = str(values["choices"]).split()
            return message(
                "listen_comma",
                line=values["line"],
                choices=" or as ".join(COMMA_WORDS[name] for name in names),
                cure=" or ".join(COMMA_CURES[name] for name in names),
            )
        case "blank":
            return message("listen_blank", line=values["line"])
        case "counts":
            return message("listen_counts", **values)
        case "no_unit":
            return message("listen_no_unit", **values)
        case "flag":
            return message("listen_flag", **values)
        case "other_unit":
            return message("listen_other_unit", **values)
        case "steady":
            return message("listen_steady", **values)
        case "device_time":
            return message("listen_device_time", **values)
        case "kinds":
            return message("listen_kinds", **values)
        case "other_transducer":
            return message("listen_other_transducer", **values)
        case "not_together":
            return message("listen_not_together", **values)
    return message("listen_not_proved", **values)


def unsettled(searched: Search) -> Message:
    """Why no rate and framing was found although bytes came."""
    baud, few = searched.hearing.settings.baud, searched.few
    if few is None:
        return message("listen_no_text", tried=searched.tried)
    if searched.likely is None:
        return message("listen_few", bytes=few)
    if baud is None:
        return message("listen_few_seven", bytes=few, framing=searched.likely)
    return message("listen_few_lines", bytes=few, baud=baud, framing=searched.likely)


def escaped(data: bytes) -> str:
    """Bytes as they came, with escapes for what is no printable ASCII."""
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")
