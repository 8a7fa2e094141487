"""Compares sessions: the same rig over time, and two rigs on the same load."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.messages.message import Message, message
from analysis.review.reviewed_session import Whole
from analysis.rig.rig import Load, Rig
from analysis.sessions.session_row import by_chapter, columns, minutes_a_metre, rig_key

SAME_MA = 0.01  # ideal advantages closer than this are the same ratio; chosen by us: whole ratios are 1 apart

StatedLoad = tuple[str | float | None, ...]  # values of [load], in the order of `stated_load`


@dataclass(frozen=True)
class Side:
    """One session's figures for a comparison; None where they were not measured."""

    name: str  # path of the session
    title: str  # of the rig
    rig: str  # key of the rig, see `rig_key`
    started_at: str  # UTC
    ideal_ma: float  # of the rig
    haul_N: dict[str, Any] | None  # haul force, as a quantity of interface section 6
    load_N: dict[str, Any] | None  # load force, as a quantity of interface section 6
    load_method: str  # how the load force was estimated
    load_travel_m: float | None  # over all haul strokes
    rope_m: float | None  # rope through the hands: hauled, lowered and fed back at resets
    minutes_a_metre: float | None  # minutes of the session per metre of load travel
    resets: int  # number of resets
    team_N: float | None  # haul force that the team can keep up
    load: StatedLoad | None  # as the rig file states it, see `stated_load`

    @property
    def rope_a_metre(self) -> float | None:
        """Rope through the hands / load travel."""
        if self.rope_m is None or not self.load_travel_m or self.load_travel_m <= 0:
            return None
        return self.rope_m / self.load_travel_m


def sides(whole: Whole) -> list[Side]:
    """The figures of a session for a comparison: of several chapters, one for each that has strokes."""
    review = whole.review
    if len(whole.chapters) < 2 or not review["strokes"]:
        return [_side(whole, review, str(whole.info.path), review["duration_s"], whole.rig)]
    return [
        _side(whole, object_, f"{whole.info.path}, chapter {chapter.number + 1}",
              object_["to_s"] - object_["from_s"], chapter.rig)
        for chapter, object_ in zip(whole.chapters, review["chapters"], strict=True)
        if object_["strokes"]
    ]  # fmt: skip


def compared_rows(whole: Whole, own: Sequence[Side]) -> list[dict[str, Any]]:
    """Rows of the table of a comparison, one for each side of a session; own: its `sides`, as they are named there."""
    return [
        {**row, "path": one.name, "part": None, "rope_m": one.rope_m, "minutes_a_metre": one.minutes_a_metre}
        for row, one in zip(by_chapter([columns(whole)]), own, strict=True)
    ]  # fmt: skip


def side(whole: Whole) -> Side:
    """The figures of a session of one chapter, else of its first chapter with strokes."""
    return sides(whole)[0]


def _side(
    whole: Whole, object_: Mapping[str, Any], name: str, duration_s: float | None, rig: Rig
) -> Side:
    """The figures of a session or of one of its chapters; object_: its object in the review's JSON."""
    review, measured = whole.review, object_["measured"]
    begin_s, end_s = object_.get("from_s", 0.0), object_.get("to_s", math.inf)
    strokes = object_["strokes"]
    if strokes and isinstance(strokes[0], int):
        strokes = [review["strokes"][k] for k in strokes]
    rope = measured["haul_travel_m"]
    if rope is not None:
        rope += sum(
            e["value"] or 0.0 for e in review["events"]
            if e["kind"] == "reset" and begin_s <= e["time_s"] < end_s
        )  # fmt: skip
        rope += sum(s["haul_travel_m"] or 0.0 for s in strokes if s["direction"] == "lower")
    return Side(
        name=name,
        title=object_["title"],
        rig=rig_key(rig),
        started_at=review["started_at"],
        ideal_ma=object_["ideal_ma"],
        haul_N=measured["haul_force_N"],
        load_N=measured["load_force_N"],
        load_method=measured["load_force_method"],
        load_travel_m=measured["load_travel_m"],
        rope_m=rope,
        minutes_a_metre=minutes_a_metre({"duration_s": duration_s, "measured": measured}),
        resets=object_["resets"],
        team_N=rig.team_pull_N,
        load=stated_load(rig.load),
    )


def pairs(sides: Sequence[Side], said: bool = False) -> list[tuple[Side, Side]]:
    """Pairs (bigger ratio, smaller ratio) of sessions with different ideal advantages on the same load.

    The latest such sessions of each two rigs.  said: the user says that all moved the same load.
    """
    return [(big, small) for big, small, why_not in _every_two(sides, said) if why_not is None]


def not_compared(sides: Sequence[Side], said: bool = False) -> list[Message]:
    """Why rigs with different ideal advantages are not compared, one message for each two rigs."""
    return [
        message("ratios_other_load", big=big.ideal_ma, small=small.ideal_ma, why=why_not)
        for big, small, why_not in _every_two(sides, said)
        if why_not is not None
    ]


def _every_two(sides: Sequence[Side], said: bool) -> list[tuple[Side, Side, Message | None]]:
    """For each two rigs of different ratio (bigger, smaller, why they are not compared).

    Of each rig the latest session that can be compared, else the latest.
    """
    by_rig: dict[str, list[Side]] = {}
    for s in sorted(sides, key=lambda s: s.started_at, reverse=True):
        by_rig.setdefault(s.rig, []).append(s)
    rigs = sorted(by_rig.values(), key=lambda of_rig: -of_rig[0].ideal_ma)
    compared = []
    for k, bigger in enumerate(rigs):
        for smaller in rigs[k + 1 :]:
            if bigger[0].ideal_ma <= smaller[0].ideal_ma + SAME_MA:
                continue
            tried = [
                (big, small, None if said else why_not_same_load(big, small))
                for big in bigger
                for small in smaller
            ]
            compared.append(next((one for one in tried if one[2] is None), tried[0]))
    return compared


def why_not_same_load(one: Side, other: Side) -> Message | None:
    """Why two sessions are not taken for hauls of the same load; None where they are.

    Both rig files must state the same load.  Forces that agree within their uncertainty do not show it:
    the wider an interval, the more different loads fit into it.  But where cells measured two forces that
    differ by more than their combined U95, the files are not believed.
    """
    if one.load is None or other.load is None:
        return message("load_not_in_both_files")
    if one.load != other.load:
        return message("loads_differ_in_files")
    measured = {"cell", "haul-and-lower"}
    if one.load_N and other.load_N and {one.load_method, other.load_method} <= measured:
        apart = abs(one.load_N["value"] - other.load_N["value"])
        if apart > math.hypot(one.load_N["U95"], other.load_N["U95"]):
            return message(
                "loads_measured_apart", one_N=one.load_N["value"], other_N=other.load_N["value"]
            )
    return None


def same_load(one: Side, other: Side) -> bool:
    """Whether two sessions moved the same load, by their rig files."""
    return why_not_same_load(one, other) is None


def stated_load(load: Load) -> StatedLoad | None:
    """What tells the load of a rig file from another; None where its mass or resistance is not stated."""
    if load.mass_kg is None and load.resistance_N is None:
        return None
    return (
        load.kind, load.mass_kg, load.slope_rad, load.coefficient, load.resistance_N, load.surface,
        load.breakaway,
    )  # fmt: skip


def worth_it(big: Side, small: Side) -> Message:
    """Say in one sentence what the bigger ratio saved, what it cost, and whether it was needed.

    Without a difference of the haul force beyond the combined U95 there is no verdict.
    """
    ratios = message("ratios_same_load", big=big.ideal_ma, small=small.ideal_ma)
    if not big.haul_N or not small.haul_N:
        return message("ratios_not_measured", ratios=ratios)
    ratio = big.haul_N["value"] / small.haul_N["value"]
    doubt = ratio * math.hypot(
        big.haul_N["U95"] / big.haul_N["value"], small.haul_N["U95"] / small.haul_N["value"]
    )
    cost = _cost(big, small)
    promised = 1 - small.ideal_ma / big.ideal_ma
    if abs(1 - ratio) <= doubt:
        promise = message("promise_may_be_kept", promised=promised)
        if promised > 1 - ratio + doubt:
            promise = message("promise_ruled_out", promised=promised)
        return message(
            "ratios_no_difference_shown", ratios=ratios, change=ratio - 1, doubt=doubt,
            promise=promise, cost=cost,
        )  # fmt: skip
    gain = message("less_haul_force", less=1 - ratio, doubt=doubt)
    if ratio > 1:
        gain = message("more_haul_force", more=ratio - 1, doubt=doubt)
    return message(
        "ratios_compared", ratios=ratios, gain=gain, promised=promised, cost=cost,
        verdict=_verdict(big, small, ratio),
    )  # fmt: skip


def _cost(big: Side, small: Side) -> Message:
    """What the bigger ratio cost: rope and time a metre, where known, and resets."""
    cost = message("cost_resets", big=big.resets, small=small.resets)
    if big.minutes_a_metre and small.minutes_a_metre:
        cost = message("cost_time", time=big.minutes_a_metre / small.minutes_a_metre, more=cost)
    if big.rope_a_metre and small.rope_a_metre:
        cost = message("cost_rope", rope=big.rope_a_metre / small.rope_a_metre, more=cost)
    return cost


def _verdict(big: Side, small: Side, ratio: float) -> Message:
    """Whether the bigger ratio was worth it, where a difference of the haul force is shown.

    ratio: haul force with the bigger / with the smaller ratio.
    """
    assert small.haul_N and big.haul_N
    if ratio > 1:
        return message("not_worth_it")
    teams = [t for t in (small.team_N, big.team_N) if t is not None]
    if not teams:
        return message("worth_it_if_needed")
    team = min(teams)
    if small.haul_N["value"] + small.haul_N["U95"] <= team:
        return message("not_needed", team_N=team)
    if big.haul_N["value"] - big.haul_N["U95"] > team:
        return message("not_enough", team_N=team)
    return message("worth_it", needs_N=small.haul_N["value"], team_N=team)
