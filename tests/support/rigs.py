"""Rig files as text for tests: the 3:1 that most tests haul with, paths from short words, random valid rigs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from hypothesis import strategies as st

from analysis.rig.rig import Rig
from analysis.rig_file.load import parse_rig
from logger.errors import RigFault


def rig_text(
    stations: Iterable[str],
    load: str = "",
    *,
    title: str = "Launch on its cradle, 3:1",
    anchor_to_load_m: float = 12.0,
    top: str = "",
    rope: str = "",
    more: str = "",
) -> str:
    """A rig file with one rope.

    stations: of the rope in its order, each as an inline table.
    load: the lines of [load]; no such table without them.
    top: lines in front of [load]; rope: lines of [[rope]]; more: lines behind all.
    """
    path = "".join(f"  {station},\n" for station in stations)
    loaded = f"[load]\n{load}\n" if load else ""
    return (
        f'title = "{title}"\nanchor_to_load_m = {anchor_to_load_m}\n{top}{loaded}'
        f'[[rope]]\nname = "main"\n{rope}path = [\n{path}]\n{more}'
    )


def stage(number: int, grab_at_m: float, *, capture: bool = True) -> list[str]:
    """The stations of one 3:1: grab, pulley at the anchor, pulley on the grab.

    number: of the stage, in the names of its parts.
    grab_at_m: distance of the grab from the anchor in m.
    capture: whether the rope runs through a progress capture at the anchor.
    """
    held = [f'{{ capture = "C{number}", on = "anchor" }}'] if capture else []
    return [
        f'{{ grab = "G{number}", at_m = {grab_at_m} }}',
        *held,
        f'{{ pulley = "A{number}", on = "anchor" }}',
        f'{{ pulley = "T{number}", on = "G{number}" }}',
    ]


HAUL = '{ haul = "team" }'


# one pulley between the load and the team: where a test needs any rig that can be hauled
STRAIGHT_PULL = rig_text(
    ['{ tie = "load" }', '{ pulley = "A1", on = "anchor" }', HAUL],
    title="slipway",
    anchor_to_load_m=10.0,
)


def three_to_one_stations(grab_at_m: float, *, knot: float | None = None) -> list[str]:
    """The stations of the 3:1 with a capture; knot: share of the rope's strength that the knot keeps."""
    strength = "" if knot is None else f", strength = {knot}"
    return [f'{{ tie = "load"{strength} }}', *stage(1, grab_at_m), HAUL]


def three_to_one(
    load: str = "", *, grab_at_m: float = 9.0, knot: float | None = 1.0, **texts
) -> str:
    """The rig file of the 3:1 that most tests haul with; texts: as for `rig_text`."""
    return rig_text(three_to_one_stations(grab_at_m, knot=knot), load, **texts)


def nine_to_one(load: str, *, anchor_to_load_m: float = 14.0, **texts) -> str:
    """The rig file of a 3:1 on a 3:1 with one capture, its grabs 3 and 4 m from the load; texts: as for
    `rig_text`."""
    near, far = anchor_to_load_m - 3.0, anchor_to_load_m - 4.0
    stations = ['{ tie = "load" }', *stage(1, near), *stage(2, far, capture=False), HAUL]
    return rig_text(
        stations,
        load,
        title="Launch on its cradle, 9:1",
        anchor_to_load_m=anchor_to_load_m,
        **texts,
    )


def rig(
    path: str, *, e: float | None = 0.9, length: float = 100.0, extra: str = "", top: str = ""
) -> Rig:
    """A rig from words, as `words_toml` writes it."""
    return parse_rig(words_toml(path, e=e, length=length, extra=extra, top=top), "test-rig.toml")


def words_toml(
    path: str, *, e: float | None = 0.9, length: float = 100.0, extra: str = "", top: str = ""
) -> str:
    """A rig file from words in rope order, ropes parted by "|".

    tie:BODY  grab:NAME@M  pulley:NAME@BODY  capture:NAME@BODY  post:NAME@BODY,wrap,friction
    edge:NAME@M,wrap,friction  haul  haul:TOWARD_DEG  haul@BODY  free
    """
    text = f"anchor_to_load_m = {length}\nclearance_m = 0.3\n{top}\n"
    if e is not None:
        text += f"[defaults]\npulley_efficiency = {e!r}\n"
    text += extra
    for k, rope in enumerate(path.split("|")):
        stations = ",\n  ".join(_station(word) for word in rope.split())
        text += f'\n[[rope]]\nname = "rope {k + 1}"\npath = [\n  {stations},\n]\n'
    return text


def _station(word: str) -> str:
    if word == "free":
        return "{ free = true }"
    if word.startswith("haul@"):
        return f'{{ haul = "team", on = "{word[5:]}" }}'
    if word.startswith("haul"):
        _, _, toward = word.partition(":")
        return f'{{ haul = "team", toward_deg = {toward or 0} }}'
    kind, _, rest = word.partition(":")
    if kind == "tie":
        return f'{{ tie = "{rest}" }}'
    name, _, where = rest.partition("@")
    if kind == "grab":
        return f'{{ grab = "{name}", at_m = {where} }}'
    if kind in ("edge", "post"):
        place, wrap, friction = where.split(",")
        key = f"at_m = {place}" if kind == "edge" else f'on = "{place}"'
        return f'{{ edge = "{name}", {key}, wrap_deg = {wrap}, friction = {friction} }}'
    return f'{{ {kind} = "{name}", on = "{where}" }}'


def simple(sheaves: int, *, last_on_anchor: bool) -> str:
    """A simple tackle's path: sheaves in turn on load and anchor, the haul off the last one."""
    bodies = ["anchor" if (k % 2 == 0) == last_on_anchor else "load" for k in range(sheaves)]
    bodies.reverse()
    start = "load" if bodies[0] == "anchor" else "anchor"
    words = [f"tie:{start}", *(f"pulley:P{k}@{body}" for k, body in enumerate(bodies))]
    return " ".join([*words, "haul" if not last_on_anchor else "haul:180"])


# a load that hangs, of WEIGHT in N
WEIGHT = 1000.0
HUNG = f'[load]\nkind = "hanging"\nmass_kg = {WEIGHT / 9.80665!r}\nmass_kg_u = 2.0\n'

THREE = "tie:load grab:G1@50 pulley:A1@anchor pulley:T1@G1 haul"
NINE = "tie:load grab:G1@90 capture:C1@anchor pulley:A1@anchor pulley:T1@G1 grab:G2@80 pulley:A2@anchor pulley:T2@G2 haul"
TWELVE = "tie:anchor pulley:L1@load capture:C1@anchor pulley:A1@anchor pulley:L2@load grab:G2@80 pulley:A2@anchor pulley:T2@G2 haul"
EIGHTEEN = "tie:anchor pulley:L1@load grab:G1@90 capture:C1@anchor pulley:A1@anchor pulley:L2@G1 grab:G2@80 pulley:A2@anchor pulley:T2@G2 haul"
BURTON = "tie:load pulley:X@P haul:180 | tie:P pulley:A@anchor tie:load"
BURTON_PLATE = "[plate.P]\nat_m = 60\n"
FIVE_COMPLEX = "tie:load pulley:A@anchor pulley:X@P haul | tie:P pulley:Y@load tie:anchor"


@st.composite
def rigs(draw: st.DrawFn) -> Rig:
    """Random valid rigs: one to three stages, each a simple tackle on the last, on one rope or more.

    Stages hang on the load or on grabs; captures, posts and edges, redirects on anchors beside the
    axis, hauls at any angle and winches on the load come in at random.
    """
    e = draw(st.floats(0.4, 1.0))
    words: list[str] = []
    extra = ""
    stages = draw(st.integers(1, 3))
    number = 0
    position = 90.0
    pulleys: list[str] = []
    if draw(st.booleans()):
        words.append("tie:anchor")
        words.append("pulley:L0@load")
    else:
        words.append("tie:load")
    if draw(st.booleans()):
        extra += "[further_anchor.P1]\nat_m = -2.0\noffset_m = 3.0\n"
    fixed = ["anchor", *(["P1"] if "P1" in extra else [])]
    for stage in range(stages):
        grab = f"G{stage}"
        words.append(f"grab:{grab}@{position}")
        if draw(st.booleans()):
            words.append(f"capture:C{stage}@anchor")
        if draw(st.booleans()):
            words.append(
                f"edge:E{stage}@{draw(st.floats(1.0, 2.0))},{draw(st.integers(10, 120))},{draw(st.floats(0.0, 0.4))}"
            )
        for _ in range(draw(st.integers(1, 2))):
            words.append(f"pulley:A{number}@{draw(st.sampled_from(fixed))}")
            words.append(f"pulley:T{number}@{grab}")
            pulleys += [f"A{number}", f"T{number}"]
            number += 1
        position -= 25.0
    ending = draw(st.sampled_from(["haul", "redirect", "winch"]))
    if ending == "redirect":
        words.append(f"pulley:R@{draw(st.sampled_from(fixed))}")
        words.append(f"haul:{draw(st.integers(0, 180))}")
    elif ending == "winch":
        words.append("pulley:R@anchor")
        words.append("haul@load")
    else:
        words.append("haul")
    own = draw(st.lists(st.sampled_from(pulleys), unique=True, max_size=3))
    for name in own:
        extra += (
            f"[pulley.{name}]\nefficiency = {draw(st.floats(0.4, 1.0))!r}\nefficiency_u = 0.02\n"
        )
    if "P1" in extra and not any("@P1" in w for w in words):
        extra = extra.replace("[further_anchor.P1]\nat_m = -2.0\noffset_m = 3.0\n", "")
    return rig(" ".join(words), e=e, extra=extra)


def with_distance(rig_: Rig, metres: float) -> Rig:
    """The rig with this distance to haul, in m, so that its job has strokes."""
    return replace(rig_, load=replace(rig_.load, pull_distance_m=metres))


def refused(text_or_path: str, **kwargs: object) -> str:
    """The one line with which this rig is refused."""
    try:
        rig(text_or_path, **kwargs)  # type: ignore[arg-type]
    except RigFault as fault:
        return str(fault)
    raise AssertionError("this rig was taken")


BLOCKS_HEAD = 'title = "blocks"\nanchor_to_load_m = 12.0\n[defaults]\npulley_efficiency = 0.95\n'


def blocks(pulleys: int) -> str:
    """A rig of one rope that runs to and fro between the anchor and the load."""
    path = ['{ tie = "anchor" }'] + [
        f'{{ pulley = "P{k}", on = "{"anchor" if k % 2 else "load"}" }}' for k in range(pulleys)
    ]
    inner = ",\n".join([*path, HAUL])
    return f'{BLOCKS_HEAD}[[rope]]\nname = "main"\npath = [\n{inner}\n]\n'
