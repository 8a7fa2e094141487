"""Leaves out estimates that the readings themselves contradict, and names the rig, unit, place or sign to check.

Two counters give rope / load travel, which friction does not change: where it is not the file's, another rig
was built, and the ideal advantage is not known.  Cells give an advantage, which pulleys only lessen: one above
the ideal, or so small that pulleys of an efficiency below FLOOR would be needed, comes from a cell that reads
something else than the sensors file says.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.efficiency.as_built_check import measured_ratio
from analysis.efficiency.load_estimators import LoadEstimator
from analysis.efficiency.uncertainty import Quantity
from analysis.mechanics.model import Model, common_efficiency, load_from_cell
from analysis.messages.message import Message, message
from analysis.rig.rig import Rig
from analysis.signals.lag_from_ripple import LAG
from analysis.signals.time_cells import Floats
from analysis.strokes.result import Result
from logger.channels.channel import Channel
from logger.device_units import FORCE_UNITS, to_si

if TYPE_CHECKING:
    from analysis.efficiency.estimate import Estimates

# pulley efficiency below which a reading is refused in any case; chosen by us: a rope over a bare carabiner or
# bar keeps more (common practice, no source)
FLOOR = 0.4
# pulley efficiency below which it is refused where another unit or place gives what was predicted; chosen by us:
# worse than any wheel, while a rope over a carabiner may reach it.  In 1,040 undisturbed sessions of both
# simulators of the tests none was refused: fewer than 1 in 346 (95 %, rule of three)
SUSPECT = 0.6
# standard uncertainties of the predicted and the measured advantage by which it may be too small where another unit or
# place gives what was predicted; chosen by us: no error of stated size is as large, and a unit 2.2 times off is, with
# pulleys that are known to 0.03
FAR = 6.0
# share by which the advantage may miss the prediction for a cause to explain it; chosen by us: units are 2.2
# apart or more, and default pulleys are known to some 10 % of the advantage
FITS = 0.2
MOST_ROOM = 0.35  # derived: two units that are 2.2 apart must not both fit
SENT_UNITS = ("N", "kN", "kg", "lbf")  # what devices send
LEAST_FACTOR = 1.5  # chosen by us: units closer together than this are the same
# share of the time of haul strokes beyond a cell's capacity for which no steady piece is left; chosen by us: a single
# jerk spoils no stroke
BEYOND_CAPACITY = 0.05
# warnings that follow from readings that are cut off: a force that stays where it is looks like a load that stands
BY_RANGE = frozenset({"load_stood", "ripple_and_lag"})
SURE_ZERO = 3.5  # chosen by us: a normal error of a zero exceeds it once in 2,100
# relative standard uncertainty by the lag between channels that counts here at most; chosen by us: a haul that stops
# again and again may be less certain, and a cell on another strand gives an advantage several times off
MOST_LAG_U = 0.1
AT_LOAD = 0.15  # share by which two cells on one strand may differ; chosen by us: clear of MA 2 with poor pulleys


def without_contradicted(
    rig: Rig, rig_model: Model, result: Result, estimates: Estimates
) -> Estimates:
    """The estimates without those that the readings contradict, with the reason."""
    looks = measured_ratio(rig_model, result)
    if looks is not None:
        return _of_another_rig(rig_model, result, estimates, looks)
    clipped = _beyond_range(result, estimates)
    if clipped is not None:
        sound = tuple(line for line in estimates.warnings if line.code not in BY_RANGE)
        cut_off = replace(estimates, warnings=sound)
        return _without_forces(cut_off, clipped, keep_load=estimates.method == "known")
    cell = result.roles.haul_force
    if cell is not None and _reversed(result):
        return _without_forces(
            estimates, message("haul_cell_reversed", cell=cell.name), keep_load=False
        )
    return _misread(rig, rig_model, result, estimates)


def _beyond_range(result: Result, estimates: Estimates) -> Message | None:
    """Why the forces are only a lower bound: the cell was beyond its capacity or its range; None: it was not.

    Where readings are cut off, no piece of a stroke may look steady, so whole strokes count then.
    """
    stated = [line for line in estimates.why_not if line.code == "hauled_beyond_capacity"]
    if stated:
        return stated[0]
    if estimates.seen is None and _time_beyond_capacity(result) > BEYOND_CAPACITY:
        return message("hauled_beyond_capacity")
    if not any(s.direction == "haul" for s in result.strokes):
        return None  # nothing was hauled, whatever the cell reads
    share = None if estimates.estimator is None else estimates.estimator.share
    for k, cell in enumerate(result.roles.forces):
        summary = result.channels[cell.name]
        used = k == 0 or share is None or bool(share[k])
        if used and summary.flat_top and summary.highest is not None:
            return message("cell_at_its_range", cell=cell.name, top_N=summary.highest)
    return None


def _time_beyond_capacity(result: Result) -> float:
    """Share of the time of haul strokes in which a force cell read beyond its capacity; 0 without a stroke."""
    hauled = [(s.start_s, s.end_s) for s in result.strokes if s.direction == "haul"]
    cells = {cell.name for cell in result.roles.forces}
    beyond = [
        (e.time_s, e.time_s if e.end_s is None else e.end_s)
        for e in result.derived_events
        if e.kind == "saturated" and e.channel in cells
    ]
    lasts_s = sum(end - start for start, end in hauled)
    both_s = sum(
        max(0.0, min(end, to) - max(start, since)) for start, end in hauled for since, to in beyond
    )
    return both_s / lasts_s if lasts_s > 0 else 0.0


def _reversed(result: Result) -> bool:
    """Whether the haul cell read nothing but negative forces."""
    return any(line.code == "reads_negative" for line in result.warnings)


def _of_another_rig(
    rig_model: Model, result: Result, estimates: Estimates, looks: float
) -> Estimates:
    """The estimates without those that rest on the file's rig; looks: measured travel ratio."""
    why = message("efficiency_of_another_rig", looks=looks, file=rig_model.travel_ratio)
    by_rig, estimator = True, estimates.estimator
    if estimator is not None and estimator.method != "haul-and-lower":
        cells = [c for c, share in zip(result.roles.forces, estimator.share, strict=False) if share]
        by_rig = any(c.at != "load" for c in cells)
    # an advantage above the file's ideal is what the other rig gives
    usable = all(line.code == "advantage_above_ideal" for line in estimates.why_not)
    return replace(
        estimates,
        load_force=None if by_rig else estimates.load_force,
        actual_ma=estimates.ratio if usable and not by_rig else None,
        efficiency=None,
        pulley_efficiency=None,
        totals=replace(estimates.totals, efficiency=None),
        work_efficiency=None if by_rig else estimates.work_efficiency,
        work_out_J=None if by_rig else estimates.work_out_J,
        strokes=(None,) * len(estimates.strokes),
        why_not=(why, *(line for line in estimates.why_not if line.code == "load_force_not_known")),
        refused=why,
    )


def _misread(rig: Rig, rig_model: Model, result: Result, estimates: Estimates) -> Estimates:
    """The estimates without those of cells whose advantage no pulleys explain."""
    ratio, seen = estimates.ratio, estimates.seen
    if ratio is None or seen is None or rig_model.ideal_ma < LEAST_FACTOR:
        return estimates
    ratio = _with_bounded_lag(ratio)
    if any(
        line.code in ("haul_force_too_small", "hauled_beyond_capacity")
        for line in estimates.why_not
    ):
        return estimates
    if any(line.code == "no_load" for line in estimates.why_not):
        return replace(estimates, load_force=None, work_out_J=None)
    above = any(line.code == "advantage_above_ideal" for line in estimates.why_not)
    highest = ratio.value + ratio.U95
    implied = 1.0
    if not above and highest < rig_model.model_ma:
        implied = common_efficiency(rig, highest) or 0.0
    short = highest < rig_model.model_ma - 3 * rig_model.model_ma_u
    if not (above or short or implied < FLOOR):
        return _other_scale(estimates)
    doubts = _doubts(rig, rig_model, result, estimates, ratio)
    near_one = any(line.code == "haul_cell_at_load" for line in doubts)
    # pulleys that are taken as exact are an assumption (a what-if), against which nothing is judged
    measured = rig_model.model_ma_u > 0.0
    far = measured and ratio.value < rig_model.model_ma - FAR * math.hypot(
        rig_model.model_ma_u, ratio.u
    )
    if not (above or near_one or implied < (SUSPECT if doubts else FLOOR) or (doubts and far)):
        if not doubts:
            return estimates
        warning = message("cells_may_be_misread", causes=tuple(doubts))
        return replace(estimates, warnings=(*estimates.warnings, warning))
    if above and not doubts:
        return estimates
    values = {"advantage": ratio.value, "ideal": rig_model.ideal_ma}
    if doubts:
        why = message("cells_contradict_rig", causes=tuple(doubts), **values)
    else:
        why = message("cells_contradict_any_pulley", floor=FLOOR, **values)
    return _without_forces(estimates, why, keep_load=estimates.method == "known")


def _with_bounded_lag(ratio: Quantity) -> Quantity:
    """The advantage whose uncertainty by the lag between channels is MOST_LAG_U of it at most."""
    most = MOST_LAG_U * abs(ratio.value)
    budget = tuple(
        replace(one, u=min(one.u, most)) if one.name == LAG else one for one in ratio.budget
    )
    return replace(ratio, budget=budget)


def unexplained(refused: Message | None, warnings: Sequence[Message]) -> list[Message]:
    """The warnings without those of a zero that another unit explains.

    refused: the contradiction for which values are left out.  A zero that is off by less than SURE_ZERO of its
    standard uncertainties in the unit that the device seems to send is no error of the zero.
    """
    factors = {
        line.values["cell"]: to_si(line.values["sent"]) / to_si(line.values["unit"])
        for line in (() if refused is None else (refused, *refused.values.get("causes", ())))
        if line.code == "cell_sends_another_unit"
    }

    def explained(line: Message) -> bool:
        """Whether the lowest reading is within the zero's uncertainty in the other unit."""
        if line.code not in ("zero_too_low", "zero_too_high"):
            return False
        factor = factors.get(line.values["cell"])
        return factor is not None and (
            abs(line.values["least_N"]) * factor <= SURE_ZERO * line.values["u_N"]
        )

    return [line for line in warnings if not explained(line)]


def _other_scale(estimates: Estimates) -> Estimates:
    """The estimates without forces in a unit that looks wrong; their ratio stays where it is of one cell."""
    doubts = [line for line in estimates.warnings if line.code == "unit_looks_wrong"]
    if not doubts:
        return estimates
    cleared = _without_forces(estimates, doubts[0], keep_load=estimates.method == "known")
    if estimates.method != "haul-and-lower":
        return cleared
    return replace(
        cleared, actual_ma=estimates.actual_ma, efficiency=estimates.efficiency,
        pulley_efficiency=estimates.pulley_efficiency, strokes=estimates.strokes, refused=None,
    )  # fmt: skip


def _without_forces(estimates: Estimates, why: Message, *, keep_load: bool) -> Estimates:
    """The estimates without what rests on cells; keep_load: the load force is the file's."""
    return replace(
        estimates,
        haul_force=None,
        load_force=estimates.load_force if keep_load else None,
        actual_ma=None,
        efficiency=None,
        pulley_efficiency=None,
        totals=replace(estimates.totals, in_J=None),
        work_efficiency=None,
        work_out_J=estimates.work_out_J if keep_load else None,
        strokes=(None,) * len(estimates.strokes),
        why_not=(why,),
        refused=why,
    )


def _doubts(
    rig: Rig, rig_model: Model, result: Result, estimates: Estimates, ratio: Quantity
) -> list[Message]:
    """The units and places that would give about the predicted advantage.

    The load force is F = share @ readings + constant, so another unit of one cell changes F, or the haul force S,
    by its factor.  A haul cell on the load's side reads F, and S follows from the other cell.  A cell at the
    anchor lacks, or has too much of, the haul force.
    """
    cells, estimator, seen = result.roles.forces, estimates.estimator, estimates.seen
    assert estimator is not None
    assert seen is not None
    haul, predicted, share = cells[0], rig_model.model_ma, estimator.share
    means = np.array([seen.mean(k) if share[k] or k == 0 else 0.0 for k in range(len(cells))])
    room = FITS + 2 * math.hypot(rig_model.model_ma_u / predicted, ratio.u / ratio.value)
    room = min(room, MOST_ROOM)

    def fits(readings: Floats) -> bool:
        """Whether these mean readings, N, (channels,), would give about the predicted advantage."""
        if not readings[0] > 0:
            return False
        advantage = (float(share @ readings) + estimator.constant_N) / float(readings[0])
        return (
            abs(advantage / predicted - 1) <= room and advantage <= rig_model.ideal_ma + ratio.U95
        )

    doubts = []
    used = [0, *(int(k) for k in np.flatnonzero(share) if k)]
    if predicted > 1 + 2 * AT_LOAD and _at_load(estimator, means, fits):
        doubts.append(message("haul_cell_at_load", cell=haul.name))
    for k in used if estimator.method != "haul-and-lower" else ():
        for sent in _units(cells[k]):
            other = means.copy()
            other[k] *= to_si(sent) / to_si(cells[k].unit)
            if fits(other):
                values = {"cell": cells[k].name, "sent": sent, "unit": cells[k].unit}
                doubts.append(message("cell_sends_another_unit", **values))
    if len(used) == 2 and cells[used[1]].at == "load":
        pair = load_from_cell(rig, "anchor")
        if pair is not None and pair[1]:
            other = means.copy()
            other[used[1]] = pair[0] * means[used[1]] + pair[1] * means[0]
            if fits(other):
                doubts.append(message("load_cell_at_anchor", cell=cells[used[1]].name))
    return doubts


def _at_load(estimator: LoadEstimator, means: Floats, fits: Callable[[Floats], bool]) -> bool:
    """Whether the haul cell reads the load force; means: (channels,) mean readings, N."""
    gain = float(estimator.share[0])
    others_N = float(estimator.share @ means) - gain * means[0] + estimator.constant_N
    if abs(gain) < 1e-9:
        return bool(abs(others_N / means[0] - 1) <= AT_LOAD)
    other = means.copy()
    other[0] = (means[0] - others_N) / gain
    return estimator.method == "cell" and fits(other)


def _units(cell: Channel) -> list[str]:
    """Other units that the device may send."""
    if cell.unit not in FORCE_UNITS or cell.calibration is not None:
        return []
    return [
        unit for unit in SENT_UNITS
        if abs(math.log(to_si(unit) / to_si(cell.unit))) > math.log(LEAST_FACTOR)
    ]  # fmt: skip
