"""Makes the question that is open as plain values: its title, what an answer costs, buttons and fields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.rig.rig import Rig
from dashboard.rig_drawing.drawing import drawing
from dashboard.sensors_page.acts import act
from dashboard.sensors_page.channel_acts import ZERO_S, mean_text, usual_unit
from dashboard.sensors_page.known_size import points_say
from dashboard.sensors_page.number_acts import series_at, shown_unit
from dashboard.sensors_page.sensors_desk import SensorsDesk, said_of
from dashboard.sensors_page.sensors_store import SensorsState
from dashboard.sensors_page.spots import spots, strand_labels
from dashboard.sensors_page.typed import shown_port
from dashboard.text.alarm_levels import level_text
from dashboard.text.units import Units
from logger.channels.port_schemes import scheme_of
from logger.device_units import COUNT, units_for
from logger.errors import CallFault

LEAST_WIDTH, MOST_WIDTH = 320, 1100  # of the drawing, px


@dataclass(frozen=True)
class AskedChoice:
    """A button of a question."""

    label: str  # what stands on it
    act: str  # what it does, see `acts`
    strong: bool = False  # whether it is the usual answer


@dataclass(frozen=True)
class AskedField:
    """A field of a question."""

    label: str  # what is typed there
    name: str  # under which its text reaches `acts`
    value: str  # what stands in it
    hint: str  # an example
    act: str  # what Enter does


@dataclass(frozen=True)
class OpenQuestion:
    """The question that is open."""

    title: str  # the question
    about: str  # the number or the channel that it is about
    notes: tuple[str, ...] = ()  # what to do, and what "not known" costs
    fields: tuple[AskedField, ...] = ()  # in their order
    choices: tuple[AskedChoice, ...] = ()  # the answers
    svg: str = ""  # the rig's drawing, whose strands and parts can be touched; "" for none
    further: tuple[AskedChoice, ...] = ()  # a long list of answers, for the keyboard
    rows: tuple[tuple[str, AskedChoice], ...] = ()  # texts with a button each
    live: bool = False  # whether what the device shows now stands below


def asked(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion | None:
    """The question that is open; None where there is none.  width: of a drawing, px."""
    step = state.step
    if step.kind not in _QUESTIONS:
        return None
    try:
        if step.channel:
            sensors.row(state, step.channel)
        return _QUESTIONS[step.kind](sensors, state, width)
    except CallFault as fault:
        return OpenQuestion(
            title="This can't be asked now",
            about=step.channel or step.place,
            notes=(said_of(fault),),
        )


def _about(sensors: SensorsDesk, state: SensorsState) -> str:
    step = state.step
    if step.channel:
        return step.channel
    try:
        last = series_at(sensors, step.port, step.place).last
    except CallFault:
        last = "not heard now"
    return f"{last}: {step.place} of {shown_port(step.port)}"


def _what(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    shown = shown_unit(sensors, state, state.step)
    length = shown in units_for("length") and shown != COUNT
    certain = shown is not None and shown != COUNT
    return OpenQuestion(
        title="What does this number tell?",
        about=_about(sensors, state),
        notes=(f"The device writes {shown} behind it.",) if certain else (),
        choices=(
            AskedChoice("A force, from a load cell", act("what", "force"), certain and not length),
            AskedChoice("A length, from a rope counter", act("what", "length"), certain and length),
        ),
    )


def _unit(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    step = state.step
    shown = shown_unit(sensors, state, step)
    units = units_for(step.quantity)
    about = _about(sensors, state)
    if shown in units:
        return OpenQuestion(
            title="Which unit does it have?", about=about,
            notes=(f"The device writes {shown} behind the number, and lines with another unit are left out.",),
            choices=(AskedChoice(f"{shown}, as the device says", act("unit", shown), True),),
        )  # fmt: skip
    notes = [
        "The device shows none. Choose what its display or its manual says. Not known? Choose the likeliest: "
        "in the next step a weight or a length that you know shows which it is."
    ]
    if shown is not None:
        notes = [f"The device writes {shown} behind it, which is no unit of a {step.quantity}."]
    choices = tuple(
        AskedChoice("count (a bare number)" if unit == COUNT else unit, act("unit", unit))
        for unit in units
    )
    return OpenQuestion(
        title="Which unit does it have?", about=about, notes=tuple(notes), choices=choices
    )


def _count(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    length = state.step.quantity == "length"
    return OpenQuestion(
        title="How much is one count?", about=_about(sensors, state),
        notes=("Not known: a known weight or a taped length finds it, and until then it can't be recorded.",),
        fields=(AskedField(label="One count", name="count", value="", hint="0.5 mm" if length else "0.5 N", act=act("count")),),
        choices=(AskedChoice("That is it", act("count"), True), AskedChoice("Not known", act("count later"))),
    )  # fmt: skip


def _where(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    step, rig = state.step, sensors.rig()
    row: dict[str, Any] = sensors.row(state, step.channel) if step.channel else {}
    quantity = str(row.get("quantity", step.quantity))
    if quantity not in ("force", "length"):
        raise CallFault("where", "needs to know first what it measures", "say that first")
    force = quantity == "force"
    there = spots(rig, quantity)
    choices = tuple(
        AskedChoice(_capital(one.text), act("where", one.at), one.at == row.get("at", "haul"))
        for one in there if one.usual
    )  # fmt: skip
    further = tuple(
        AskedChoice(_capital(one.text), act("where", one.at)) for one in there if not one.usual
    )
    note = (
        "Touch the strand or the part that the load cell is in." if force
        else "Touch the strand that the team pulls, the load, or the pulley that the counter runs on."
    )  # fmt: skip
    if rig is None:
        note = "There is no rig in this folder yet, so these two places are offered; with a rig you touch its drawing."
    return OpenQuestion(
        title="Where does it sit?", about=_about(sensors, state), notes=(note,), choices=choices, further=further,
        svg="" if rig is None else _drawn(rig, width),
    )  # fmt: skip


def _drawn(rig: Rig, width: int) -> str:
    try:
        return drawing(
            rig,
            rig.start_m,
            None,
            strand_labels(rig),
            width=min(MOST_WIDTH, max(LEAST_WIDTH, width)),
        )
    except Exception:  # a rig that can't be drawn can still be listed
        return ""


def _pull(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    step = state.step
    length = sensors.row(state, step.channel).get("quantity") == "length"
    what = "Pull some rope through by hand" if length else "Pull on it once by hand, and let go"
    example = "A length that you pull, in all" if length else "A weight that hangs on it now"
    return OpenQuestion(
        title="Pull once", about=step.channel,
        notes=(f"{what}: the number that moves is marked, and a pull shall count as positive.",),
        fields=(AskedField(label=f"{example} (if you know one)", name="weighed", value=step.size_text,
                    hint="2 m" if length else "20 kg", act=act("weighed", step.channel)),),
        choices=(
            AskedChoice("Next", act("next"), True),
            AskedChoice("Compare", act("weighed", step.channel)),
            AskedChoice("Pull again", act("pull again")),
        ),
        live=True,
    )  # fmt: skip


def _zero(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    name = state.step.channel
    zero = sensors.row(state, name).get("zero")
    kept = (
        "No zero is set."
        if zero is None
        else f"Its zero is {zero:g}."
        if isinstance(zero, float | int)
        else ""
    )
    return OpenQuestion(
        title="Zero: is nothing on it?", about=name,
        notes=(f"Take the strand's load off. The zero is the mean of the last {ZERO_S:g} s. {kept}",
         "Without a zero, what the cell shows at rest counts as force."),
        choices=(AskedChoice("Take the zero", act("zero", name), True), AskedChoice("Next", act("next"))),
        live=True,
    )  # fmt: skip


def _weight(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    name = state.step.channel
    row = sensors.row(state, name)
    length = row.get("quantity") == "length"
    points = state.points.get(name, ())
    example = "2 m" if length else "20 kg"
    what = "length of rope that you taped" if length else "weight"
    rows = tuple(
        (f"{point.text}: shows {mean_text(point.reading, point.sd, point.n)} (mean of {point.n}, scatter {point.sd:.2g})",
         AskedChoice("Take out", act("drop point", name, k)))
        for k, point in enumerate(points)
    )  # fmt: skip
    choices = [
        AskedChoice("Take the reading", act("point", name)),
        AskedChoice("At the start mark" if length else "Nothing is on it", act("nothing", name)),
    ]
    notes = [f"Put a known {what} on it, type it, and take the reading. Three or more, with none among them, "
             "make a calibration; one makes a scale. Not known: go on, and the device's own figures hold."]  # fmt: skip
    said, offers = points_say(sensors, state, name)
    notes += said
    choices = [*(AskedChoice(one.label, one.act, True) for one in offers), *choices]
    choices.append(AskedChoice("Next", act("next"), not points))
    if "calibration" in row:
        choices.append(AskedChoice("Without calibration", act("no calibration", name)))
    good = row.get("u_percent")
    fields = (
        AskedField(
            label="Known length" if length else "Known weight",
            name="point",
            value="",
            hint=example,
            act=act("point", name),
        ),
    )
    notes.append(
        f"Its standard uncertainty: {good:g} % of the reading." if isinstance(good, float | int)
        else "Its accuracy is not stated: say how good it is under Change, or the review gives no interval."
        if "calibration" not in row else f"Calibrated by {row['calibration']}."
    )  # fmt: skip
    return OpenQuestion(
        title="A taped length" if length else "A known weight", about=name, notes=tuple(notes), fields=fields, choices=tuple(choices),
        rows=rows, live=True,
    )  # fmt: skip


def _levels(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    name = state.step.channel
    row = sensors.row(state, name)
    quantity = str(row.get("quantity"))
    units = sensors.desk.units
    usual = usual_unit(quantity == "length", units)
    show = _shown(units, quantity)
    notes = [
        "A caution and a stop sound on every page. Not known: leave them empty; limits of rated parts in the rig "
        "give alarms of their own."
    ]
    try:
        channel = sensors.channel(state, name)
        for word, level in (("Caution", channel.warn_at), ("Stop", channel.stop_at)):
            if level is not None:
                notes.append(f"{word} at {level_text(channel, level, units)}.")
    except CallFault:
        pass
    texts = {
        "warn_at": ("Caution from", "2000"), "stop_at": ("Stop from", "3000"),
        "capacity": ("Most that it can measure (not known: a reading at its end looks like any other)", "5000"),
    }  # fmt: skip
    fields = tuple(
        AskedField(
            label=label,
            name=key,
            value=_level_value(row.get(key), show),
            hint=f"{example} {usual}",
            act=act("levels", name),
        )
        for key, (label, example) in texts.items()
    )
    return OpenQuestion(
        title="Alarm levels", about=name, notes=tuple(notes), fields=fields,
        choices=(AskedChoice("Done", act("levels", name), True), AskedChoice("Without levels", act("close", "levels"))),
        live=True,
    )  # fmt: skip


def _level_value(value: Any, show: Any) -> str:
    return (
        show(float(value)) if isinstance(value, int | float) and not isinstance(value, bool) else ""
    )


def _shown(units: Units, quantity: str) -> Any:
    return units.length if quantity == "length" else units.force


def _good(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    name = state.step.channel
    good = sensors.row(state, name).get("u_percent")
    return OpenQuestion(
        title="How good is it?", about=name,
        notes=("Its standard uncertainty, in % of the reading: half of what its data sheet promises, if that is a bound of "
         "95 %. Not known: leave it empty; the review then gives no interval that rests on it.",),
        fields=(AskedField(label="Standard uncertainty, %", name="good", value=f"{good:g}" if isinstance(good, int | float) else "", hint="0.5",
                    act=act("good", name)),),
        choices=(AskedChoice("That is it", act("good", name), True),),
    )  # fmt: skip


def _change(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    name = state.step.channel
    row = sensors.row(state, name)
    choices = [
        AskedChoice("Pull once", act("ask", name, "pull"), True),
        AskedChoice("Zero", act("ask", name, "zero")),
        AskedChoice(
            "Taped length" if row.get("quantity") == "length" else "Known weight",
            act("ask", name, "weight"),
        ),
        AskedChoice("Alarm levels", act("ask", name, "levels")),
        AskedChoice("How good it is", act("ask", name, "good")),
        AskedChoice("Where it sits", act("ask", name, "where")),
        AskedChoice("Its unit", act("ask", name, "unit")),
        AskedChoice("Force or length", act("ask", name, "what")),
        AskedChoice("Take it out", act("take out", name)),
    ]
    return OpenQuestion(
        title="Change this channel", about=name, notes=(),
        fields=(AskedField(label="Its name", name="name", value=name, hint="haul_force", act=act("rename", name)),), choices=tuple(choices), live=True,
    )  # fmt: skip


def _settings(sensors: SensorsDesk, state: SensorsState, width: int) -> OpenQuestion:
    port = state.step.port
    scheme = scheme_of(port)
    serial = scheme is not None and scheme.needs_baud
    fields = [
        AskedField(label="A question that it must be asked (empty: nothing is ever sent)", name="ask", value="", hint=r"READ?\r\n",
                   act=act("listen as", port)),
    ]  # fmt: skip
    if serial:
        fields = [
            AskedField(
                label="Rate, bits a second (empty: it is found)",
                name="baud",
                value="",
                hint="9600",
                act=act("listen as", port),
            ),
            AskedField(
                label="Framing (empty: it is found)",
                name="framing",
                value="",
                hint="8N1",
                act=act("listen as", port),
            ),
            *fields,
        ]
    return OpenQuestion(
        title="How to listen", about=shown_port(port), notes=(), fields=tuple(fields),
        choices=(AskedChoice("Listen like that", act("listen as", port), True),),
    )  # fmt: skip


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


_QUESTIONS = {
    "what": _what, "unit": _unit, "count": _count, "where": _where, "pull": _pull, "zero": _zero,
    "weight": _weight, "levels": _levels, "good": _good, "change": _change, "settings": _settings,
}  # fmt: skip
