"""Says what a known weight or length shows of a channel: how much of it, which unit fits, and which way it counts."""

from __future__ import annotations

from statistics import median
from typing import Any, NamedTuple

from dashboard.sensors_page.acts import act
from dashboard.sensors_page.channel_acts import LEAST_FITTED, fitted, net_reading, single_scale
from dashboard.sensors_page.number_acts import shown_unit
from dashboard.sensors_page.sensors_desk import NOW_S, SensorsDesk
from dashboard.sensors_page.sensors_store import OpenStep, SensorsState
from logger.device_units import COUNT, same_unit
from logger.errors import UserFault
from logger.listening.movement import Movement, fitting_units, share_of

RIGHT_SHARE = (
    0.02  # by which a known weight may be off and count as shown right; as `haul listen` has it
)


class Offer(NamedTuple):
    """A button that uses what was said."""

    label: str  # what stands on it
    act: str  # what it does, see `acts`


# -- at the pull -----------------------------------------------------------------------------------
def pulled_size(
    sensors: SensorsDesk, state: SensorsState, own: Movement
) -> tuple[list[str], list[Offer]]:
    """How much of the weight or length that was typed the channel shows, and the units that fit better.

    own: the movement of its number.
    """
    step = state.step
    if not step.size:
        return [], []
    name, row = step.channel, sensors.row(state, step.channel)
    unit, length = str(row.get("unit")), row.get("quantity") == "length"
    now = sensors.readings(state, name, NOW_S)
    change = own.change if length else (median(now) if now else own.farthest) - own.rest
    if unit == COUNT:
        said = f"{change:.4g} counts for {step.size_text}: take it as a point in the next step but one."
        return ([said] if change else []), []
    shown = f"It shows {abs(change):.4g} {unit} for {step.size_text}"
    curve = sensors.curve(state, name)
    if curve is not None:
        at = own.rest - float(row.get("zero", 0.0))
        share = abs(float(curve.apply(at + change)) - float(curve.apply(at))) / step.size
        rows = [f"{shown}: {share:.0%} of it by its calibration."]
        return rows if abs(share - 1.0) <= RIGHT_SHARE else [*rows, _put_right(length)], []
    scaled = abs(change * _scale(row))
    share = share_of(scaled, unit, step.size)
    rows = [f"{shown}: {share:.0%} of it{'' if scaled == abs(change) else ' by its scale'}."]
    other = _other_units(unit, scaled, step.size, length)
    if not other:
        return rows if abs(share - 1.0) <= RIGHT_SHARE else [*rows, _put_right(length)], []
    rows.append(f"It looks like {' or '.join(other)}, not {unit}.")
    written = shown_unit(sensors, state, step)
    if written is None:
        return rows, [Offer(f"Make it {one}", act("take unit", name, one)) for one in other]
    rows.append(
        f"But the device writes {written} behind it: a known weight in the next steps puts it right."
    )
    return rows, []


def _put_right(length: bool) -> str:
    if length:
        return "A taped length in the next step puts this right."
    return "A known weight in the next steps puts this right."


def _scale(row: dict[str, Any]) -> float:
    scale = row.get("scale", 1.0)
    return float(scale) if isinstance(scale, int | float) else 1.0


def _other_units(unit: str, change: float, size: float, length: bool) -> tuple[str, ...]:
    """The units in which a change is the known size, N or m, where the channel's own is none of them.

    change: as the device shows it.
    """
    fitting = fitting_units(change, size, length) if change and unit != COUNT else ()
    return () if any(same_unit(one, unit) for one in fitting) else fitting


# -- by points of a calibration --------------------------------------------------------------------
def points_say(
    sensors: SensorsDesk, state: SensorsState, name: str
) -> tuple[list[str], list[Offer]]:
    """What the points of a channel say, and the buttons that use it."""
    points = state.points.get(name, ())
    if not points:
        return [], []
    if len(points) >= LEAST_FITTED:
        return _line_says(sensors, state, name)
    row = sensors.row(state, name)
    scale = single_scale(row, points)
    if scale is None:
        return ["Now a known weight: nothing alone says nothing of its size."], []
    change, size = net_reading(row, points)
    notes, offers = _unit_says(sensors, state, name, change, size, points[-1].text)
    if offers:
        return notes, offers  # a scale would hide the wrong unit
    notes += _sign_says(row, scale < 0.0)
    notes.append(
        "One known weight can't show whether the device is straight between nothing and it, nor how much it "
        "scatters from one time to the next: no uncertainty follows from it."
    )
    return notes, [Offer(f"Use the scale {scale:.4g}", act("use scale", name))]


def _line_says(
    sensors: SensorsDesk, state: SensorsState, name: str
) -> tuple[list[str], list[Offer]]:
    """What the straight line through the points says."""
    row, points = sensors.row(state, name), state.points[name]
    quantity = str(row.get("quantity"))
    try:
        curve = fitted(state, name, quantity)
    except UserFault as fault:
        return [f"No line through these points: {fault.fault}; {fault.cure}."], []
    show = sensors.desk.units.length if quantity == "length" else sensors.desk.units.force
    farthest = max(points, key=lambda one: abs(one.applied))
    most = abs(farthest.applied)
    u = curve.u_applied(most)
    slope = curve.coefficients[1]
    off = max(abs(one.reading - curve.reading(one.applied)) / abs(slope) for one in points)
    notes = [
        f"A straight line through {len(points)} points: the farthest point is {show(off)} beside it; one reading "
        f"at {show(most)} then has a standard uncertainty of {show(u)}. The known weights count as exact."
    ]
    said, offers = _unit_says(sensors, state, name, slope * most, most, farthest.text)
    notes += [*said, *(["The calibration puts the size right in either unit."] if said else [])]
    notes += _sign_says(row, slope < 0.0)
    return notes, [Offer("Use this calibration", act("use curve", name)), *offers]


def _unit_says(
    sensors: SensorsDesk, state: SensorsState, name: str, change: float, size: float, text: str
) -> tuple[list[str], list[Offer]]:
    """Which other unit the known size, N or m, fits, and the buttons that take it.

    change: as the device shows it; text: the size as it was typed.
    """
    row = sensors.row(state, name)
    unit, length = str(row.get("unit")), row.get("quantity") == "length"
    other = _other_units(unit, change, size, length)
    if not other:
        return [], []
    said = f"It looks like {' or '.join(other)}, not {unit}: {abs(change):.4g} is shown for {text}."
    written = shown_unit(sensors, state, OpenStep(channel=name))
    if written is not None:
        return [f"{said} But the device writes {written} behind it: look at its display."], []
    return [said], [Offer(f"Make it {one}", act("take unit", name, one)) for one in other]


def _sign_says(row: dict[str, Any], falls: bool) -> list[str]:
    """What the known weight or length says of the way in which the channel counts; falls: whether it counts down."""
    length = row.get("quantity") == "length"
    what, under = ("counter", "over the length") if length else ("cell", "under the weight")
    turned = _scale(row) < 0.0
    if falls:
        return [
            f"Its number falls {under}: the {what} is reversed. This turns it round, so that it counts as positive."
        ]
    if turned:
        return [
            f"Its number rises {under}, and it was turned round at the pull: this takes that back. Pull again to "
            "see which is right."
        ]
    return []
