"""Computes the highest force on every part of a rig while it was in use: the rows of `peaks` (interface section 6).

A part on whose strand a cell sits has the highest value of the cell.  Any other has two values, the one by
the model with friction and the most that it can have carried: while hauling, by the haul force; while the load
was eased, held or lowered, by the force that it last needed; while it was lowered before any hauling, by the haul
force with friction turned round.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.efficiency.estimate import Estimates
from analysis.mechanics.measured_parts import cells_of
from analysis.mechanics.model import Model
from analysis.messages.message import Message, message
from analysis.review.force_bounds import ForceBounds
from analysis.strokes.result import Result
from analysis.strokes.stroke import Stroke
from logger.channels.channel import Channel

# the conditions in which a part can have carried its most
CELL, HAULING, AT_REST, LOWERING = "cell", "hauling", "at rest", "lowering"


@dataclass(frozen=True)
class Peak:
    """The highest force on one part while one rig was in use."""

    name: str  # of the part; of a strand its two stations, "A1>T1"
    force_N: float  # by a cell, or by the model with friction
    force_u_N: float | None  # its standard uncertainty
    at_most_N: float | None  # the most that it can have carried; None where nothing bounds it
    how: str  # cell or model
    limit_N: float | None  # allowed force; None: not rated
    time_s: float  # when
    chapter: int  # index of the session's chapter
    when: str = CELL  # CELL, HAULING, AT_REST or LOWERING: what gives the greater value

    @property
    def rules_N(self) -> float:
        """The force that is held against the limit: of a cell, else the most, else by the model."""
        return self.force_N if self.at_most_N is None else self.at_most_N

    @property
    def use(self) -> float | None:
        """Force / limit; None where the part is not rated, and where nothing bounds a force below the limit.

        Without an upper bound, the force by the model shows only whether the limit was passed.
        """
        if self.limit_N is None:
            return None
        share = self.rules_N / self.limit_N
        return share if self.at_most_N is not None or share > 1 else None

    def json(self) -> dict[str, Any]:
        """The row of interface section 6."""
        return {
            "name": self.name,
            "force_N": self.force_N,
            "force_u_N": self.force_u_N,
            "at_most_N": self.at_most_N,
            "how": self.how,
            "limit_N": None if self.limit_N is None else float(self.limit_N),
            "use": self.use,
            "time_s": self.time_s,
            "chapter": self.chapter,
        }


@dataclass(frozen=True)
class LoadNeed:
    """What the load needed at the end of a haul stroke."""

    time_s: float  # end of the stroke
    force_N: float  # by the best estimate
    force_u_N: float  # its standard uncertainty
    at_most_N: float  # the most that it needed
    hands_on: bool = True  # may be eased or lowered since; False: a capture alone holds it

    def share(self, bounds: ForceBounds, k: int) -> float:
        """Force on part k / load force after the stroke, the most of the conditions that apply."""
        return float((bounds.rest if self.hands_on else bounds.hands_off)[k])


def needs(rig_model: Model, result: Result, estimates: Estimates) -> tuple[LoadNeed, ...]:
    """What the load needed in each haul stroke of a chapter, in order.

    By a cell, or by moving the load both ways, where the load force was measured so; else by the haul force:
    frictionless is the most, the model's is the best estimate.
    """
    cell = result.roles.haul_force
    if cell is None:
        return ()
    hauls = [s for s in result.strokes if s.direction == "haul"]
    load = estimates.load_force
    if load is not None and estimates.method in ("cell", "haul-and-lower"):
        most = max(load.value, _highest_load_N(estimates))
        u = load.u if math.isfinite(load.u) else 0.0
        return tuple(
            LoadNeed(time_s=s.end_s, force_N=load.value, force_u_N=u, at_most_N=most) for s in hauls
        )
    return tuple(_need(rig_model, cell, s) for s in hauls)


def need_before(last: LoadNeed | None, own: Result, from_s: float) -> LoadNeed | None:
    """What the load needs when a chapter begins at from_s, by the last stroke of the chapters before.

    Captures hold it while the rig is converted; if the chapter's first stroke lowers it, hands do.
    """
    if last is None:
        return None
    lowered = own.roles.progress is None or any(s.direction == "lower" for s in own.strokes[:1])
    return replace(last, time_s=from_s, hands_on=lowered)


def _need(rig_model: Model, cell: Channel, stroke: Stroke) -> LoadNeed:
    """What the load needed in one stroke, by its mean haul force; by its peak where it has no steady part."""
    haul = stroke.mean_force_N if stroke.mean_force_N is not None else stroke.peak_force_N
    haul = max(0.0, haul)
    u = math.hypot(haul * rig_model.model_ma_u, rig_model.model_ma * float(cell.u_si(haul)))
    return LoadNeed(
        time_s=stroke.end_s,
        force_N=haul * rig_model.model_ma,
        force_u_N=u,
        at_most_N=haul * rig_model.ideal_ma,
    )


def _highest_load_N(estimates: Estimates) -> float:
    """Highest load force of the steady parts by the load estimator, N; 0 without one."""
    if estimates.seen is None or estimates.estimator is None:
        return 0.0
    each = estimates.estimator.force(estimates.seen.force_N)
    good = each[np.isfinite(each)]
    return float(np.max(good, initial=0.0))


@dataclass(frozen=True)
class _Highest:
    """The highest force on a part by one source."""

    force_N: float  # best value
    u_N: float | None  # its standard uncertainty
    most_N: float  # the most; inf where nothing bounds it
    time_s: float  # when
    when: str  # CELL, HAULING, AT_REST or LOWERING


def chapter_peaks(
    bounds: ForceBounds,
    result: Result,
    own_needs: Sequence[LoadNeed],
    before: LoadNeed | None,
    chapter: int,
) -> tuple[Peak, ...]:
    """The highest force on every strand in rope order, then on every element.

    bounds: of the rig's model; result: of the chapter alone; own_needs: what the load needed in its strokes;
    before: in the last stroke before it, timed at the chapter's beginning; chapter: its index.
    """
    cells = cells_of(bounds.rig_model, result.roles.forces)
    rest = [*([before] if before else []), *own_needs]
    rows = []
    for k, rig_part in enumerate(bounds.rig_model.parts):
        read, whole = _by_cell(rig_part.name, cells.get(k, ()), result)
        inferred = [] if whole else [
            *_by_haul(bounds, k, result, bool(rest)), *_lowered(bounds, k, result, before), *_at_rest(bounds, k, rest)
        ]  # fmt: skip
        if not read and not inferred:
            continue
        best = max([*read, *inferred], key=lambda x: x.force_N)
        most = max([*read, *inferred], key=lambda x: x.most_N)
        rows.append(
            Peak(
                name=rig_part.name,
                force_N=float(best.force_N),
                force_u_N=None if best.u_N is None else float(best.u_N),
                at_most_N=float(most.most_N) if math.isfinite(most.most_N) else None,
                how="model" if inferred else "cell",
                limit_N=rig_part.limit_N,
                time_s=float(most.time_s),
                chapter=chapter,
                when=most.when,
            )
        )
    return tuple(rows)


def saturated_channels(result: Result) -> frozenset[str]:
    """Names of the channels with a reading beyond their capacity."""
    return frozenset(e.channel for e in result.derived_events if e.kind == "saturated")


def _by_cell(name: str, own: Iterable[Channel], result: Result) -> tuple[list[_Highest], bool]:
    """The highest value of the part's cells, and whether they measure its whole force all the time.

    A cell beyond its capacity read less than there was; beside the axis a cell reads a component.
    """
    own, beyond = tuple(own), saturated_channels(result)
    cells = [c for c in result.roles.forces if c in own or c.at == name]
    read = [(s.highest, s.highest_s, c) for c in cells
            for s in [result.channels[c.name]] if s.highest is not None]  # fmt: skip
    if not read:
        return [], False
    force, time_s, cell = max(read, key=lambda row: row[0])
    force = max(0.0, force)
    whole = any(c in own for _, _, c in read) and not any(c.name in beyond for _, _, c in read)
    highest = _Highest(
        force_N=force,
        u_N=float(cell.u_si(force)) or None,
        most_N=force,
        time_s=time_s or 0.0,
        when=CELL,
    )
    return [highest], whole


def _by_haul(bounds: ForceBounds, k: int, result: Result, rests: bool) -> list[_Highest]:
    """The force on part k by the highest haul force; a cell beyond its capacity bounds nothing.

    rests: whether the load was hauled.  What a capture carries at rest then follows from what the load needed,
    of which its drag while hauling is a share; before, it follows from the haul force.
    """
    cell = result.roles.haul_force
    top = None if cell is None else result.channels[cell.name]
    if cell is None or top is None or top.highest is None or top.highest_s is None:
        return []
    haul, gain = max(0.0, top.highest), float(bounds.model[k])
    u = math.hypot(haul * bounds.rig_model.parts[k].model_u, gain * float(cell.u_si(haul)))
    most = haul * float(bounds.hauling[k]) if haul else 0.0
    if cell.name in saturated_channels(result):
        most = math.inf
    elif bounds.pieces[k].kind == "capture":
        most = -math.inf if rests else haul * float(max(bounds.drag[k], bounds.let_go[k]))
    return [_Highest(force_N=haul * gain, u_N=u, most_N=most, time_s=top.highest_s, when=HAULING)]


def _lowered(
    bounds: ForceBounds, k: int, result: Result, before: LoadNeed | None
) -> list[_Highest]:
    """The force on part k while the load was lowered before any hauling.

    Without a rope counter, any pull may be that.
    """
    cell = result.roles.haul_force
    if cell is None or before is not None:
        return []
    top = result.channels[cell.name]
    first = next((s.start_s for s in result.strokes if s.direction == "haul"), math.inf)
    pulls = [(s.peak_force_N, s.peak_s) for s in result.strokes
             if s.direction == "lower" and s.start_s < first]  # fmt: skip
    if result.roles.progress is None and top.highest is not None and top.highest_s is not None:
        pulls.append((top.highest, top.highest_s))
    gain = most = float(bounds.back_per_haul[k])
    if bounds.pieces[k].kind == "capture":
        most = max(most, float(bounds.let_go_lowering[k]))
    return [
        _Highest(
            force_N=max(0.0, haul) * gain,
            u_N=None,
            most_N=max(0.0, haul) * most,
            time_s=time_s,
            when=LOWERING,
        )
        for haul, time_s in pulls
    ]


def _at_rest(bounds: ForceBounds, k: int, rest: Sequence[LoadNeed]) -> list[_Highest]:
    """The force on part k while the load is eased, held or lowered after each haul stroke.

    The best value is that of a capture which holds the load; easing and lowering count for the most alone.
    """
    held = float(bounds.hands_off[k])
    rows = [(n, n.share(bounds, k)) for n in rest]
    return [
        _Highest(
            force_N=held * n.force_N,
            u_N=held * n.force_u_N,
            most_N=share * n.at_most_N,
            time_s=n.time_s,
            when=AT_REST,
        )
        for n, share in rows
    ]


def highest_peaks(rows: Iterable[Peak]) -> tuple[Peak, ...]:
    """One row for each part of all chapters, its highest; in the order in which the parts come first."""
    best: dict[str, Peak] = {}
    for row in rows:
        if row.name not in best or row.rules_N > best[row.name].rules_N:
            best[row.name] = row
    return tuple(best.values())


def not_bounded(rows: Iterable[Peak], result: Result) -> list[Message]:
    """Why parts have no upper bound; none where all have one."""
    open_ended = [p.name for p in rows if p.at_most_N is None]
    if not open_ended:
        return []
    cell, beyond = result.roles.haul_force, saturated_channels(result)
    names = ", ".join(dict.fromkeys(open_ended))
    if cell is not None and cell.name in beyond:
        return [message("peaks_beyond_capacity", parts=names, cell=cell.name)]
    return [message("peaks_not_bounded", parts=names)]
