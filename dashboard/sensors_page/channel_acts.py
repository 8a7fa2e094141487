"""What a button about a channel does: turn it round, zero it, compare it with a known weight, set its levels."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from analysis.sensors_edit.channel_edits import SetKeys, TakeChannel
from dashboard.sensors_page.sensors_desk import SensorsDesk, Steadiness, said_of
from dashboard.sensors_page.sensors_store import CalibrationPoint, OpenStep, SensorsState
from dashboard.sensors_page.typed import (
    FORCE_TYPED,
    LENGTH_TYPED,
    percent_typed,
    positive_typed,
    sized_typed,
    text_typed,
)
from dashboard.text.alarm_levels import check_levels
from dashboard.text.units import METRIC, Units
from logger.calibration.calibration import fit, save
from logger.calibration.curve import Calibration
from logger.calibration.iso376_e74 import recorded_terms
from logger.channels.channel import Channel
from logger.device_units import COUNT, to_si, units_for
from logger.errors import CallFault, SensorsFault, UserFault

ZERO_S = 3.0  # over which a zero or a point is the mean; chosen by us: some lines of a slow device
LEAST_READINGS = 3  # of a mean
MOST_POINTS = 40  # of a calibration by hand; memory only
LEAST_FITTED = 3  # points from which a straight line shows how far it is off
SURE_DIGITS = 1  # of a standard uncertainty, to which its mean is shown; chosen by us
DIGITS = 7  # of a mean that is written; rounding only

# the questions about a channel in the order in which they are asked
FORCE_STEPS = ("pull", "zero", "weight", "levels")
LENGTH_STEPS = ("pull", "weight")


def next_step(sensors: SensorsDesk, state: SensorsState) -> SensorsState:
    """The next question about the channel, or none."""
    step = state.step
    row = sensors.row(state, step.channel)
    order = FORCE_STEPS if row.get("quantity") == "force" else LENGTH_STEPS
    after = order[order.index(step.kind) + 1 :] if step.kind in order else ()
    return replace(
        state, step=OpenStep(kind=after[0], channel=step.channel) if after else OpenStep()
    )


def tried(
    sensors: SensorsDesk, state: SensorsState, name: str, values: dict[str, Any]
) -> SensorsState:
    """The state with other values of a channel; raises CallFault for values that its file can't have."""
    draft = state.draft.make(SetKeys(name, values))
    made = replace(state, draft=draft)
    before, outcome = sensors.outcome(state), sensors.outcome(made)
    fault: UserFault | None = outcome.fault
    if fault is None and outcome.sensors is not None:
        try:
            check_levels(outcome.sensors)
        except SensorsFault as level:
            fault = level
    if fault is not None and before.fault is None:
        raise CallFault(name, f"{fault.place}: {fault.fault}", fault.cure)
    return made


# -- pull ------------------------------------------------------------------------------------------
def turn_round(sensors: SensorsDesk, state: SensorsState, name: str) -> SensorsState:
    """A pull counts the other way."""
    row = sensors.row(state, name)
    if "calibration" in row:
        raise CallFault(
            name, "has a calibration, which knows its own sign", "take the calibration out first"
        )
    scale = row.get("scale", 1.0)
    if isinstance(scale, bool) or not isinstance(scale, int | float):
        raise CallFault(name, "scale is no number", "open the channel, and type it anew")
    turned = -float(scale)
    return tried(sensors, state, name, {"scale": None if turned == 1.0 else turned})


def after_pull(sensors: SensorsDesk, before: SensorsState, state: SensorsState) -> SensorsState:
    """The state after an act at the pull, which remembers whether that pull counted as negative."""
    name = before.step.channel
    if before.step.kind != "pull":
        return state
    backward = pull_is_backward(sensors, before)
    if backward is None:
        return state
    others = tuple(one for one in state.backward if one != name)
    turned = sensors.turned(before, name) != sensors.turned(state, name)
    return replace(state, backward=(*others, name) if backward != turned else others)


def pull_is_backward(sensors: SensorsDesk, state: SensorsState) -> bool | None:
    """Whether the pull that is watched counts as negative; None where its channel has not moved."""
    name = state.step.channel
    heard = sensors.heard(sensors.row(state, name).get("port"))
    pull = None if heard is None else heard.pull()
    if pull is None or not pull.ready:
        return None
    place = sensors.place_of(sensors.row(state, name))
    own = next((one for one in pull.moved() if one.place == place), None)
    return None if own is None else (own.change < 0.0) != sensors.turned(state, name)


def with_sign_settled(
    sensors: SensorsDesk, before: SensorsState, made: SensorsState, name: str
) -> SensorsState:
    """The state after an act that may have turned a channel round: whether its pull now counts as negative."""
    was, now = sensors.turned(before, name), sensors.turned(made, name)
    if was == now:
        return made
    others = tuple(one for one in made.backward if one != name)
    return replace(made, backward=others if now else (*others, name))


def weigh_pull(sensors: SensorsDesk, state: SensorsState, name: str, typed: Any) -> SensorsState:
    """A known weight hangs on it now, or a known length was pulled."""
    row = sensors.row(state, name)
    length = row.get("quantity") == "length"
    what = "length" if length else "weight"
    made = sized_typed(typed, what, length, "m" if length else "kg")
    if made is None:
        return replace(state, step=replace(state.step, size=0.0, size_text=""))
    value, unit, size = made
    if size <= 0.0:
        raise CallFault(what, "must be above 0", f"type {LENGTH_TYPED if length else FORCE_TYPED}")
    return replace(state, step=replace(state.step, size=size, size_text=f"{value:g} {unit}"))


def take_unit(sensors: SensorsDesk, state: SensorsState, name: str, unit: Any) -> SensorsState:
    """Its unit is another one, by the weight that was typed."""
    row = sensors.row(state, name)
    if unit not in units_for(str(row.get("quantity"))) or unit == COUNT:
        raise CallFault("unit", "is none for this channel", "choose one of the buttons")
    return tried(sensors, state, name, {"unit": unit})


# -- zero ------------------------------------------------------------------------------------------
def take_zero(
    sensors: SensorsDesk, state: SensorsState, name: str, units: Units, anyway: bool
) -> tuple[SensorsState, str]:
    """What it read in the last ZERO_S, with nothing on it, is its zero; the state, and what was taken.

    anyway: even though it moves.
    """
    channel = sensors.channel(state, name)
    steady = steady_now(sensors, state, name, anyway)
    zero = float(f"{channel.zero_for(steady.mean):.{DIGITS}g}")
    made = tried(sensors, state, name, {"zero": zero or None})
    said = (
        f"Zero of {name}: {mean_text(steady.mean, steady.sd, steady.n)} {channel.unit}, the mean of {steady.n} readings over {ZERO_S:g} s; "
        f"they scatter by {scatter_text(channel, steady.sd, units)}."
    )
    return made, said


def steady_now(
    sensors: SensorsDesk, state: SensorsState, name: str, anyway: bool = False
) -> Steadiness:
    """Mean and scatter over the last ZERO_S; raises CallFault where too few readings came, or it moved.

    anyway: even though it moved.
    """
    steady = sensors.steadiness(state, name, ZERO_S)
    if steady is None or steady.n < LEAST_READINGS:
        raise CallFault(
            name, f"sent fewer than {LEAST_READINGS} readings in the last {ZERO_S:g} s",
            "listen to its port, and wait until its numbers run",
        )  # fmt: skip
    if steady.moves and not anyway:
        raise CallFault(
            name, f"moved within the last {ZERO_S:g} s, so nothing is taken",
            "wait until it hangs still, and touch it again",
        )  # fmt: skip
    return steady


def mean_text(mean: float, sd: float, n: int) -> str:
    """A mean of n readings as text, with no more digits than its standard uncertainty sd / sqrt(n) leaves sure."""
    u = sd / math.sqrt(n)
    if not u > 0.0:
        return f"{mean:.6g}"
    places = SURE_DIGITS - 1 - math.floor(math.log10(u))
    return f"{round(mean, places):.{max(0, places)}f}"


def scatter_text(channel: Channel, sd: float, units: Units) -> str:
    """A standard deviation, sd in the channel's unit, as text in both units."""
    own = f"{sd:.2g} {channel.unit}"
    si = abs(channel.si(channel.zero + sd) - channel.si(channel.zero))
    shown = (units.force if channel.quantity == "force" else units.length)(si)
    return own if own.split()[-1] == shown.split()[-1] else f"{own} ({shown})"


# -- known weight, taped length --------------------------------------------------------------------
def take_point(
    sensors: SensorsDesk,
    state: SensorsState,
    name: str,
    typed: Any,
    nothing: bool,
    anyway: bool = False,
) -> SensorsState:
    """A point of the calibration: a known force or length, and what the device shows now.

    nothing: nothing is on it; anyway: even though it moves.
    """
    row = sensors.row(state, name)
    length = row.get("quantity") == "length"
    what = "length" if length else "weight"
    made = (0.0, "m" if length else "N", 0.0) if nothing else sized_typed(
        typed, what, length, "m" if length else "kg"
    )  # fmt: skip
    valid = LENGTH_TYPED if length else FORCE_TYPED
    if made is None:
        raise CallFault(what, "is empty", f"type {valid}")
    if made[2] < 0.0:
        raise CallFault(what, "is below 0", f"type {valid}")
    points = state.points.get(name, ())
    if len(points) >= MOST_POINTS:
        raise CallFault("points", f"there are {MOST_POINTS}", "take one out first")
    steady = steady_now(sensors, state, name, anyway)
    text = "nothing" if nothing else f"{made[0]:g} {made[1]}"
    point = CalibrationPoint(
        applied=made[2], text=text, reading=steady.mean, sd=steady.sd, n=steady.n
    )
    return replace(state, points={**state.points, name: (*points, point)})


def drop_point(state: SensorsState, name: Any, number: Any) -> SensorsState:
    """Without one of the points."""
    points = state.points.get(name, ()) if isinstance(name, str) else ()
    if type(number) is not int or not 0 <= number < len(points):
        raise CallFault("points", "there is no such point any more", "look at the list again")
    kept = (*points[:number], *points[number + 1 :])
    return replace(state, points={**state.points, name: kept})


def single_scale(channel_row: dict[str, Any], points: tuple[CalibrationPoint, ...]) -> float | None:
    """The scale with which the last known weight reads right, from nothing or the zero; None without one."""
    net, applied = net_reading(channel_row, points)
    if not applied:
        return None
    unit = channel_row.get("unit", "N")
    size = net * (
        to_si(unit)
        if isinstance(unit, str) and unit in units_for("force") + units_for("length")
        else 1.0
    )
    return float(f"{applied / size:.6g}") if size else None


def net_reading(
    channel_row: dict[str, Any], points: tuple[CalibrationPoint, ...]
) -> tuple[float, float]:
    """What the last known weight or length changed, as the device sends it, and its size in N or m; 0, 0 without one."""
    loaded = [one for one in points if one.applied]
    if not loaded:
        return 0.0, 0.0
    empty = [one.reading for one in points if not one.applied]
    zero = channel_row.get("zero", 0.0)
    rest = (
        sum(empty) / len(empty) if empty else float(zero) if isinstance(zero, int | float) else 0.0
    )
    return loaded[-1].reading - rest, loaded[-1].applied


def use_scale(sensors: SensorsDesk, state: SensorsState, name: str) -> tuple[SensorsState, str]:
    """One known weight makes the scale; the zero is the point with nothing on it, where there is one."""
    row = sensors.row(state, name)
    points = state.points.get(name, ())
    scale = single_scale(row, points)
    if scale is None:
        raise CallFault(
            name, "shows no change for that weight", "hang it on, and take the reading again"
        )
    empty = [one.reading for one in points if not one.applied]
    values: dict[str, Any] = {"scale": None if scale == 1.0 else scale, "calibration": None}
    if empty:
        values["zero"] = float(f"{sum(empty) / len(empty):.{DIGITS}g}") or None
    made = with_sign_settled(sensors, state, tried(sensors, state, name, values), name)
    turned = "; its number falls, so the scale turns it round" if scale < 0.0 else ""
    size_of = "taped length" if row.get("quantity") == "length" else "known weight"
    return made, f"Scale {scale:.4g}, by one {size_of}{turned}."


def without_calibration(sensors: SensorsDesk, state: SensorsState, name: str) -> SensorsState:
    """The channel by its scale alone."""
    made = tried(sensors, state, name, {"calibration": None})
    return with_sign_settled(sensors, state, made, name)


def fitted(state: SensorsState, name: str, quantity: str) -> Calibration:
    """The straight line through the points, as `haul calibrate` fits it; raises SensorsFault."""
    points = state.points.get(name, ())
    return fit(
        [one.applied for one in points], [one.reading for one in points], 1, quantity=quantity
    )


def use_curve(sensors: SensorsDesk, state: SensorsState, name: str) -> tuple[SensorsState, str]:
    """The line through the points is written as a calibration file, and the channel names it."""
    row = sensors.row(state, name)
    quantity = str(row.get("quantity"))
    points = state.points.get(name, ())
    curve = fitted(state, name, quantity)
    for number in range(1, 100):
        called = f"{name}-cal.toml" if number == 1 else f"{name}-cal-{number}.toml"
        path = sensors.store.path(called.removesuffix(".toml"))
        if not path.exists():
            break
    else:
        raise CallFault(name, "has too many calibration files", "take old ones away")
    applied = [one.applied for one in points]
    save(curve, path, recorded_terms(curve, applied, [one.reading for one in points], None))
    values = {"calibration": path.name, "scale": None, "u": None, "zero": None}
    try:
        made = with_sign_settled(sensors, state, tried(sensors, state, name, values), name)
        turned = (
            " Its number falls, and the calibration turns it round."
            if curve.coefficients[1] < 0.0
            else ""
        )
        return made, f"Written to {path.name}, and used by {name}.{turned}"
    except UserFault:
        path.unlink(missing_ok=True)
        raise


# -- levels ----------------------------------------------------------------------------------------
def set_levels(
    sensors: SensorsDesk, state: SensorsState, name: str, fields: dict[str, Any]
) -> SensorsState:
    """Caution, stop and capacity; an empty field takes one out.  Refused at once where they do not fit."""
    row = sensors.row(state, name)
    length = row.get("quantity") == "length"
    usual = usual_unit(length, sensors.desk.units)
    values: dict[str, Any] = {
        key: positive_typed(fields.get(key), said, length, usual)
        for key, said in (("warn_at", "caution"), ("stop_at", "stop"), ("capacity", "capacity"))
        if key in fields
    }
    warn, stop = values.get("warn_at"), values.get("stop_at")
    if warn is not None and stop is not None and warn > stop:
        show = sensors.desk.units.length if length else sensors.desk.units.force
        raise CallFault(
            "caution", f"at {show(warn)} is above the stop at {show(stop)}",
            f"type a caution of at most {show(stop)}",
        )  # fmt: skip
    return tried(sensors, state, name, values)


def set_goodness(sensors: SensorsDesk, state: SensorsState, name: str, typed: Any) -> SensorsState:
    """How good it is, % of the reading; nothing typed: not known."""
    return tried(sensors, state, name, {"u_percent": percent_typed(typed, "how good")})


def rename(sensors: SensorsDesk, state: SensorsState, name: str, typed: Any) -> SensorsState:
    """Another name of a channel."""
    text = text_typed(typed, "name", 60)
    if not text:
        raise CallFault("name", "is empty", "type a name such as haul_force")
    made = tried(sensors, state, name, {"name": text})
    points = {text if key == name else key: value for key, value in made.points.items()}
    backward = tuple(text if key == name else key for key in made.backward)
    return replace(made, step=replace(made.step, channel=text), points=points, backward=backward)


def take_out(sensors: SensorsDesk, state: SensorsState, name: str) -> SensorsState:
    """Without the channel; undo brings it back."""
    sensors.row(state, name)
    backward = tuple(one for one in state.backward if one != name)
    draft = state.draft.make(TakeChannel(name))
    return replace(state, draft=draft, step=OpenStep(), backward=backward)


def usual_unit(length: bool, units: Units) -> str:
    """The unit of a level that is typed without one."""
    metric = units is METRIC or units.name == METRIC.name
    if length:
        return "m" if metric else "ft"
    return "N" if metric else "lbf"


def fault_said(fault: UserFault) -> str:
    """A fault of an act as a sentence that begins with what it is about."""
    about = fault.place or fault.file
    return said_of(fault) if fault.place else f"{about}: {said_of(fault)}"
