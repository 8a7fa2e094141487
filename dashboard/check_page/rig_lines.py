"""Writes the lines of the check that follow from the rig: limits, resets, rope, alarm levels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.mechanics.model import model
from analysis.messages.message import Message
from analysis.prediction.alarm_rows import late_cautions, limit_rows, part_texts
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from dashboard.check_page.check_line import CheckLine, CheckState
from dashboard.text.alarm_levels import row_text
from dashboard.text.cautions import CAUTIONS
from dashboard.text.units import Units
from logger.channels.channel import Sensors
from logger.recorder.alarms import AlarmRow, alarm_rows

NO_CAPTURE = "no_capture"  # code of the warning that a load may run back during a reset


def rig_lines(rig: Rig, units: Units) -> tuple[CheckLine, ...]:
    """Limits, resets and rope of a checked rig, as `prediction` says them."""
    predicted, warnings = prediction(rig)
    return (
        _limits(predicted, warnings, units),
        _resets(rig, predicted, warnings, units),
        *(_rope(row, units) for row in predicted["rope"]),
    )


def _limits(predicted: dict[str, Any], warnings: Sequence[Message], units: Units) -> CheckLine:
    """Whether the predicted haul stays within every limit, and what else forbids a pull."""
    title = "Limits of the rig"
    grave = [one for one in warnings if one.level == "stop" and one.code != NO_CAPTURE]
    stop = predicted["stop_hauling_at"]
    level = "" if stop["haul_force_N"] is None else units.force(stop["haul_force_N"])
    if grave:
        return CheckLine(
            key="limits",
            title=title,
            state=CheckState.MISSING,
            text="the rig should not be pulled as it is",
            cure="change the rig on its page, or take stronger parts",
            cause="; ".join(one.code for one in grave),
            details=tuple(one.text(units) for one in grave),
        )
    if not level:
        return CheckLine(
            key="limits",
            title=title,
            state=CheckState.MISSING,
            text=f"no stop level: {stop['because']}",
            cure="write what is stamped on the parts into the rig",
            cause="nothing is rated",
        )
    rated = f"{stop['rated']} of {stop['of']} parts are rated"
    return CheckLine(
        key="limits",
        title=title,
        state=CheckState.GOOD,
        text=f"stop hauling at {level}, set by {stop['because']}; {rated}",
    )


def _resets(
    rig: Rig, predicted: dict[str, Any], warnings: Sequence[Message], units: Units
) -> CheckLine:
    """Whether a capture holds the load while each grab is slid back."""
    title = "Resets held by a capture"
    grave = [one for one in warnings if one.code == NO_CAPTURE]
    if grave:
        return CheckLine(
            key="resets",
            title=title,
            state=CheckState.MISSING,
            text=grave[0].text(units),
            cure="put a progress capture on the rig, or have the load chocked at each reset",
            cause="no capture holds the load during a reset",
        )
    covered = {name for held in predicted["hold"] for name in held["covers_resets"]}
    bare = [name for name in rig.grabs if name not in covered]
    if not rig.grabs:
        return CheckLine("resets", title, CheckState.GOOD, "no grab has to be slid back")
    if bare:
        return CheckLine(
            key="resets",
            title=title,
            state=CheckState.GOOD,
            text=f"no capture holds during the reset of {', '.join(bare)}, but the load stays by itself",
        )
    return CheckLine(
        "resets", title, CheckState.GOOD, f"held during the reset of {', '.join(rig.grabs)}"
    )


def _rope(row: dict[str, Any], units: Units) -> CheckLine:
    """Whether a rope is long enough for the job."""
    title = f"Rope {row['name']}"
    needed = units.length(row["needed_m"])
    if row["enough"] is None:
        return CheckLine(
            key=f"rope {row['name']}",
            title=title,
            state=CheckState.MISSING,
            text=f"the job needs {needed}; how long the rope is, is not known",
            cure="write its length into the rig",
            cause="the rope's length is not known",
        )
    has = units.length(row["length_m"])
    if not row["enough"]:
        return CheckLine(
            key=f"rope {row['name']}",
            title=title,
            state=CheckState.MISSING,
            text=f"the job needs {needed}, the rope has {has}",
            cure="take a longer rope, or a shorter way",
            cause="the rope is too short for the job",
        )
    return CheckLine(
        f"rope {row['name']}", title, CheckState.GOOD, f"the job needs {needed}, the rope has {has}"
    )


def alarm_table(rig: Rig, sensors: Sensors) -> tuple[AlarmRow, ...]:
    """The alarm table that the recorder will judge by: of the sensors file, then of the rig."""
    return (*alarm_rows(sensors), *limit_rows(rig, sensors))


def levels_line(rig: Rig, sensors: Sensors, units: Units) -> CheckLine:
    """The alarm levels, as the displays of the devices show them, for a person to see."""
    rows = alarm_table(rig, sensors)
    labels = part_texts(model(rig))
    late = late_cautions(sensors, rows, labels)
    if not any(row.stop is not None or row.caution is not None for row in rows):
        return CheckLine(
            key="levels",
            title="Alarm levels",
            state=CheckState.MISSING,
            text="no level is set: nothing will sound, whatever the force",
            cure="set levels on the Sensors page, or write what is stamped on the parts into the rig",
            cause="no alarm level is set",
        )
    return CheckLine(
        key="levels",
        title="Alarm levels",
        state=CheckState.CONFIRM,
        text="look at each level as the device's display will show it",
        details=(
            *(row_text(row, sensors, labels, units) for row in rows),
            *(one.text(units) for one in late),
        ),
    )


def people_line() -> CheckLine:
    """Where people stand, with the standing cautions."""
    return CheckLine(
        key="people",
        title="Where people stand",
        state=CheckState.CONFIRM,
        text="nobody stands in the line of pull, inside a bend of the rope, or below the load",
        details=CAUTIONS,
    )


def rig_fault_line(text: str) -> CheckLine:
    """A line for files that a recording cannot use, which nobody can overrule."""
    return CheckLine(
        key="files",
        title="Rig and sensors file",
        state=CheckState.BLOCKED,
        text=text,
        cure="choose other files, or mend these on their pages",
    )


def no_files_line(what: str) -> CheckLine:
    """A line where nothing is chosen yet; what: "rig" or "sensors file"."""
    return CheckLine(
        key="files",
        title="Rig and sensors file",
        state=CheckState.BLOCKED,
        text=f"no {what} is chosen",
        cure=f"choose a {what} above, or make one on its page",
    )
