"""Searches for the fewest moves from one rig to another with the load held after each (A*).

A state is the set of edits that are done, and what holds.  A move is one edit; or a part of a kind taken off
and one of that kind put on; or the haul handed from one rope's end to another's.  The estimate of what is left
(the greater number of what comes off and goes on, kind by kind) is never too high, so the first solution has
the fewest moves.  Of as many moves, the order comes first in which no grab goes beyond the strand that it is put on.
"""

from __future__ import annotations

import heapq
import itertools
import math
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from analysis.conversion.held import (
    ON_GROUND,
    HeldStage,
    Holder,
    held_stage,
    held_tension,
    misplaced,
    over_limit,
    refusal,
)
from analysis.conversion.outline import Outline
from analysis.conversion.pairing import pairings
from analysis.conversion.stages import Edit, Stages
from analysis.mechanics.kinematics import TINY
from analysis.messages.message import Message, message

# speed only: stages that are judged for one conversion, some 1 ms each; a pair of the shelf takes 800 at most
MOST_STAGES = 2_500
MOST_TRIED = 60  # speed only: pairings that are tried where the holder changes on the way


@dataclass(frozen=True)
class Step:
    """One move of a conversion."""

    edits: tuple[int, ...]  # indices into Stages.edits; empty: what holds changes
    done: frozenset[int]  # all edits that are done after it
    holder: Holder  # what holds after it


@dataclass(frozen=True, eq=False)
class FewestMoves:
    """The moves of a conversion."""

    stages: Stages  # the rigs and their stages
    steps: tuple[Step, ...]  # in order


@dataclass(frozen=True, eq=False)
class Blocked:
    """The farthest point of a conversion that has no way."""

    done: int  # moves that can be made
    stages: Stages | None  # the rigs and their stages; None: the load is never held
    edit: Edit | None  # the edit that cannot be made
    why: Message  # the reason
    complete: bool = True  # whether every conversion was looked at


State = tuple[frozenset[int], Holder | None]


class _StageCount:
    """Counts the stages that are judged; within_s: time for them, s."""

    def __init__(self, within_s: float) -> None:
        self.judged = 0
        self._until_s = time.monotonic() + within_s

    @property
    def spent(self) -> bool:
        """Whether no more stage is judged."""
        return self.judged >= MOST_STAGES or time.monotonic() >= self._until_s


def solve(
    old: Outline, new: Outline, on_ground: bool, within_s: float = math.inf
) -> FewestMoves | Blocked:
    """The fewest moves from one rig to the other, or the farthest point that can be reached.

    on_ground: whether chocks may hold the load.  within_s: time for the search, s; a conversion that it has
    found by then may have more moves than needed.
    """
    best: FewestMoves | None = None
    blocked = Blocked(0, None, None, message("convert_nothing_holds"))
    budget = _StageCount(within_s)
    same_stretch = False
    for name, run in old.capture_run.items():
        tension = held_tension(old.rig, name, run)
        if tension is None:
            continue
        kept = _loaded(old, name, list(tension))
        same_stretch = same_stretch or bool(pairings(old, new, kept))
        over = over_limit(old.rig, name, run, tension)
        if over is None:
            best, blocked = _tried(old, new, kept, name, best, blocked, budget)
        elif blocked.stages is None:
            blocked = Blocked(0, None, None, over)
    if on_ground:
        best, blocked = _tried(old, new, frozenset(), None, best, blocked, budget)
    if best is None and not same_stretch:
        # the load goes over to another capture, which is the only one that the two rigs may share
        best, blocked = _tried(old, new, frozenset(), "", best, blocked, budget)
    if best is None and budget.spent:
        return replace(blocked, complete=False)
    return best or blocked


def _loaded(rig: Outline, capture: str, tension: list[float]) -> frozenset[tuple[int, int]]:
    """(rope, place) of the stations on which the load hangs, grabs aside."""
    result = set()
    for k, strand in enumerate(rig.rig.strands):
        for s in (strand.start, strand.end):
            rope = rig.rig.ropes[strand.rope]
            station = rig.rig.stations[s]
            if (tension[k] > TINY and station.kind not in ("grab", "capture")) or (
                station.kind == "capture" and station.name == capture
            ):
                result.add((strand.rope, rope.stations.index(s)))
    return frozenset(result)


def _tried(
    old: Outline,
    new: Outline,
    kept: frozenset[tuple[int, int]],
    name: str | None,
    best: FewestMoves | None,
    blocked: Blocked,
    budget: _StageCount,
) -> tuple[FewestMoves | None, Blocked]:
    """The better of `best` and the best solution with this holder.

    name: of the capture that holds throughout; None: the ground; "": any, changed on the way.
    """
    ways = pairings(old, new, kept)
    for pairing in ways if name != "" else ways[:MOST_TRIED]:
        if budget.spent or (best is not None and pairing.least_moves + 1 >= len(best.steps)):
            break
        stages = Stages(old, new, pairing)
        if name is None:
            starts = [ON_GROUND]
        else:
            starts = [
                Holder(r, k)
                for r, rope in enumerate(pairing.ropes)
                for k, entry in enumerate(rope.entries)
                if entry.old is not None and entry.old.kind == "capture" and name in ("", entry.old.name)
                and _same_run(old, new, stages, Holder(r, k))
            ]  # fmt: skip
        one = _search(stages, starts, name == "", len(best.steps) if best else None, budget)
        if isinstance(one, FewestMoves):
            best = one
        elif one.done >= blocked.done or blocked.stages is None:
            blocked = one if one.stages is not None or blocked.stages is None else blocked
    return best, blocked


def _same_run(old: Outline, new: Outline, stages: Stages, holder: Holder) -> bool:
    """Whether a capture that stays lets the rope run the same way in both rigs."""
    entry = stages.pairing.ropes[holder.rope].entries[holder.entry]
    if entry.old is None or entry.new is None:
        return True
    return old.capture_run[entry.old.name] == new.capture_run[entry.new.name]


def _search(
    stages: Stages,
    starts: list[Holder],
    switching: bool,
    fewer_than: int | None,
    budget: _StageCount,
) -> FewestMoves | Blocked:
    held: dict[State, HeldStage | None] = {}

    def stage(done: frozenset[int], holder: Holder) -> HeldStage | None:
        """The rope in a state; None where the load is not held."""
        key = (done, holder)
        if key not in held:
            budget.judged += 1
            held[key] = held_stage(stages, done, holder)
        return held[key]

    empty: frozenset[int] = frozenset()
    tie = itertools.count()
    queue: list[tuple[int, int, int, int, State, tuple[Step, ...]]] = []
    seen: dict[State, tuple[int, int]] = {}  # moves, and stages with a grab beyond its strand
    beyond: dict[frozenset[int], int] = {}
    blocked = Blocked(0, None, None, message("convert_nothing_holds"))

    def away(steps: tuple[Step, ...]) -> int:
        """Number of grabs, over all stages, that stand beyond their strand."""
        count = 0
        for step in steps:
            if step.done not in beyond:
                rig = stages.rig(step.done)
                beyond[step.done] = 0 if rig is None else misplaced(rig)
            count += beyond[step.done]
        return count

    def push(steps: tuple[Step, ...]) -> None:
        """Put a state into the queue if it was not reached with fewer moves, or as many in better order."""
        last = steps[-1]
        key = (last.done, last.holder)
        cost = (len(steps), away(steps))
        if key not in seen or cost < seen[key]:
            seen[key] = cost
            total = len(steps) + _left(stages, last.done)
            if fewer_than is None or total < fewer_than:
                heapq.heappush(queue, (total, cost[1], -len(steps), next(tie), key, steps))

    for holder in starts:
        if stage(empty, holder) is not None:
            push((Step((), empty, holder),))
    if switching:
        for k, edit in enumerate(stages.edits):
            if edit.kind == "on" and edit.item == "capture":
                holder = Holder(edit.rope, edit.entry)
                if stage(frozenset({k}), holder) is not None:
                    push((Step((k,), frozenset({k}), holder),))
    while queue and not budget.spent:
        _, away_so_far, _, _, (done, now), steps = heapq.heappop(queue)
        assert now is not None
        if seen[(done, now)] < (len(steps), away_so_far):
            continue
        if done == stages.all:
            return FewestMoves(stages, steps)
        before = stage(done, now)
        assert before is not None
        for edits in _moves(stages, done):
            then = done | set(edits)
            after = stage(then, now)
            if after is None:
                if (
                    len(stages.spoken(edits)) == 1
                    and len(steps) >= blocked.done
                    and stages.rig(then) is not None
                ):
                    why = message("convert_lets_go", name=before.name)
                    blocked = Blocked(len(steps), stages, stages.edits[edits[0]], why)
                continue
            whys = [refusal(stages, before, after, stages.edits[k], now) for k in edits]
            why_not = next((one for one in whys if one is not None), None)
            if why_not is None:
                push((*steps, Step(edits, then, now)))
            elif len(steps) >= blocked.done:
                blocked = Blocked(len(steps), stages, stages.edits[edits[0]], why_not)
        if switching:
            for rope in before.standing:
                for one in rope:
                    other = Holder(one.rope, one.entry)
                    if one.spot.kind == "capture" and other != now and stage(done, other):
                        push((*steps, Step((), done, other)))
    return blocked


def _left(stages: Stages, done: frozenset[int]) -> int:
    """Moves that are needed at least for the edits that are not done."""
    count: Counter[tuple[str, str]] = Counter()
    # what stands on a rope that is to come or to go may come and go with it
    free = {
        e.rope
        for k, e in enumerate(stages.edits)
        if e.entry < 0 and (e.kind == "rope off" or k not in done)
    }
    for k, edit in enumerate(stages.edits):
        if k not in done and (edit.entry < 0 or edit.rope not in free):
            count[(edit.kind, edit.item if edit.kind in ("off", "on") else "")] += 1
    kinds = {item for kind, item in count if kind in ("off", "on")}
    pairs = sum(max(count[("off", item)], count[("on", item)]) for item in kinds)
    ropes = count[("rope off", "")] + count[("rope on", "")]
    ends = max(ropes, (count[("end", "")] + 1) // 2)
    return pairs + count[("relocate", "")] + count[("slide", "")] + ends


def _moves(stages: Stages, done: frozenset[int]) -> Iterator[tuple[int, ...]]:
    """The moves that may follow: edits by index into Stages.edits."""
    waiting = {e.rope for k, e in enumerate(stages.edits) if e.kind == "rope on" and k not in done}
    left = [
        k
        for k, e in enumerate(stages.edits)
        if k not in done and (e.entry < 0 or e.rope not in waiting)
    ]
    elsewhere, handed = [], []
    for a, b in itertools.permutations(left, 2):
        first, second = stages.edits[a], stages.edits[b]
        if first.kind == "off" and second.kind == "on" and first.item == second.item:
            # a pulley that stays on its body comes first: the crew has less to carry about
            if _same_body(stages, first, second):
                yield (a, b)
            else:
                elsewhere.append((a, b))
        elif a < b and _hands_over(stages, first, second):
            handed.append((a, b))
    yield from elsewhere
    # what comes off comes first, so that it need not be there twice; a grab slides last
    order = {"on": 1, "slide": 2, "rope on": 3}
    for k in sorted(left, key=lambda k: order.get(stages.edits[k].kind, 0)):
        yield from _with_parts(stages, done, (k,))
    for pair in handed:
        yield from _with_parts(stages, done, pair)


def _with_parts(
    stages: Stages, done: frozenset[int], edits: tuple[int, ...]
) -> Iterator[tuple[int, ...]]:
    """The move with what stands on its ropes: a rope goes with all of it, and comes with all or bare."""
    ropes = [stages.edits[k] for k in edits if stages.edits[k].entry < 0]
    along = tuple(k for rope in ropes for k in stages.parts_of_rope(rope) if k not in done)
    yield (*edits, *along)
    if along and all(rope.kind == "rope on" for rope in ropes):
        yield edits


def _same_body(stages: Stages, off: Edit, on: Edit) -> bool:
    """Whether what comes off and what goes on act on the same body."""
    old, new = stages.entry(off).old, stages.entry(on).new
    return (
        old is not None and new is not None and stages.pairing.bodies.get(old.on, old.on) == new.on
    )


def _hands_over(stages: Stages, first: Edit, second: Edit) -> bool:
    """Whether two edits at the ends of ropes hand the haul from one to the other."""
    kinds = ("end", "rope off", "rope on")
    if (
        first.kind not in kinds
        or second.kind not in kinds
        or "end" not in (first.kind, second.kind)
    ):
        return False
    total = 0
    for edit in (first, second):
        gives, takes = _haul_change(stages, edit)
        if not (gives or takes):
            return False
        total += takes - gives
    return total == 0


def _haul_change(stages: Stages, edit: Edit) -> tuple[int, int]:
    """Hauls that an edit takes away and adds."""
    entries = [stages.pairing.ropes[edit.rope].entries[k] for _, k in stages.places(edit)]
    gives = sum(e.old is not None and e.old.kind == "haul" for e in entries)
    takes = sum(e.new is not None and e.new.kind == "haul" for e in entries)
    if edit.kind == "end" and gives and takes:
        return 0, 0
    return gives, takes
