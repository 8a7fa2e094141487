"""Declares every key of a rig file: the one place for its unit, range, default, meaning and example."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from analysis.rig.knots import KNOTS, UNKNOWN
from analysis.rig.presets import FOOTINGS, HITCHES, PULLEYS, ROPES
from analysis.rig.surfaces import SURFACES
from logger.file_keys import FileKeys, Key, KeyKind, KeyTable, TableForm

NUMBER, TEXT = KeyKind.NUMBER, KeyKind.TEXT

# interface section 1: what a rig file that leaves the key out gets
DEFAULT_EFFICIENCY, DEFAULT_EFFICIENCY_U = 0.90, 0.05
DEFAULT_CLEARANCE_M, DEFAULT_FACTOR = 0.3, 10.0  # interface section 1
# of the value where the file gives no uncertainty (interface section 1); chosen by us, no reason is on
# record: whoever knows better states it in the file
MASS_U, RESISTANCE_U = 0.02, 0.10
# of the coefficient, interface section 1; chosen by us: a table value, as in `analysis/rig/surfaces.py`
COEFFICIENT_U = EDGE_FRICTION_U = 0.30
BREAKAWAY_U = 0.50  # of the part above 1; chosen by us, no reason is on record
# bounds that catch a slip of the pen; chosen by us: nothing that people haul by hand comes near them
MOST_M, MOST_ROPE_M, MOST_KG, MOST_N, MOST_COEFFICIENT = 1e5, 1e6, 1e9, 1e9, 100.0

# above it a number in kN is taken for one in N; chosen by us: rope that people haul, and its gear, breaks
# far below
MOST_KN = 2000.0
MOST_SLIP_KN = 100.0  # likewise where a hitch slips; chosen by us: the rope would break before
NAME_LENGTH = 40  # characters of a name; chosen by us: a label in a drawing holds no more
RESERVED = ("anchor", "load", "free")  # names of bodies and of a tail, which nothing else may have
# a name: none that is reserved, no ">" (which strand names use), no blank at its start or end
NAME = rf"^(?!({'|'.join(RESERVED)})$)[^>\s]([^>\r\n\t]*[^>\s])?$"


def _share(name: str, meaning: str, example: str, default: str = "") -> Key:
    """A number above 0 and at most 1."""
    return Key(
        name=name,
        kind=NUMBER,
        meaning=meaning,
        example=example,
        default=default,
        above=0.0,
        most=1.0,
    )


def _share_u(name: str, meaning: str, default: str) -> Key:
    """The standard uncertainty of a share."""
    return Key(
        name=name,
        kind=NUMBER,
        meaning=meaning,
        example="0.02",
        default=default,
        least=0.0,
        most=1.0,
    )


def _at_m(example: str) -> Key:
    return Key(
        name="at_m",
        kind=NUMBER,
        meaning="Place on the haul axis at the start of the job, from the anchor toward the load",
        example=example,
        least=-MOST_M,
        most=MOST_M,
        needed=True,
    )


def _name(name: str, meaning: str, example: str) -> Key:
    return Key(
        name=name, kind=TEXT, meaning=meaning, example=example, longest=NAME_LENGTH, needed=True,
        pattern=NAME,
    )  # fmt: skip


def _on(meaning: str, needed: bool = True) -> Key:
    return Key(
        name="on", kind=TEXT, meaning=meaning, example='"anchor"', longest=NAME_LENGTH, needed=needed
    )  # fmt: skip


MBS = Key(
    name="mbs_kN",
    kind=NUMBER,
    meaning="Minimum breaking strength; divided by the design factor",
    example="36.0",
    above=0.0,
    most=MOST_KN,
)
WLL = Key(
    name="wll_kN",
    kind=NUMBER,
    meaning="Working load limit; used as it is",
    example="20.0",
    above=0.0,
    most=MOST_KN,
)
ITEM = Key(
    name="item",
    kind=TEXT,
    meaning="The crew's own mark on the thing",
    example='"P-07"',
    longest=100,
)
RATED = (MBS, WLL, ITEM)
HITCH = (
    *RATED,
    Key(
        name="slips_at_kN",
        kind=NUMBER,
        meaning="Force at which it begins to slip; used undivided",
        example="7.0",
        above=0.0,
        most=MOST_SLIP_KN,
    ),
    Key(
        name="slips_at_u_kN",
        kind=NUMBER,
        meaning="Standard uncertainty of slips_at_kN; the limit is lowered by twice this, which must leave something",
        example="1.0",
        default="not lowered, and a caution",
        above=0.0,
        most=MOST_SLIP_KN,
        needs_one_of=("slips_at_kN",),
    ),
    Key(
        name="damages_rope_at_kN",
        kind=NUMBER,
        meaning="Force at which it begins to hurt the rope; used undivided",
        example="4.0",
        above=0.0,
        most=MOST_SLIP_KN,
    ),
)
PULLEY_PRESET = Key(
    name="preset",
    kind=TEXT,
    meaning="Usual values of this kind, said as assumed; in place of efficiency: "
    + ", ".join(f"{row.name} {row.efficiency:.2f}" for row in PULLEYS),
    example='"ball-sheave"',
    choices=tuple(row.name for row in PULLEYS),
    never_beside=("efficiency", "efficiency_u"),
)
HITCH_PRESET = Key(
    name="preset",
    kind=TEXT,
    meaning="Usual limit of this kind, said as assumed; in place of slips_at_kN and "
    "damages_rope_at_kN",
    example='"three-wrap-prusik"',
    choices=tuple(row.name for row in HITCHES),
    never_beside=("slips_at_kN", "slips_at_u_kN", "damages_rope_at_kN"),
)
_EFFICIENCY = "Tension out / tension in over one turning pulley"

TOP = KeyTable(
    "",
    TableForm.TOP,
    "The rig as a whole.",
    (
        Key(
            name="title", kind=TEXT, meaning="Name of the rig", example='"3:1 on 3:1"', longest=200
        ),
        Key(
            name="note",
            kind=TEXT,
            meaning="Anything worth remembering",
            example='"slipway, spring tide"',
        ),
        Key(
            name="source",
            kind=TEXT,
            meaning="Where the ratio is published",
            example='"club handbook, p. 12"',
        ),
        Key(
            name="anchor_to_load_m",
            kind=NUMBER,
            meaning="Distance of the load from the anchor at the start of the job",
            example="12.0",
            above=0.0,
            most=MOST_M,
            needed=True,
        ),
        Key(
            name="clearance_m",
            kind=NUMBER,
            meaning="Closest that two bodies may come; then the stage is two-blocked",
            example="0.3",
            default=f"{DEFAULT_CLEARANCE_M:g}",
            least=0.0,
            most=100.0,
        ),
    ),
)
DEFAULTS = KeyTable(
    "defaults",
    TableForm.ONE,
    "What holds for every pulley that states nothing of its own.",
    (
        _share(
            "pulley_efficiency", _EFFICIENCY, "0.90", f"{DEFAULT_EFFICIENCY:g}, said as assumed"
        ),
        _share_u(
            "pulley_efficiency_u",
            "Standard uncertainty of pulley_efficiency, common to these pulleys",
            f"{DEFAULT_EFFICIENCY_U:g}",
        ),
    ),
)
LOAD = KeyTable(
    "load",
    TableForm.ONE,
    "The load; leave out what is not known. Without it, ratios are known and forces are not.",
    (
        Key(
            name="kind",
            kind=TEXT,
            meaning="How the load resists; needed beside a mass or a coefficient",
            example='"slope"',
            choices=("hanging", "slope", "rolling", "dragging"),
        ),
        Key(
            name="mass_kg",
            kind=NUMBER,
            meaning="Mass of the load",
            example="900.0",
            above=0.0,
            most=MOST_KG,
            needs_one_of=("kind", "surface"),
        ),
        Key(
            name="mass_kg_u",
            kind=NUMBER,
            meaning="Standard uncertainty of mass_kg",
            example="20.0",
            default=f"{100 * MASS_U:g} % of the mass",
            least=0.0,
            most=MOST_KG,
        ),
        Key(
            name="slope_deg",
            kind=NUMBER,
            meaning="Slope of the ground, + uphill toward the anchor",
            example="7.0",
            default="0",
            least=-90.0,
            most=90.0,
        ),
        Key(
            name="resistance_coefficient",
            kind=NUMBER,
            meaning="Rolling or sliding force / normal force",
            example="0.05",
            least=0.0,
            most=MOST_COEFFICIENT,
            needs_one_of=("kind", "surface"),
        ),
        Key(
            name="resistance_coefficient_u",
            kind=NUMBER,
            meaning="Standard uncertainty of resistance_coefficient",
            example="0.015",
            default=f"{100 * COEFFICIENT_U:g} % of the coefficient",
            least=0.0,
            most=MOST_COEFFICIENT,
        ),
        Key(
            name="surface",
            kind=TEXT,
            meaning="The ground, which gives coefficient and breakaway where the file does not: "
            + ", ".join(row.name for row in SURFACES),
            example='"greased-ways"',
            longest=100,
            listed=tuple(row.name for row in SURFACES),
        ),
        Key(
            name="breakaway",
            kind=NUMBER,
            meaning="Resistance before the load moves / resistance while it moves",
            example="1.5",
            default="that of the surface, else not known",
            least=1.0,
            most=100.0,
        ),
        Key(
            name="breakaway_u",
            kind=NUMBER,
            meaning="Standard uncertainty of breakaway",
            example="0.2",
            default=f"{100 * BREAKAWAY_U:g} % of what is above 1",
            least=0.0,
            most=100.0,
        ),
        Key(
            name="resistance_N",
            kind=NUMBER,
            meaning="Force along the haul axis while the load moves, in place of mass, slope, "
            "coefficient and surface",
            example="1500.0",
            above=0.0,
            most=MOST_N,
            never_beside=("mass_kg", "slope_deg", "resistance_coefficient", "surface"),
        ),
        Key(
            name="resistance_u_N",
            kind=NUMBER,
            meaning="Standard uncertainty of resistance_N",
            example="40.0",
            default=f"{100 * RESISTANCE_U:g} % of the resistance",
            least=0.0,
            most=MOST_N,
            needs_one_of=("resistance_N",),
        ),
        Key(
            name="pull_distance_m",
            kind=NUMBER,
            meaning="How far the load must go",
            example="8.0",
            above=0.0,
            most=MOST_M,
        ),
        *RATED,
    ),
)
TEAM = KeyTable(
    "team",
    TableForm.ONE,
    "The people who haul.",
    (
        Key(
            name="pull_N",
            kind=NUMBER,
            meaning="What the haulers can keep up together",
            example="600.0",
            above=0.0,
        ),
        Key(
            name="people",
            kind=KeyKind.WHOLE,
            meaning="How many people haul",
            example="4",
            least=1,
            most=1000,
        ),
        Key(
            name="footing",
            kind=TEXT,
            meaning="The ground that they stand on, which gives pull_N from people, said as assumed",
            example='"good"',
            choices=tuple(row.name for row in FOOTINGS),
            never_beside=("pull_N",),
            needs_one_of=("people",),
        ),
        Key(
            name="stand_m",
            kind=NUMBER,
            meaning="Where they take the rope, from the anchor",
            example="2.0",
            default="0",
            least=-MOST_M,
            most=MOST_M,
        ),
    ),
)
ROPE = KeyTable(
    "rope",
    TableForm.LIST,
    "One rope; its path is the stations that a hand meets from its first end to its last.",
    (
        _name("name", "Name of the rope", '"main"'),
        Key(
            name="length_m",
            kind=NUMBER,
            meaning="Rope in the bag",
            example="60.0",
            above=0.0,
            most=MOST_ROPE_M,
        ),
        Key(
            name="diameter_mm",
            kind=NUMBER,
            meaning="Diameter of the rope",
            example="11.0",
            above=0.0,
            most=1000.0,
        ),
        MBS,
        Key(
            name="preset",
            kind=TEXT,
            meaning="Usual stretch of this kind of rope, said as assumed; needs mbs_kN; in place of "
            "stretch_percent and stretch_at_kN",
            example='"low-stretch-kernmantle"',
            choices=tuple(row.name for row in ROPES),
            never_beside=("stretch_percent", "stretch_at_kN"),
            needs_one_of=("mbs_kN",),
        ),
        Key(
            name="stretch_percent",
            kind=NUMBER,
            meaning="Elongation at stretch_at_kN; both or none",
            example="3.0",
            least=0.0,
            most=1000.0,
            needs_one_of=("stretch_at_kN",),
        ),
        Key(
            name="stretch_at_kN",
            kind=NUMBER,
            meaning="Force at which stretch_percent holds",
            example="1.5",
            above=0.0,
            most=MOST_KN,
            needs_one_of=("stretch_percent",),
        ),
        ITEM,
        Key(
            name="path",
            kind=KeyKind.STATIONS,
            meaning="The stations in rope order, at least two",
            example='[ { tie = "load" }, { pulley = "A1", on = "anchor" }, { haul = "team" } ]',
            needed=True,
        ),
    ),
)
TIE = KeyTable(
    "tie",
    TableForm.STATION,
    "An end of a rope that is terminated at a body.",
    (
        Key(
            name="tie",
            kind=TEXT,
            meaning="The body",
            example='"load"',
            longest=NAME_LENGTH,
            needed=True,
        ),
        _share(
            "strength",
            "Share of the rope's strength that the knot keeps; lowers the limit of its own strand alone",
            "0.75",
            f"that of the knot, else {UNKNOWN.keeps:.2f} and said",
        ),
        Key(
            name="knot",
            kind=TEXT,
            meaning="The knot, which gives strength with its uncertainty and source; never beside strength: "
            + ", ".join(f"{row.name} {row.keeps:.2f}" for row in KNOTS),
            example='"figure-eight"',
            longest=100,
            listed=tuple(row.name for row in KNOTS),
            never_beside=("strength",),
        ),
    ),
)
GRAB = KeyTable(
    "grab",
    TableForm.STATION,
    "A rope grab on this strand: a friction hitch such as a prusik, or a device.",
    (_name("grab", "Name of the grab", '"G1"'), _at_m("9.0")),
)
PULLEY = KeyTable(
    "pulley",
    TableForm.STATION,
    "A pulley that the rope turns on.",
    (
        _name("pulley", "Name of the pulley", '"A1"'),
        _on("The body that it hangs on: anchor, load, a further anchor, a grab or a plate"),
    ),
)
CAPTURE = KeyTable(
    "capture",
    TableForm.STATION,
    "A progress capture on this strand; it lets rope run toward the haulers only.",
    (
        _name("capture", "Name of the capture", '"C1"'),
        _on("The body that it hangs on"),
    ),
)
EDGE = KeyTable(
    "edge",
    TableForm.STATION,
    "Rope over ground or a lip, or turns round a post.",
    (
        replace(_name("edge", "Name of the edge", '"E1"'), needs_one_of=("at_m", "on")),
        Key(
            name="at_m",
            kind=NUMBER,
            meaning="Place on the haul axis, from the anchor; or on, for turns round a post",
            example="1.0",
            least=-MOST_M,
            most=MOST_M,
            never_beside=("on",),
        ),
        _on("The anchor that the rope is wrapped round, in place of at_m", needed=False),
        Key(
            name="wrap_deg",
            kind=NUMBER,
            meaning="Angle over which the rope touches",
            example="90.0",
            least=0.0,
            most=36000.0,
            needed=True,
        ),
        Key(
            name="friction",
            kind=NUMBER,
            meaning="Coefficient of friction; efficiency = exp(-friction x angle in rad)",
            example="0.3",
            least=0.0,
            most=10.0,
            needed=True,
        ),
    ),
)
HAUL = KeyTable(
    "haul",
    TableForm.STATION,
    "Where the pull comes in; exactly one in a rig.",
    (
        _name("haul", "Name of those who haul", '"team"'),
        Key(
            name="toward_deg",
            kind=NUMBER,
            meaning="The way the haul strand leaves its last station: 0 toward the anchor's side, "
            "180 toward the load's",
            example="90.0",
            default="0",
            least=-360.0,
            most=360.0,
            never_beside=("on",),
        ),
        _on("The body that the winch or hauler rides on and takes rope in", needed=False),
    ),
)
FREE = KeyTable(
    "free",
    TableForm.STATION,
    "A slack tail, last in a path.",
    (Key(name="free", kind=KeyKind.FLAG, meaning="Always true", example="true", needed=True),),
)
OF_PULLEY = KeyTable(
    "pulley.NAME",
    TableForm.NAMED,
    "A pulley's own values.",
    (
        PULLEY_PRESET,
        _share("efficiency", _EFFICIENCY, "0.92", "that of [defaults]"),
        _share_u("efficiency_u", "Standard uncertainty of efficiency", "that of [defaults]"),
        *RATED,
    ),
)
OF_GRAB = KeyTable("grab.NAME", TableForm.NAMED, "A grab's own values.", (HITCH_PRESET, *HITCH))
OF_CAPTURE = KeyTable(
    "capture.NAME",
    TableForm.NAMED,
    "A capture's own values.",
    (
        _share("efficiency", "Tension out / tension in of the strand through it", "0.98", "1"),
        _share_u("efficiency_u", "Standard uncertainty of efficiency", "0"),
        Key(
            name="setback_m",
            kind=NUMBER,
            meaning="Load travel lost each time it sets",
            example="0.05",
            default="0",
            least=0.0,
            most=1000.0,
        ),
        HITCH_PRESET,
        *HITCH,
    ),
)
OF_EDGE = KeyTable(
    "edge.NAME",
    TableForm.NAMED,
    "An edge's own values.",
    (
        Key(
            name="friction_u",
            kind=NUMBER,
            meaning="Standard uncertainty of friction",
            example="0.05",
            default=f"{100 * EDGE_FRICTION_U:g} % of the friction, said as assumed",
            least=0.0,
            most=10.0,
        ),
        *RATED,
    ),
)
ANCHOR = KeyTable("anchor", TableForm.ONE, "The anchor, at 0 m.", RATED)
FURTHER_ANCHOR = KeyTable(
    "further_anchor.NAME",
    TableForm.NAMED,
    "Another fixed body.",
    (
        _at_m("-1.0"),
        Key(
            name="offset_m",
            kind=NUMBER,
            meaning="Distance sideways from the haul axis",
            example="2.0",
            default="0",
            least=-MOST_M,
            most=MOST_M,
        ),
        *RATED,
    ),
)
PLATE = KeyTable(
    "plate.NAME",
    TableForm.NAMED,
    "A travelling body that is no grab: two ropes joined, a spreader.",
    (_at_m("5.0"), *RATED),
)
GEAR = KeyTable(
    "gear.NAME",
    TableForm.NAMED,
    "A connector, sling or double pulley; rated for the vector sum of what it carries.",
    (
        Key(
            name="carries",
            kind=KeyKind.TEXTS,
            meaning="Pulleys, captures, grabs, plates, anchors or gear that hang on it",
            example='["A1", "C1"]',
            needed=True,
        ),
        Key(
            name="kind",
            kind=TEXT,
            meaning="What it is, in the crew's words",
            example='"carabiner"',
            default="gear",
            longest=100,
        ),
        *RATED,
    ),
)
LIMITS = KeyTable(
    "limits",
    TableForm.ONE,
    "How ratings become limits.",
    (
        Key(
            name="design_factor",
            kind=NUMBER,
            meaning="Minimum breaking strength / allowed working force",
            example="10.0",
            default=f"{DEFAULT_FACTOR:g}",
            least=1.0,
            most=1000.0,
        ),
    ),
)
STATION_KEYS = {
    table.name: table for table in (TIE, GRAB, PULLEY, CAPTURE, EDGE, HAUL, FREE)
}  # by the kind of station, in the order in which help lists them
ITEM_KEYS = {
    table.name.partition(".")[0]: table
    for table in (OF_PULLEY, OF_GRAB, OF_CAPTURE, OF_EDGE, FURTHER_ANCHOR, PLATE, GEAR)
}  # by the kind of item


def _path_rule(**rule: Any) -> dict[str, Any]:
    """A rule of the schema about each rope's path."""
    return {"properties": {"rope": {"items": {"properties": {"path": rule}}}}}


_HAUL = {"required": ["haul"]}
_RULES: tuple[dict[str, Any], ...] = (
    # a path begins with an end of the rope
    _path_rule(items=[{"anyOf": [{"required": ["tie"]}, _HAUL]}]),
    # a slack tail is one
    _path_rule(items={"properties": {"free": {"const": True}}}),
    # some rope is hauled
    {"properties": {"rope": {"contains": {"properties": {"path": {"contains": _HAUL}}}}}},
    # ground for wheels under wheels, ground for sliding under what slides
    *(
        {"properties": {"load": {
            "if": {"required": ["kind", "surface"], "properties": {"kind": {"const": kind}}},
            "then": {"properties": {"surface": {"enum": [r.name for r in SURFACES if r.kind == kind]}}},
        }}}
        for kind in ("hanging", "rolling", "dragging")
    ),
    # names of tables are those of what stands in a path or below it
    *(
        {"properties": {kind: {"propertyNames": {"pattern": NAME, "maxLength": NAME_LENGTH}}}}
        for kind in ITEM_KEYS
    ),
)  # fmt: skip
RIG = FileKeys(
    "rig",
    "A rig file: the rope, read in rope order.",
    (
        TOP,
        DEFAULTS,
        LOAD,
        TEAM,
        ROPE,
        *STATION_KEYS.values(),
        *ITEM_KEYS.values(),
        ANCHOR,
        LIMITS,
    ),
    _RULES,
)
