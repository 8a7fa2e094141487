"""Lists what may be done with what was touched: questions with buttons, and fields."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.prediction.choose_rig import warnings
from analysis.rig_edit.edits import StationPlace, kind_of
from analysis.rig_file.rig_keys import ITEM_KEYS, RIG
from dashboard.rig_page.acts import act
from dashboard.rig_page.menu_parts import About, Choice, Entry, Menu, MenuGroup, MenuMore
from dashboard.rig_page.preset_choices import (
    ground_choices,
    knot_choices,
    people_choices,
    preset_choices,
    rope_kind_choices,
)
from dashboard.rig_page.touches import Chosen
from dashboard.rig_page.which_rig import job_need, option_label, ranked
from dashboard.text.units import METRIC, Units
from logger.file_keys import Key, KeyKind, spoken_unit

WHICH = "Which rig does the job?"
NO_MORE = MenuMore()
# the trade's words beside our own, where they differ
SPOKEN = {
    "pulley": "Pulley", "grab": "Grab (prusik or other friction hitch)",
    "capture": "Capture (progress capture)", "edge": "Edge or post", "tie": "Tie", "haul": "Haul",
    "free": "Slack tail",
}  # fmt: skip


def menu(
    document: Mapping[str, Any], what: Chosen, units: Units = METRIC, more: MenuMore = NO_MORE
) -> Menu | None:
    """The menu of what was touched, None for nothing.

    document: the draft's TOML; more: what is known beside it about a strand, part or body.
    """
    if what.kind == "which":
        return _which(document, units)
    if what.kind == "strand" and what.place is not None:
        return _of_strand(document, what.place, more)
    if what.kind == "part" and what.place is not None:
        return _of_part(document, what.place, more)
    if what.kind == "body":
        return _of_body(document, what.body, more)
    return None


def bodies(document: Mapping[str, Any]) -> list[str]:
    """Names of the bodies that something may hang on."""
    grabs = [
        str(station["grab"])
        for rope in document.get("rope", [])
        for station in rope.get("path", [])
        if "grab" in station
    ]
    further = [*document.get("further_anchor", {}), *document.get("plate", {})]
    return ["anchor", "load", *grabs, *further]


def _of_strand(document: Mapping[str, Any], place: StationPlace, more: MenuMore) -> Menu:
    rope = document["rope"][place.rope]
    path = rope.get("path", [])
    ends = [station_name(path[k]) for k in (place.station - 1, place.station) if 0 <= k < len(path)]
    at = (place.rope, place.station)
    hung = [
        MenuGroup(
            f"{SPOKEN[kind]} on",
            tuple(
                Choice(body, act("put", kind, *at, body))
                for body in (*bodies(document), "new anchor")
                if kind == "pulley" or body != "new anchor"
            ),
            about=more.capture if kind == "capture" else About(),
        )
        for kind in ("pulley", "capture")
    ]
    own = (
        Choice(SPOKEN["grab"], act("put", "grab", *at, "")),
        Choice(SPOKEN["edge"], act("put", "edge", *at, "")),
    )
    cut = (
        Choice("joined here by a plate", act("cut", *at)),
        Choice("that pulls here, on a grab and over a pulley", act("pull on", *at)),
    )
    title = f"Strand {' to '.join(ends)}: what comes here?"
    inner = 0 < place.station < len(path)
    split = (MenuGroup("Split off a new rope", cut),) if inner else ()
    return Menu(title, (*hung, MenuGroup("On the strand itself", own), *more.groups, *split))


def _which(document: Mapping[str, Any], units: Units) -> Menu:
    """The rigs of the shelf for the job that the page states, or what it does not state."""
    need, missing = job_need(document)
    if need is None:
        say = f"Not stated yet: {'; '.join(missing)}. State it here."
        return Menu(WHICH, (MenuGroup("", about=About(notes=(say,))), *job_questions(document)))
    options = ranked(need)
    good = [one for one in options if not one.why_not]
    refused = tuple(
        f"{one.title}: {'; '.join(why.text(units) for why in one.why_not)}"
        for one in options
        if one.why_not
    )
    title = "These do it, the quickest first" if good else "No rig of the shelf does it"
    return Menu(
        WHICH,
        (
            MenuGroup(
                title,
                tuple(Choice(option_label(one, units), act("fit", one.name)) for one in good),
            ),
            MenuGroup(
                "What this rests on",
                about=About(notes=tuple(one.text(units) for one in warnings(need))),
            ),
            MenuGroup("", about=About(sources=refused, more="Why the others don't")),
        ),
    )


def _of_part(document: Mapping[str, Any], place: StationPlace, more: MenuMore) -> Menu:
    path = document["rope"][place.rope].get("path", [])
    station = path[place.station]
    kind = kind_of(station)
    name = station_name(station)
    at = (place.rope, place.station)
    questions = []
    if kind in ("pulley", "capture", "tie", "edge") and ("on" in station or kind == "tie"):
        key = "tie" if kind == "tie" else "on"
        questions.append(
            MenuGroup(
                "Tied to" if kind == "tie" else "Hangs on",
                tuple(
                    Choice(body, act("hang", *at, key, body), body == station.get(key))
                    for body in bodies(document)
                ),
            )
        )
    if kind == "tie":
        questions.append(knot_choices(station, at))
    if kind in ("pulley", "grab", "capture"):
        questions.append(preset_choices(document, kind, name))
    entries = [
        *(_station_entry(station, kind, at, key) for key in _station_keys(kind)),
        *_item_entries(document, kind, name),
    ]
    if kind not in ("tie", "free"):
        entries.append(Entry("Name", act("rename", name), name, "a name of its own"))
    questions.append(MenuGroup("Its values", (), tuple(entries)))
    questions += [*more.groups, _places(path, place, kind)]
    return Menu(f"{SPOKEN[kind].split(' (')[0]} {name}", tuple(q for q in questions if _full(q)))


def _of_body(document: Mapping[str, Any], name: str, more: MenuMore) -> Menu:
    kind = next((k for k in ("further_anchor", "plate", "gear") if name in document.get(k, {})), "")
    table = f"{kind}.{name}" if kind else name
    declared = ITEM_KEYS[kind].name if kind else name
    row = document.get(kind, {}).get(name, {}) if kind else document.get(name, {})
    entries = tuple(
        entry(row, key, act("set", table, key.name))
        for key in RIG.table(declared).keys
        if key.kind in (KeyKind.NUMBER, KeyKind.TEXT)
        and (name != "load" or key.name in ("mbs_kN", "wll_kN", "item"))
    )
    joined = (Choice("Make one rope of its two", act("join", name)),) if kind == "plate" else ()
    gone = (*joined, Choice("Take it out", act("drop", kind, name))) if kind else ()
    return Menu(name, (MenuGroup("Its values", gone, entries), *more.groups))


def station_name(station: Mapping[str, Any]) -> str:
    """What a station goes by: its own name, of a tie its body."""
    kind = kind_of(station)
    return "slack tail" if kind in ("free", "") else str(station[kind])


def entry(row: Mapping[str, Any], key: Key, does: str) -> Entry:
    """The field of one declared key, with the value that a table has for it."""
    unit = f", {spoken_unit(key.unit)}" if key.unit else ""
    value = ""
    for spelling in key.spellings:
        if spelling.name in row:
            written = row[spelling.name]
            number = f"{written:g}" if isinstance(written, int | float) else str(written)
            value = f"{number} {spelling.unit}".strip()
    return Entry(label=_short(key) + unit, act=does, value=value, hint=key.default or "not known")


def _short(key: Key) -> str:
    """What a key is, without what stands behind a semicolon or colon."""
    return key.meaning.split(";")[0].split(":")[0]


def _station_keys(kind: str) -> tuple[Key, ...]:
    """The keys of a station that are fields."""
    return tuple(
        key for key in RIG.table(kind).keys if key.kind is KeyKind.NUMBER and key.name != kind
    )


def _station_entry(station: Mapping[str, Any], kind: str, at: tuple[int, int], key: Key) -> Entry:
    return entry(station, key, act("station", *at, kind, key.name))


def _item_entries(document: Mapping[str, Any], kind: str, name: str) -> list[Entry]:
    """The fields of a part's own table."""
    if kind not in ITEM_KEYS:
        return []
    row = document.get(kind, {}).get(name, {})
    return [
        entry(row, key, act("set", f"{kind}.{name}", key.name))
        for key in ITEM_KEYS[kind].keys
        if key.kind in (KeyKind.NUMBER, KeyKind.TEXT) and not key.choices
    ]


def _places(path: Any, place: StationPlace, kind: str) -> MenuGroup:
    """Move it along the rope, or take it out."""
    at = (place.rope, place.station)
    inner = kind not in ("tie", "haul", "free")
    choices = []
    if inner and place.station > 1:
        choices.append(
            Choice("One place toward the rope's first end", act("move", *at, place.station - 1))
        )
    if inner and place.station < len(path) - 2:
        choices.append(
            Choice("One place toward the rope's last end", act("move", *at, place.station + 1))
        )
    if kind != "haul":
        choices.append(Choice("Take it out", act("take", *at)))
    return MenuGroup("Its place in the rope", tuple(choices))


def _states(rope: Mapping[str, Any], name: str) -> bool:
    """Whether a rope states this key, in any unit."""
    return any(each.name in rope for each in RIG.table("rope").key(name).spellings)


def _full(question: MenuGroup) -> bool:
    about = question.about
    return bool(question.choices or question.entries or about.notes or about.sources)


def job_questions(document: Mapping[str, Any]) -> tuple[MenuGroup, ...]:
    """The fields of the job: load, distance, rope and people."""
    load, team = document.get("load", {}), document.get("team", {})
    kinds = RIG.table("load").key("kind").choices

    def field(table: str, row: Mapping[str, Any], name: str) -> Entry:
        """The field of a key of one table."""
        declared = "rope" if table.startswith("rope") else table
        return entry(row, RIG.table(declared).key(name), act("set", table, name))

    ropes = document.get("rope", [])
    return (
        MenuGroup("", (), (field("", document, "title"),
                          field("", document, "anchor_to_load_m"))),
        MenuGroup(
            "How the load resists",
            tuple(Choice(k, act("choose", "load", "kind", k), load.get("kind") == k) for k in kinds),
            (field("load", load, "mass_kg"), field("load", load, "slope_deg"),
             field("load", load, "resistance_coefficient"), field("load", load, "resistance_N"),
             field("load", load, "pull_distance_m")),
        ),
        ground_choices(load),
        people_choices(team, (field("team", team, "people"), field("team", team, "pull_N"))),
        *(
            group
            for k, rope in enumerate(ropes)
            for group in (
                MenuGroup(
                    f"Rope {rope.get('name', '')}",
                    (Choice("Take this rope out", act("drop rope", k)),) if len(ropes) > 1 else (),
                    tuple(field(f"rope.{k}", rope, name)
                          for name in ("length_m", "diameter_mm", "mbs_kN")),
                ),
                *((rope_kind_choices(rope, k),) if _states(rope, "mbs_kN") else ()),
            )
        ),
        MenuGroup(
            "Limits", (),
            (field("limits", document.get("limits", {}), "design_factor"),
             field("defaults", document.get("defaults", {}), "pulley_efficiency")),
        ),
    )  # fmt: skip
