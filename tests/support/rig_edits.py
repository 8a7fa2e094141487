"""Random edits of a rig file, as hypothesis strategies: what fingers on the drawing and the list may do."""

from __future__ import annotations

import tomllib

from hypothesis import strategies as st

from analysis.rig_edit.edits import (
    MoveStation,
    PutRope,
    PutStation,
    Rename,
    RigEdit,
    SetStation,
    SetValue,
    StationPlace,
    TakeItem,
    TakeRope,
    TakeStation,
    names_in,
)
from analysis.rig_edit.fresh_parts import fresh_name, fresh_station
from analysis.rig_file.rig_keys import STATION_KEYS

NAMES = st.sampled_from(["A1", "T1", "G1", "C1", "L1", "load", "anchor", "Seil", "ä b", "nobody"])
NUMBERS = st.sampled_from([-1.0, 0.0, 0.3, 0.9, 1.0, 5.0, 9.0, 40.0, 1e7])
TABLES = ("", "load", "team", "anchor", "rope.0", "rope.3", "pulley.A1", "grab.G1", "gear.K1",
          "further_anchor.P1", "plate.B1")  # fmt: skip
KEYS = ("title", "anchor_to_load_m", "anchor_to_load_ft", "mass_kg", "mass_lb", "kind", "pull_N",
        "mbs_kN", "mbs_lbf", "length_m", "at_m", "efficiency", "carries", "nonsense")  # fmt: skip


@st.composite
def edits(draw: st.DrawFn, text: str) -> RigEdit:
    """One edit of the rig file with this text; most have a place there."""
    document = tomllib.loads(text)
    ropes = document.get("rope", [])
    rope = draw(st.integers(0, max(0, len(ropes))))
    length = len(ropes[rope].get("path", [])) if rope < len(ropes) else 0
    place = StationPlace(rope, draw(st.integers(0, length)))
    names = [*sorted(names_in(document)), "nobody"]
    what = draw(st.integers(0, 9))
    if what <= 2:
        kind = draw(st.sampled_from(sorted(STATION_KEYS)))
        on = draw(st.sampled_from(["anchor", "load", *names]))
        if rope < len(ropes):
            return PutStation(place, fresh_station(document, kind, place, on))
        return PutRope(fresh_name(document, "rope"), ((("tie", on),), (("haul", "team"),)))
    if what == 3:
        return TakeStation(place)
    if what == 4:
        return MoveStation(place, draw(st.integers(0, length)))
    if what == 5:
        key = draw(st.sampled_from(["on", "at_m", "at_ft", "strength", "knot", "wrap_deg"]))
        return SetStation(place, key, draw(st.one_of(st.none(), NUMBERS, NAMES)))
    if what == 6:
        value = draw(st.one_of(st.none(), NUMBERS, NAMES))
        return SetValue(draw(st.sampled_from(TABLES)), draw(st.sampled_from(KEYS)), value)
    if what == 7:
        return Rename(draw(st.sampled_from(names)), draw(NAMES))
    if what == 8:
        return TakeRope(rope)
    return TakeItem(draw(st.sampled_from(["further_anchor", "plate", "gear"])), draw(NAMES))
