"""Says each move of a conversion in the trade's words."""

from __future__ import annotations

from analysis.conversion.held import GROUND, HeldStage, strands_beside
from analysis.conversion.outline import Spot
from analysis.conversion.stages import Edit, Stages, Standing
from analysis.messages.message import Message, message

KINDS = {
    "off": "take off", "on": "put on", "relocate": "move", "slide": "slide", "rope off": "take off",
    "rope on": "put on",
}  # fmt: skip


def holding(before: str | None, now: str) -> tuple[str, Message]:
    """Kind and text of a move after which something else holds; before: what held, None: the team."""
    if now == GROUND:
        return "chock", message("convert_chock")
    if before is None:
        return "hold", message("convert_hold", name=now)
    return "ease", message("convert_ease", name=now, before=before)


def kind_of_move(stages: Stages, edits: tuple[Edit, ...]) -> str:
    """Kind of a move that makes these edits, as in the JSON."""
    if len(edits) == 1:
        edit = edits[0]
        return _end_kind(stages, edit) if edit.kind == "end" else KINDS[edit.kind]
    ends = [_end_kind(stages, edit) for edit in edits if edit.kind == "end"]
    return next((kind for kind in ends if kind != "move"), ends[0]) if ends else "move"


def _end_kind(stages: Stages, edit: Edit) -> str:
    entry = stages.entry(edit)
    kinds = [one.kind if one else "" for one in (entry.old, entry.new)]
    if kinds[1] == "tie":
        return "tie"
    return "untie" if kinds[0] == "tie" else "move"


def texts_of_move(
    stages: Stages, edits: tuple[Edit, ...], before: HeldStage, after: HeldStage
) -> tuple[Message, ...]:
    """The sentences of a move that makes these edits between two stages."""
    if [edit.kind for edit in edits] == ["off", "on"]:
        return (_moved(stages, edits[0], edits[1], before, after),)
    return tuple(_one(stages, edit, before, after) for edit in edits)


def text_of_edit(stages: Stages, edit: Edit) -> Message:
    """A short text of an edit that could not be made."""
    empty: frozenset[int] = frozenset()
    standing = tuple(tuple(rope) for rope in stages.standing(empty))
    before = HeldStage(standing, _zero(standing), "")
    later = tuple(tuple(rope) for rope in stages.standing(stages.all))
    return _one(stages, edit, before, HeldStage(later, _zero(later), ""))


def _zero(standing: tuple[tuple[Standing, ...], ...]) -> dict[tuple[int, int], float]:
    return {(one.rope, one.entry): 0.0 for rope in standing for one in rope[:-1]}


def _at(stage: HeldStage, rope: int, entry: int) -> Standing | None:
    return next(
        (one for row in stage.standing for one in row if (one.rope, one.entry) == (rope, entry)), None
    )  # fmt: skip


def _body(stages: Stages, one: Standing) -> Message:
    name = one.name if one.spot.kind == "tie" else stages.body_name(one)
    if name == "load":
        return message("convert_the_load")
    if name == "anchor":
        return message("convert_the_anchor")
    return message("convert_a_body", name=name)


def _strand(stage: HeldStage, rope: int, entry: int) -> str:
    return " and ".join(strands_beside(stage, rope, entry)[:1]) or "-"


def _kind(spot: Spot) -> Message:
    return kind_word(spot.kind)


def kind_word(kind: str) -> Message:
    """A kind of station in words."""
    words = {
        "pulley": message("convert_kind_pulley"),
        "capture": message("convert_kind_capture"),
        "grab": message("convert_kind_grab"),
        "edge": message("convert_kind_edge"),
    }
    return words.get(kind) or message("convert_kind_haul")


def _moved(stages: Stages, off: Edit, on: Edit, before: HeldStage, after: HeldStage) -> Message:
    """A thing that comes off at one place and goes on at another."""
    was, now = _at(before, off.rope, off.entry), _at(after, on.rope, on.entry)
    assert was is not None and now is not None
    strand = _strand(before, on.rope, on.entry)
    if was.spot.kind == "grab":
        return message(
            "convert_move_grab", name=was.name, strand=strand, at_m=float(now.spot.values["at_m"]),
            new=now.name,
        )  # fmt: skip
    return message(
        "convert_move", kind=_kind(was.spot), name=was.name, before=_body(stages, was),
        body=_body(stages, now), strand=strand, new=now.name,
    )  # fmt: skip


def _one(stages: Stages, edit: Edit, before: HeldStage, after: HeldStage) -> Message:
    places = stages.places(edit)
    if edit.entry < 0:
        return _rope(stages, edit, before, after)
    was, now = _at(before, *places[0]), _at(after, *places[-1])
    if edit.kind == "off":
        assert was is not None
        if was.spot.kind in ("grab", "haul"):
            return message("convert_off_rope", kind=_kind(was.spot), name=was.name)
        return message("convert_off", kind=_kind(was.spot), name=was.name, body=_body(stages, was))
    assert now is not None
    strand = _strand(before, *places[-1])
    if edit.kind == "relocate":
        return message("convert_relocate", name=now.name, strand=strand, at_m=_at_m(now))
    if edit.kind == "slide":
        return message("convert_slide", name=now.name, at_m=_at_m(now))
    if edit.kind == "end":
        assert was is not None
        return _end(stages, edit, was, now)
    if now.spot.kind == "grab":
        capture = _capture_beside(after, now)
        if capture is not None:
            return message(
                "convert_put_grab_by",
                name=now.name,
                strand=strand,
                at_m=_at_m(now),
                capture=capture,
            )
        return message("convert_put_grab", name=now.name, strand=strand, at_m=_at_m(now))
    if now.spot.kind == "capture":
        return message("convert_put_capture", name=now.name, body=_body(stages, now), strand=strand)
    return message(
        "convert_put", kind=_kind(now.spot), name=now.name, body=_body(stages, now), strand=strand
    )


def _at_m(one: Standing) -> float:
    return float(one.spot.values["at_m"])


def _capture_beside(stage: HeldStage, grab: Standing) -> str | None:
    """Name of the capture that holds, where the grab stands right on the loaded side of it."""
    for row in stage.standing:
        if grab in row:
            k = row.index(grab)
            for one in row[max(0, k - 1) : k + 2]:
                if one.spot.kind == "capture" and one.name == stage.name:
                    return one.name
    return None


def _end(stages: Stages, edit: Edit, was: Standing, now: Standing) -> Message:
    """The end of a rope tied, untied, or handed over."""
    rope = stages.rope_name(edit.rope)
    if was.spot.kind == "tie":
        first = message("convert_untie", rope=rope, body=_body(stages, was))
    elif was.spot.kind == "haul":
        first = message("convert_take_haul", rope=rope, haul=was.name)
    else:
        first = message("convert_take_slack", rope=rope)
    if now.spot.kind == "tie":
        return message("convert_then_tie", first=first, body=_body(stages, now))
    if now.spot.kind == "haul":
        return message("convert_then_haul", first=first, haul=now.name)
    return message("convert_then_slack", first=first)


def _rope(stages: Stages, edit: Edit, before: HeldStage, after: HeldStage) -> Message:
    """A whole rope that comes or goes."""
    stage = before if edit.kind == "rope off" else after
    path = next(
        (" - ".join(one.name for one in row) for row in stage.standing if row and row[0].rope == edit.rope),
        "",
    )  # fmt: skip
    name = stages.rope_name(edit.rope)
    if edit.kind == "rope off":
        return message("convert_rope_off", rope=name, path=path)
    return message("convert_rope_on", rope=name, path=path)
