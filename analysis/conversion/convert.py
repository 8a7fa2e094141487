"""Makes the plan of a conversion: moves with the rig file after each, and what changes; JSON of `haul convert`."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any

from analysis.conversion.held import (
    GROUND,
    ON_GROUND,
    HeldStage,
    ground_surely_holds,
    held_stage,
    held_tension,
)
from analysis.conversion.outline import Outline, outline, reversed_rope, scaled
from analysis.conversion.pairing import same_end
from analysis.conversion.search import Blocked, FewestMoves, Step, solve
from analysis.conversion.stages import Stages
from analysis.conversion.wording import (
    holding,
    kind_of_move,
    kind_word,
    text_of_edit,
    texts_of_move,
)
from analysis.mechanics.load_resistance import resistance
from analysis.mechanics.model import model
from analysis.messages.message import Message, message
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from analysis.rig_edit.toml_text import document_text
from analysis.rig_file.load import parse_rig, sketch_rig
from logger.errors import RigFault

# share by which a force must grow to be named; interface section 7
MORE = 1.01
LOADED = ("anchor", "pulley", "grab")  # kinds whose greater load is named; interface section 7
PARTS = ("pulley", "grab", "capture", "edge")  # stations that are hardware


@dataclass(frozen=True)
class Move:
    """One move of a conversion."""

    kind: str  # chock | hold | take off | put on | move | slide | tie | untie | ease
    texts: tuple[Message, ...]  # what to do, sentence by sentence
    held_by: str  # capture that holds the load after it, by its name then; "ground"
    rig: str  # the rig file after it
    changed: tuple[str, ...]  # stations that it puts on, moves or sets, by their names after it
    tension: tuple[
        float, ...
    ]  # tension / load force of each strand of `rig`, in its order, while held


@dataclass(frozen=True)
class LoadedMore:
    """An anchor, pulley or grab that carries more in the new rig, while hauling without friction."""

    name: str  # in the new rig
    before: float  # force / load force
    after: float  # force / load force


@dataclass(frozen=True)
class Conversion:
    """What it takes to make one rig of another with the load held."""

    moves: tuple[Move, ...]  # in order; empty where nothing changes, or where there is no way
    add: dict[str, int]  # by kind, hardware that the new rig needs more
    remove: dict[str, int]  # by kind, hardware that it needs no more
    rope_more_m: float | None  # rope that the new rig needs more, m, over the job; below 0: less
    ideal_ma: tuple[float, float]  # of the old and the new rig
    stop_hauling_at_N: tuple[float | None, float | None]  # of the old and the new rig
    loaded_more: tuple[LoadedMore, ...]  # what carries more than before
    warnings: tuple[Message, ...]  # what to know
    why_not: Message | None = None  # why there is no way; None: there is

    def json(self) -> dict[str, Any]:
        """The JSON object of `haul convert`, interface section 7."""
        warnings = [*([] if self.why_not is None else [self.why_not]), *self.warnings]
        return {
            "moves": [
                {
                    "kind": one.kind, "text": " ".join(each.text() for each in one.texts),
                    "held_by": one.held_by, "rig": one.rig,
                }
                for one in self.moves
            ],
            "add": self.add, "remove": self.remove, "rope_more_m": self.rope_more_m,
            "ideal_ma": list(self.ideal_ma), "stop_hauling_at": list(self.stop_hauling_at_N),
            "loaded_more": [vars(one) for one in self.loaded_more],
            "warnings": [one.text() for one in warnings],
        }  # fmt: skip


def convert(
    text: str,
    other_text: str,
    file: str = "RIG",
    other_file: str = "OTHER",
    within_s: float = math.inf,
) -> Conversion:
    """The fewest moves that make the rig of `other_text` of the rig of `text`, both TOML.

    The job (load, team, distance) is that of the first file.  within_s: time for the search, s.  Raises RigFault for a file that is no rig that
    can haul; where no way keeps the load held, `why_not` says at which move it fails.
    """
    old, new = outline(text, file), outline(other_text, other_file)
    if old.rig.haul_sign != new.rig.haul_sign:
        old = reversed_rope(old)
    new = scaled(new, float(old.rig.start_m[1]))
    solved = solve(old, new, ground_surely_holds(old.rig.load), within_s)
    if isinstance(solved, Blocked):
        return _plan(old, new.rig, None, (), _refused(solved), ())
    stages = solved.stages
    for step in solved.steps:
        edits = stages.spoken(step.edits)
        if [edit.kind for edit in edits] == ["off", "on"]:
            stages.carry_over(*edits)
    if not stages.edits:
        return _plan(old, new.rig, stages, (), None, ())
    try:
        last = parse_rig(document_text(stages.last()), other_file)
    except RigFault as fault:
        return _plan(old, new.rig, None, (), message("convert_last_rig", why=str(fault)), ())
    moves, warnings = _moves(solved)
    warnings += _borrowed(solved)
    return _plan(old, last, stages, moves, None, warnings)


def _moves(solved: FewestMoves) -> tuple[tuple[Move, ...], tuple[Message, ...]]:
    """The moves with their texts and rigs, and warnings about what holds."""
    stages = solved.stages
    moves: list[Move] = []
    warnings: list[Message] = []
    before: HeldStage | None = None
    previous: Step | None = None
    for step in solved.steps:
        stage = held_stage(stages, step.done, step.holder)
        assert stage is not None
        edits = stages.spoken(step.edits)
        if not edits:
            kind, one = holding(None if before is None else before.name, stage.name)
            texts: tuple[Message, ...] = (one,)
        elif before is None:
            kind = "hold"
            texts = (message("convert_put_and_hold", first=text_of_edit(stages, edits[0])),)
        else:
            kind, texts = kind_of_move(stages, edits), texts_of_move(stages, edits, before, stage)
        if previous is None or previous.holder != step.holder:
            warnings += _holder_warning(stages, step, stage)
        document, name = stages.document(step.done), stage.name
        if step.done == stages.all:
            document = stages.last()
            name = _last_name(stages, step, stage)
            names = _renamed(stages)
            texts += (
                message("convert_new_names", names=names) if names else message("convert_take_up"),
            )
        text = document_text(document)
        moves.append(
            Move(
                kind=kind, texts=texts, held_by=name, rig=text,
                changed=_changed(stages, step, stage, name), tension=_held(stages, step, text, name),
            )
        )  # fmt: skip
        before, previous = stage, step
    return tuple(moves), tuple(warnings)


def _changed(stages: Stages, step: Step, stage: HeldStage, holder: str) -> tuple[str, ...]:
    """Names of the stations that a move puts on, moves or sets; holder: name of what holds after it.

    After the last move the parts have the names of the new rig.
    """
    edits = stages.spoken(step.edits)
    if not edits:
        return () if holder == GROUND else (holder,)
    places = {place for edit in edits for place in stages.places(edit)}
    names = []
    for one in (one for rope in stage.standing for one in rope):
        if (one.rope, one.entry) in places and one.spot.kind not in ("tie", "free"):
            entry = stages.pairing.ropes[one.rope].entries[one.entry]
            renamed = step.done == stages.all and entry.new is not None
            names.append(entry.new.name if renamed and entry.new is not None else one.name)
    return tuple(names)


def _held(stages: Stages, step: Step, text: str, holder: str) -> tuple[float, ...]:
    """Tension / load force of each strand while it is held; text: the rig file after the move."""
    rig = sketch_rig(text, "rig")
    if step.holder == ON_GROUND:
        return (0.0,) * len(rig.strands)
    entry = stages.pairing.ropes[step.holder.rope].entries[step.holder.entry]
    side, spot = (stages.new, entry.new) if entry.old is None else (stages.old, entry.old)
    assert spot is not None
    tension = held_tension(rig, holder, side.capture_run[spot.name])
    assert tension is not None  # the search has judged this stage
    return tuple(map(float, tension))


def _borrowed(solved: FewestMoves) -> tuple[Message, ...]:
    """Parts that are on the rig at some stage and in neither rig in that number."""
    stages = solved.stages
    most: Counter[str] = Counter()
    for step in solved.steps:
        standing = [one for rope in stages.standing(step.done) for one in rope]
        most |= Counter(one.spot.kind for one in standing if one.spot.kind in PARTS)
    ends = [_hardware(side.rig) for side in (stages.old, stages.new)]
    more = most - (ends[0] | ends[1])
    return tuple(
        message("convert_borrowed", count=count, kind=kind_word(kind))
        for kind, count in more.items()
    )


def _last_name(stages: Stages, step: Step, stage: HeldStage) -> str:
    """The name in the new rig of what holds after the last move."""
    if step.holder == ON_GROUND:
        return GROUND
    entry = stages.pairing.ropes[step.holder.rope].entries[step.holder.entry]
    return stage.name if entry.new is None else entry.new.name


def _renamed(stages: Stages) -> str:
    """Names that change with the last move, "G1 is G2"."""
    names = []
    for rope in stages.standing(stages.all):
        for one in rope:
            entry = stages.pairing.ropes[one.rope].entries[one.entry]
            if entry.new is not None and one.spot.kind in PARTS and one.name != entry.new.name:
                names.append(f"{one.name} is {entry.new.name}")
    return ", ".join(names)


def _holder_warning(stages: Stages, step: Step, stage: HeldStage) -> list[Message]:
    """What to say of what holds from this move on."""
    if step.holder == ON_GROUND:
        return [message("convert_only_ground")]
    rating = stages.old.rig.ratings.get(stage.name)
    limits = (
        () if rating is None else (rating.mbs_N, rating.wll_N, rating.slips_N, rating.damages_N)
    )
    if any(one is not None for one in limits):
        return []
    rig = stages.rig(step.done)
    entry = stages.pairing.ropes[step.holder.rope].entries[step.holder.entry]
    side = stages.old if entry.old is not None else stages.new
    spot = entry.old or entry.new
    load_N = resistance(stages.old.rig.load).force_N
    if rig is None or spot is None or load_N is None:
        return [message("convert_unrated_share", name=stage.name)]
    tension = held_tension(rig, stage.name, side.capture_run[spot.name])
    most = 0.0 if tension is None else float(max(tension))
    return [message("convert_unrated", name=stage.name, force_N=most * load_N)]


def _refused(blocked: Blocked) -> Message:
    if blocked.stages is None or blocked.edit is None:
        return blocked.why
    move = text_of_edit(blocked.stages, blocked.edit)
    if blocked.complete:
        return message("convert_refused", number=blocked.done + 1, move=move, why=blocked.why)
    return message("convert_too_long", number=blocked.done + 1, move=move, why=blocked.why)


def _plan(
    old: Outline,
    last: Rig,
    stages: Stages | None,
    moves: tuple[Move, ...],
    why_not: Message | None,
    warnings: tuple[Message, ...],
) -> Conversion:
    """The conversion with what changes between the two rigs."""
    (before, _), (after, said) = prediction(old.rig), prediction(last)
    first, second = _hardware(old.rig), _hardware(last)
    ropes = [sum(row["needed_m"] for row in one["rope"]) for one in (before, after)]
    stops = [one["stop_hauling_at"]["haul_force_N"] for one in (before, after)]
    return Conversion(
        moves=moves,
        add=dict(second - first),
        remove=dict(first - second),
        rope_more_m=ropes[1] - ropes[0],
        ideal_ma=(before["ideal_ma"], after["ideal_ma"]),
        stop_hauling_at_N=(stops[0], stops[1]),
        loaded_more=() if stages is None else _loaded_more(old.rig, last, stages),
        warnings=(*warnings, *(one for one in said if one.level == "stop")),
        why_not=why_not,
    )


def _hardware(rig: Rig) -> Counter[str]:
    """Number of things of each kind in a rig."""
    kinds = [s.kind for s in rig.stations if s.kind in PARTS]
    kinds += [body.kind for body in rig.bodies if body.kind in ("further_anchor", "plate")]
    return Counter([*kinds, *(["rope"] * len(rig.ropes))])


def _loaded_more(old: Rig, last: Rig, stages: Stages) -> tuple[LoadedMore, ...]:
    """Anchors, pulleys and grabs that stay where they are and carry more while hauling."""
    stays = {"anchor": "anchor"}
    bodies = stages.pairing.bodies
    stays |= {b: a for a, b in bodies.items() if old.bodies[old.index[a]].kind == "further_anchor"}
    for rope in stages.pairing.ropes:
        for entry in rope.entries:
            if entry.old is not None and entry.new is not None and same_end(bodies, entry):
                stays[entry.new.name] = entry.old.name
    was, now = model(old), model(last)
    shares = {p.name: p.ideal / was.ideal_ma for p in was.parts if p.kind in LOADED}
    return tuple(
        LoadedMore(one.name, shares[stays[one.name]], one.ideal / now.ideal_ma)
        for one in now.parts
        if one.kind in LOADED and one.name in stays and stays[one.name] in shares
        and one.ideal / now.ideal_ma > MORE * shares[stays[one.name]] + 1e-12
    )  # fmt: skip
