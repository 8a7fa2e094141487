"""Ranks the rigs of the shelf for a job: fits each to the distance and the rope, then judges it.

A rig is fitted by placing its load at the distance and its travelling bodies in proportion, then
shortening it (which takes more resets) until the rope is long enough.  Time is an estimate for ranking
only: rope through the hands at the speed at which a hauler who works steadily gives 75 W (general
reference text: a labourer over 8 h), at most 0.5 m/s, plus one minute a reset (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from analysis.mechanics.load_resistance import Resistance, resistance
from analysis.mechanics.model import Model, model
from analysis.mechanics.travel import Job, needed_rope
from analysis.messages.message import Message, message, text_of
from analysis.prediction.job_limits import LATER, highest_uses, models_over_job, planned_jobs
from analysis.rig.knots import knot
from analysis.rig.rig import Body, Load, Rating, Rig
from analysis.rig_file.load import check, parse_rig
from logger.errors import RigFault

HAULER_W, FASTEST_M_S, RESET_S = 75.0, 0.5, 60.0  # sources: see above
ROOM_M = 2.0  # between anchor and load when the job is done; chosen by us: for stages that have closed up
# shares of its length to which a rig is shortened until its rope is long enough; chosen by us: it only ranks
SHRINK = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2)


@dataclass(frozen=True)
class GearRatings:
    """Ratings of the crew's gear, the same for all items of a kind; None: not rated, so not checked."""

    efficiency: float | None = None  # of every pulley; None: that of the rig file
    efficiency_u: float | None = None  # its standard uncertainty; None: that of the rig file
    rope_mbs_N: float | None = None  # minimum breaking strength of the rope
    pulley_mbs_N: float | None = None  # minimum breaking strength of a pulley
    anchor_mbs_N: float | None = None  # minimum breaking strength of an anchor
    grab_slips_N: float | None = None  # force at which a grab begins to slip, used undivided
    grab_slips_u_N: float | None = None  # its standard uncertainty
    capture_slips_N: float | None = None  # force at which a capture begins to slip, used undivided
    capture_slips_u_N: float | None = None  # its standard uncertainty
    knot: str = ""  # row of analysis.rig.knots, of the knot at every tie; "": that of the rig file
    design_factor: float = 10.0  # minimum breaking strength / allowed force


@dataclass(frozen=True)
class Need:
    """The job that a rig is chosen for."""

    load: Load  # with the distance to pull it
    rope_m: float  # all the rope that there is
    team_N: float  # haul force that the whole team can keep up
    haulers: int = 2  # number of people in the team
    gear: GearRatings = field(default=GearRatings())  # ratings of the crew's gear

    @property
    def distance_m(self) -> float:
        """How far the load must go; 0 where that is not stated."""
        return self.load.pull_distance_m or 0.0

    @property
    def resistance(self) -> Resistance:
        """The force that the load resists with."""
        return resistance(self.load)


@dataclass(frozen=True)
class Option:
    """One rig of the shelf, judged for the job; its field names are the keys of the JSON."""

    name: str  # of its file, without the ending
    title: str  # from its file
    note: str  # from its file
    ideal_ma: float  # load force / haul force without friction
    model_ma: float  # load force / haul force with friction
    model_ma_u: float  # its standard uncertainty
    haul_force_N: float  # while the load moves
    haul_force_u_N: float  # its standard uncertainty
    start_force_N: float | None  # at the haul, to break the load away; None: not known
    rope_needed_m: float  # over all ropes
    rope_through_hands_m: float | None  # rope hauled over the job; None: the job cannot be done
    strokes: int | None  # number of strokes; None: the job cannot be done
    resets: int | None  # number of grabs slid back in all; None: the job cannot be done
    reset: str  # "each" or "together": the quicker way to reset the grabs
    time_s: float | None  # estimate for ranking; None: the job cannot be done
    pulleys: int  # number of pulleys
    grabs: int  # number of grabs
    captures: int  # number of captures
    anchors: int  # number of anchors
    ropes: int  # number of ropes
    resets_covered: bool  # whether a capture holds the load during every reset
    first_limit: (
        Message | None
    )  # the part nearest its limit in any condition of the job; None: none is rated
    most_used: float | None  # force / limit of that part
    why_not: tuple[Message, ...]  # why the rig does not do the job; empty: it does


def shelf() -> dict[str, Rig]:
    """Every rig of the shelf by file name without its ending, in order of name."""
    return dict(_shelf_rigs())


@cache  # speed only: the shelf is part of the program
def _shelf_rigs() -> tuple[tuple[str, Rig], ...]:
    """The rigs of the shelf with their names."""
    return tuple((name, parse_rig(text, f"{name}.toml")) for name, text in shelf_texts().items())


def shelf_texts() -> dict[str, str]:
    """The text of every rig file of the shelf, by file name without its ending, in order of name."""
    folder = resources.files("analysis") / "rigs"
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    return {f.name[:-5]: f.read_text(encoding="utf-8") for f in files}


def choose(need: Need, rigs: dict[str, Rig] | None = None) -> list[Option]:
    """Judge all rigs: first those that do the job, quickest first; then the others, least haul force first.

    Raises RigFault where the load's resistance is not known.
    """
    if need.resistance.force_N is None:
        raise RigFault(
            "choose",
            text_of(need.resistance.why),
            "give --load-N, or --mass-kg with --surface or --coefficient",
        )
    options = [judge(name, rig, need) for name, rig in (rigs or shelf()).items()]
    return sorted(
        options,
        key=lambda o: (
            bool(o.why_not),
            o.time_s if o.time_s is not None and not o.why_not else o.haul_force_N,
            o.pulleys + o.grabs,
            o.name,
        ),
    )


def judge(name: str, rig: Rig, need: Need) -> Option:
    """Judge one rig for the job."""
    best, rig_model, jobs, rope = _fit(rated(rig, need.gear), need)
    haul, u = rig_model.haul_force_N or 0.0, rig_model.haul_force_u_N or 0.0
    speed = min(FASTEST_M_S, HAULER_W * max(1, need.haulers) / max(haul, 1.0))
    times = {
        mode: done.haul_m / speed + RESET_S * sum(done.resets.values())
        for mode, done in jobs.items()
        if not done.why_not
    }
    mode = min(times, key=lambda m: times[m], default="each")
    done = jobs[mode]
    faults = _team(haul, u, need)
    if rope > need.rope_m:
        faults.append(message("needs_more_rope", needed_m=rope, length_m=need.rope_m))
    if done.why_not:
        faults.append(done.why_not)
    if best.stations[best.haul].body is not None:
        faults.append(message("needs_a_winch"))
    most_loaded, used = _nearest(rig_model, jobs)
    if used is not None and used > 1:
        faults.append(message("over_what_is_allowed", most_used=most_loaded))
    covered = {grab for held in rig_model.held for grab in held.covers}
    kinds = [s.kind for s in best.stations]
    return Option(
        name=name,
        title=best.title,
        note=best.note,
        ideal_ma=rig_model.ideal_ma,
        model_ma=rig_model.model_ma,
        model_ma_u=rig_model.model_ma_u,
        haul_force_N=haul,
        haul_force_u_N=u,
        start_force_N=rig_model.start_force_N,
        rope_needed_m=rope,
        rope_through_hands_m=None if done.why_not else done.haul_m,
        strokes=None if done.why_not else done.strokes,
        resets=None if done.why_not else sum(done.resets.values()),
        reset=mode,
        time_s=times.get(mode),
        pulleys=kinds.count("pulley"),
        grabs=kinds.count("grab"),
        captures=kinds.count("capture"),
        anchors=sum(b.kind in ("anchor", "further_anchor") for b in best.bodies),
        ropes=len(best.ropes),
        resets_covered=covered >= set(best.grabs),
        first_limit=most_loaded,
        most_used=used,
        why_not=tuple(faults),
    )


def fitted(rig: Rig, need: Need) -> Rig:
    """The rig with the crew's gear and rope, fitted to the job as `judge` does it.

    What a rig file has no key for is added to its note.
    """
    there = _fit(rated(rig, need.gear), need)[0]
    given = [message("chosen_for_haulers", haulers=need.haulers).text()]
    ropes = there.ropes
    if len(ropes) == 1:
        ropes = (replace(ropes[0], length_m=need.rope_m),)
    else:
        given.append(message("chosen_for_rope", rope_m=need.rope_m).text())
    return replace(there, ropes=ropes, note=" ".join([there.note, *given]).strip())


def rated(rig: Rig, gear: GearRatings) -> Rig:
    """A copy of the rig with the ratings and the efficiency of the crew's gear."""
    ratings = dict(rig.ratings)
    stations = []
    for station in rig.stations:
        if station.kind == "pulley":
            if gear.pulley_mbs_N is not None:
                ratings[station.name] = Rating(mbs_N=gear.pulley_mbs_N)
            if gear.efficiency is not None:
                station = replace(station, efficiency=gear.efficiency, preset="")
        if station.kind == "grab" and gear.grab_slips_N is not None:
            ratings[station.name] = Rating(slips_N=gear.grab_slips_N, slips_u_N=gear.grab_slips_u_N)
        if station.kind == "capture" and gear.capture_slips_N is not None:
            ratings[station.name] = Rating(
                slips_N=gear.capture_slips_N, slips_u_N=gear.capture_slips_u_N
            )
        tied = knot(gear.knot)
        if station.kind == "tie" and tied is not None:
            station = replace(station, knot=tied.name, strength=tied.keeps)
        stations.append(station)
    if gear.anchor_mbs_N is not None:
        for body in rig.bodies:
            if body.kind in ("anchor", "further_anchor"):
                ratings[body.name] = Rating(mbs_N=gear.anchor_mbs_N)
    u = rig.default_u if gear.efficiency_u is None else gear.efficiency_u
    return replace(
        rig,
        default_assumed=rig.default_assumed and gear.efficiency is None,
        ratings=ratings,
        stations=tuple(stations),
        ropes=tuple(replace(rope, mbs_N=gear.rope_mbs_N) for rope in rig.ropes),
        design_factor=gear.design_factor,
        default_u=u,
    )


def between(a: Option, b: Option) -> Message:
    """One message that compares the bigger ratio of two rigs with the smaller: force, rope and time."""
    small, big = sorted((a, b), key=lambda o: (o.ideal_ma, o.name))
    less = 100 * (1 - big.haul_force_N / small.haul_force_N)
    force = message(
        "pair_force", big=big.name, big_ma=big.ideal_ma, big_N=big.haul_force_N,
        small=small.name, small_ma=small.ideal_ma, small_N=small.haul_force_N,
        percent=abs(less), how="less" if less >= 0 else "more",
    )  # fmt: skip
    if (
        big.rope_through_hands_m is None or small.rope_through_hands_m is None
        or big.time_s is None or small.time_s is None
    ):  # fmt: skip
        stuck = big if big.time_s is None else small
        return message("pair_stuck", force=force, stuck=stuck.name, why=stuck.why_not)
    later = (big.time_s - small.time_s) / 60
    return message(
        "pair_times", force=force, big_hands_m=big.rope_through_hands_m,
        small_hands_m=small.rope_through_hands_m, big_rope_m=big.rope_needed_m,
        small_rope_m=small.rope_needed_m, big_resets=big.resets, small_resets=small.resets,
        minutes=abs(later), how="longer" if later >= 0 else "shorter",
    )  # fmt: skip


def as_json(need: Need, options: Iterable[Option], pair: Message) -> dict[str, Any]:
    """The JSON object of `haul choose`."""
    listed = list(options)
    needs = need.resistance
    return {
        "job": {
            "load_force_N": needs.force_N,
            "load_force_u_N": needs.force_u_N,
            "start_force_N": needs.start_N,
            "distance_m": need.distance_m,
            "rope_m": need.rope_m,
            "team_N": need.team_N,
            "haulers": need.haulers,
        },
        "fits": [o.name for o in listed if not o.why_not],
        "rigs": [_option_json(o) for o in listed],
        "between": pair.text(),
        "warnings": [one.text() for one in warnings(need)],
    }


def _option_json(option: Option) -> dict[str, Any]:
    """One of `rigs` of the JSON: the fields of the option, messages as text."""
    messages = {
        "first_limit": text_of(option.first_limit),
        "why_not": "; ".join(one.text() for one in option.why_not),
    }
    return {name: getattr(option, name) for name in Option.__dataclass_fields__} | messages


def warnings(need: Need) -> list[Message]:
    """Warnings of what the ranking assumes and does not check."""
    gear = need.gear
    result = []
    if gear.efficiency is None:
        result.append(message("efficiency_assumed_for_all"))
    bare = [
        what
        for what, value in (
            ("rope", gear.rope_mbs_N), ("pulleys", gear.pulley_mbs_N),
            ("anchors", gear.anchor_mbs_N), ("grabs", gear.grab_slips_N),
            ("captures", gear.capture_slips_N),
        )
        if value is None
    ]  # fmt: skip
    if bare:
        result.append(message("not_rated_not_judged", things=", ".join(bare)))
    scatter = [
        what
        for what, slips_N, u_N in (
            ("grabs", gear.grab_slips_N, gear.grab_slips_u_N),
            ("captures", gear.capture_slips_N, gear.capture_slips_u_N),
        )
        if slips_N is not None and u_N is None
    ]
    if scatter:
        result.append(message("hitches_scatter", hitches=", ".join(scatter)))
    if need.resistance.start_why:
        result.append(message("start_force_not_known", why=need.resistance.start_why))
    result.append(
        message("times_for_ranking", haulers=need.haulers, each_W=HAULER_W, rope_m_s=FASTEST_M_S)
    )
    return result


def _team(haul: float, u: float, need: Need) -> list[Message]:
    """The fault if the team may be too weak for this haul force, N, with standard uncertainty u, N."""
    if haul > need.team_N:
        return [message("team_pulls_less", team_N=need.team_N, haul_N=haul)]
    if haul + 2 * u > need.team_N:
        return [message("team_may_pull_less", haul_N=haul + 2 * u, team_N=need.team_N)]
    return []


def _nearest(rig_model: Model, jobs: dict[str, Job]) -> tuple[Message | None, float | None]:
    """Message that names the part nearest its limit in any condition of the jobs, and its force / limit."""
    if all(one.limit_N is None for one in rig_model.parts):
        return None, None
    uses = highest_uses(models_over_job(rig_model, jobs))
    if not uses:
        return None, None
    k = max(uses, key=lambda index: uses[index].use)
    part_load, highest = rig_model.parts[k], uses[k]
    named = message(
        "most_used", kind=part_load.kind, name=part_load.name,
        condition=highest.condition + (LATER if highest.later else ""),
        force_N=highest.force_N, limit_N=part_load.limit_N, why=part_load.why,
    )  # fmt: skip
    return named, highest.use


def _fit(rig: Rig, need: Need) -> tuple[Rig, Model, dict[str, Job], float]:
    """The rig as long as its rope allows, with its model, its job by reset mode, and the rope needed, m."""
    result: tuple[Rig, Model, dict[str, Job], float] | None = None
    for share in SHRINK:
        try:
            there = placed(rig, need, share)
            rig_model = model(there)
        except (RigFault, np.linalg.LinAlgError):
            continue
        jobs = planned_jobs(rig_model)
        stuck = all(done.why_not for done in jobs.values())
        places = [x for done in jobs.values() for x in done.places]
        rope = sum(
            max(needed_rope(there, k, x) for x in (there.start_m, *places))
            for k in range(len(there.ropes))
        )
        if result is None or (_stuck(result[2]), result[3]) > (stuck, rope):
            result = (there, rig_model, jobs, rope)
        if not stuck and rope <= need.rope_m:
            return there, rig_model, jobs, rope
        if not rig.grabs or _team(
            rig_model.haul_force_N or 0.0, rig_model.haul_force_u_N or 0.0, need
        ):
            break  # a shorter rig can be reset no better and needs the same haul force
    if result is None:
        nothing = Job(
            load_m=0.0, haul_m=0.0, strokes=0, resets={}, places=(), why_not=message("does_not_fit")
        )
        there = replace(rig, load=need.load, team_pull_N=need.team_N)
        return there, model(there), {"each": nothing}, 0.0
    return result


def _stuck(jobs: dict[str, Job]) -> bool:
    """Whether the job cannot be done in any reset mode."""
    return all(done.why_not for done in jobs.values())


def placed(rig: Rig, need: Need, share: float = 1.0) -> Rig:
    """The rig with its load at the job's distance and its travelling bodies moved in proportion.

    share: factor on the positions of grabs and plates; below 1 the rig is shorter.  Raises RigFault
    where the placed rig cannot work.
    """
    length = need.distance_m + ROOM_M
    scale = length / float(rig.start_m[1])

    def move(body: Body) -> Body:
        """The body at its new place."""
        if body.kind == "load":
            return replace(body, x_m=length)
        if body.kind in ("grab", "plate"):
            return replace(body, x_m=body.x_m * scale * share)
        return body

    there = replace(
        rig,
        bodies=tuple(move(b) for b in rig.bodies),
        load=need.load,
        team_pull_N=need.team_N,
        stand_m=rig.stand_m and length,
    )
    check(there)
    return there
