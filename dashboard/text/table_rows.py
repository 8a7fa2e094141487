"""Defines each column of every table once, for terminal, page, report and CSV.

The caller chooses columns and lays them out; title and number format come from here.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter as field
from operator import itemgetter as key
from typing import Any

from analysis.review.peak_use import highest_peak_use
from dashboard.text.units import METRIC, UNKNOWN, Units, number, percent
from logger.errors import one_line

MANY_DEGREES = 1000.0  # from here on t is the normal quantile to three digits
FORMULA = ("=", "+", "-", "\N{MINUS SIGN}", "@")  # first characters of a spreadsheet's formula
CELL_BREAKS = (
    "\t",
    "\r",
)  # a spreadsheet may go to its next cell here, so what follows is first again
# kinds of event that a short list shows before all others
SERIOUS = frozenset({"over_limit", "slip", "shock", "saturated", "alarm", "mark", "stale", "gap"})
# what a peak force follows from -> words
PEAK_SOURCES = {
    "cell": "own cell",
    "most": "at most",
    "inferred": "may be more",  # its own friction is not counted
}

PEAK_METHODS = {"cell": "own cell", "model": "by the model"}  # how -> words

# kind -> text of a value that does not depend on the reader's units
FORMATS: Mapping[str, Callable[[Any], str]] = {
    "rough": lambda value: number(value, 2),
    "time": lambda value: f"{value:.1f} s",
    "hours": lambda value: f"{number(value)} h",
    "share": lambda value: "< 1 %" if 0 < value < 0.005 else percent(value),
    "use": lambda value: percent(value) + (" OVER" if value > 1 else ""),
    "degrees": lambda value: "∞" if value > MANY_DEGREES else number(value, 2),
    "count": str,
    "day": lambda value: value[:10],
    "minute": lambda value: value[:16],
    "words": ", ".join,
}


@dataclass(frozen=True)
class Column:
    """One column of a table.

    title: its heading; "" for a column of the CSV alone
    value: gets from a row a number (SI), a quantity {"value", "U95"} or a text; None: not known
    kind: force, length, work, number, text or a key of FORMATS; "own": the row has a `kind`
    none: text for a value that is not known
    most: characters of a text at most
    csv: heading in a CSV, with the SI unit; "" for a column that no CSV has
    """

    title: str
    value: Callable[[Any], Any]
    kind: str = "text"
    none: str = UNKNOWN
    most: int = 400
    csv: str = ""

    def text(self, row: Any, shown: Units = METRIC) -> str:
        """The value as text in these units."""
        value = self.value(row)
        if value is None or value == "":
            return self.none if value is None else ""
        kind = row.kind if self.kind == "own" else self.kind
        if kind == "text":
            return one_line(value, self.most)
        if kind in FORMATS:
            return FORMATS[kind](value)
        return shown.quantity(kind, value if isinstance(value, Mapping) else {"value": value})

    def cell(self, row: Any) -> str:
        """The value as a cell of a CSV: SI, and never a text that a spreadsheet runs as a formula."""
        value = self.value(row)
        if value is None or isinstance(value, float):
            return "" if value is None else f"{value:.9g}"
        return safe(" ".join(value) if isinstance(value, tuple) else str(value))


def safe(text: str) -> str:
    """The text with an apostrophe before it if a spreadsheet would run it as a formula.

    Blanks and invisible characters before the formula do not count.  Full-width and small forms of a
    sign count as the sign itself (NFKC, Unicode Standard Annex 15), because some spreadsheets take them
    for it.
    """
    begins = next((k for k, c in enumerate(text) if not _unseen(c)), len(text))
    first = unicodedata.normalize("NFKC", text[begins : begins + 1])
    runs = first.startswith(FORMULA) or any(c in text[:begins] for c in CELL_BREAKS)
    return "'" + text if runs else text


def _unseen(character: str) -> bool:
    """Whether a character takes no ink: a blank, a control or a format character."""
    return character.isspace() or unicodedata.category(character) in ("Cc", "Cf")


def texts(columns: Sequence[Column], rows: Iterable[Any], shown: Units = METRIC) -> list[list[str]]:
    """The titled columns of these rows as text, titles first."""
    seen = [c for c in columns if c.title]
    return [[c.title for c in seen], *([c.text(row, shown) for c in seen] for row in rows)]


def csv_cells(columns: Sequence[Column], rows: Iterable[Any]) -> list[list[str]]:
    """The CSV columns of these rows as cells, headings first."""
    written = [c for c in columns if c.csv]
    return [[c.csv for c in written], *([c.cell(row) for c in written] for row in rows)]


def those(columns: Sequence[Column], *titles: str) -> tuple[Column, ...]:
    """The columns with these titles, in their own order."""
    return tuple(c for c in columns if c.title in titles)


def without(columns: Sequence[Column], *titles: str) -> tuple[Column, ...]:
    """These columns but those with the titles given."""
    return tuple(c for c in columns if c.title not in titles)


def _measured(name: str, expanded: str) -> Callable[[Any], Any]:
    return lambda row: None if row[name] is None else {"value": row[name], "U95": row[expanded]}


# -- strokes, peaks, events of a review ------------------------------------------------------------
STROKES = (
    Column("stroke", lambda row: f"{row['k']} {row['direction']}"),
    Column("from", key("start_s"), "time"),
    Column("to", key("end_s"), "time"),
    Column("rope", key("haul_travel_m"), "length"),
    Column("load", key("load_travel_m"), "length"),
    Column("mean force", key("mean_force_N"), "force"),
    Column("peak", key("peak_force_N"), "force"),
    Column("work", key("work_J"), "work"),
    Column("efficiency ± 95 %", key("efficiency"), "number"),
)
PEAKS = (
    Column("part", key("name"), most=60),
    Column("force", key("force_N"), "force"),
    Column("at most", key("at_most_N"), "force"),
    Column("allowed", key("limit_N"), "force", none="unrated"),
    Column("use", key("use"), "use", none="-"),
    Column("at", key("time_s"), "time", none="-"),
    Column("how", lambda row: PEAK_SOURCES[row["by"]]),
)
CHAPTER = Column("chapter", key("number"), "count", csv="chapter")  # where a session has several
CHAPTERS = (
    Column("chapter", key("number"), "count"),
    Column("rig", key("title"), most=36),
    Column("from", key("from_s"), "time"),
    Column("to", key("to_s"), "time"),
    Column("strokes", lambda row: len(row["strokes"]), "count"),
    Column("resets", key("resets"), "count"),
    Column("ideal MA", key("ideal_ma"), "number"),
    Column("predicted MA", lambda row: _expanded(row["predicted"], "model_ma"), "number"),
    Column("actual MA", lambda row: row["measured"]["actual_ma"], "number"),
    Column("efficiency", lambda row: row["measured"]["efficiency"], "number"),
    Column("haul force", lambda row: row["measured"]["haul_force_N"], "force"),
    Column("rope hauled", lambda row: row["measured"]["haul_travel_m"], "length"),
    Column("load from", key("load_from_m"), "length"),
    Column("load to", key("load_to_m"), "length"),
    Column("highest use", lambda row: highest_peak_use(row["peaks"]), "use", none="-"),
)
EVENTS = (
    Column("no.", key("k"), "count"),
    Column("at", key("time_s"), "time", csv="time_s"),
    Column("", key("end_s"), "time", csv="end_s"),
    Column("kind", key("kind"), most=30, csv="kind"),
    Column("channel", key("channel"), most=60, csv="channel"),
    Column("", key("value"), csv="value"),
    Column("what", key("text"), most=240, csv="text"),
)


def _expanded(predicted: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A predicted quantity with U95 = 2 u."""
    return {"value": predicted[name], "U95": 2 * predicted[f"{name}_u"]}


def chapter_rows(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The chapters of a review, each with its number from 1; none where the session has one."""
    every = review["chapters"]
    return [{**c, "number": k} for k, c in enumerate(every, 1)] if len(every) > 1 else []


def by_chapter(columns: Sequence[Column], review: Mapping[str, Any]) -> tuple[Column, ...]:
    """The columns, with the chapter behind the first one where the session has several."""
    first, *rest = columns
    return (first, CHAPTER, *rest) if len(review["chapters"]) > 1 else tuple(columns)


def stroke_rows(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The strokes of a review, each with its number k and the `number` of its chapter, from 1."""
    chapter = {k: n for n, c in enumerate(review["chapters"], 1) for k in c["strokes"]}
    return [{"k": k + 1, "number": chapter[k], **s} for k, s in enumerate(review["strokes"])]


def peaks_by_chapter(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The peaks of every chapter, each with the `number` of its chapter, from 1."""
    return [{**p, "number": p["chapter"] + 1} for c in review["chapters"] for p in c["peaks"]]


def event_rows(review: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The events of a review, each with its number k and the `number` of its chapter, from 1."""
    begins = [c["from_s"] for c in review["chapters"]][1:]
    return [
        {"k": k, "number": 1 + sum(begin <= e["time_s"] for begin in begins), **e}
        for k, e in enumerate(review["events"], 1)
    ]


def _part(row: Mapping[str, Any]) -> str:
    """The chapter that a row of a session shows; "" for a session of one chapter."""
    return f", chapter {row['part']}" if row.get("part") else ""


def _peak_on(row: Mapping[str, Any]) -> str | None:
    """The part that carried the peak force, and whether a cell or the model says so; None where none is known."""
    name, how = row["peak_part"], row["peak_how"]
    return f"{name} ({PEAK_METHODS.get(how, how)})" if name else None


def listed_events(review: dict[str, Any], most: int) -> list[dict[str, Any]]:
    """At most this many events, numbered, in order of time; serious ones are kept before others."""
    order = sorted(event_rows(review), key=lambda e: e["kind"] not in SERIOUS)
    return sorted(order[:most], key=key("k"))


# -- sessions and gear of a folder -----------------------------------------------------------------
SESSIONS = (
    Column("session", lambda row: row["path"] + _part(row), most=60),
    Column("rig", key("title"), most=36),
    Column("started", key("started_at"), "minute"),
    Column("state", key("state")),
    Column("strokes", key("strokes"), "count"),
    Column("resets", key("resets"), "count"),
    Column("ideal MA", key("ideal_ma"), "number"),
    Column("predicted MA", key("model_ma"), "number"),
    Column("actual MA", _measured("actual_ma", "actual_ma_U95"), "number"),
    Column("efficiency", _measured("efficiency", "efficiency_U95"), "number"),
    Column("haul force", _measured("haul_force_N", "haul_force_U95_N"), "force"),
    Column("peak force", key("peak_N"), "force"),
    Column("at most", key("peak_at_most_N"), "force"),
    Column("on", _peak_on, most=80),
    Column("highest use", key("highest_use"), "use", none="-"),
    Column("rope handled", key("rope_m"), "length"),
    Column("min/m", key("minutes_a_metre"), "rough"),
)
COMPARED = without(
    SESSIONS, "strokes", "peak force", "on", "highest use"
)  # of few sessions beside each other
GEAR = (
    Column("item", field("item"), most=24, csv="item"),
    Column("is", field("kinds"), "words", csv="kinds"),
    Column("sessions", field("sessions"), "count", csv="sessions"),
    Column("since", field("since"), "day", csv="since"),
    Column("last", field("last"), "day", csv="last"),
    Column("peak", field("peak_N"), "force", csv="peak [N]"),
    Column("", field("peak_session"), csv="peak session"),
    Column("allowed", field("limit_N"), "force", none="unrated", csv="limit [N]"),
    Column("above half", field("half"), "count", none="-", csv="above half"),
    Column("above limit", field("full"), "count", none="-", csv="above limit"),
    Column("rope run", field("run_m"), "length", none="-", csv="rope run [m]"),
    Column("under load", field("loaded_h"), "hours", csv="under load [h]"),
    Column("", field("peak_chapter"), csv="peak chapter"),
)
