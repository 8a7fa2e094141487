"""What to do next, as one sentence and one way on."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from dashboard.desk.chosen import NextHaul
from dashboard.desk.folder import DeskFiles
from dashboard.desk.strip import missing_channel, session_address
from dashboard.desk.virtual import SENSORS_NAME

VIRTUAL = "virtual"  # the act that starts the virtual devices


@dataclass(frozen=True)
class WayOn:
    """One button: an address to go to, or something that is done."""

    label: str  # on the button
    address: str = ""  # where it leads; "" where it does something
    act: str = ""  # what it does; "" where it leads somewhere


@dataclass(frozen=True)
class NextStep:
    """The next step of the job."""

    text: str  # one sentence
    ways: tuple[WayOn, ...]  # the first is the big one


def next_step(
    files: DeskFiles,
    now: NextHaul,
    session: str | None,
    last: str | None,
    virtual: str = "",
    just_over: bool = False,
) -> NextStep:
    """The next step for a folder.

    session: that is being recorded; last: the newest session; virtual: "stand" where this desk's virtual
    devices send, "missing" where a sensors file names some that do not, else ""; just_over: whether the newest session has just
    ended.
    """
    if session is not None:
        return NextStep(
            f"{session} is being recorded.", (WayOn("Look at the haul", session_address(session)),)
        )
    if not files.sensors and not files.rigs:
        return NextStep(
            "Plug a device in, or try it with virtual ones.",
            (
                WayOn("A device is plugged in", "/sensors/"),
                WayOn("Try it with virtual devices", act=VIRTUAL),
            ),
        )
    if now.sensors is None:
        return NextStep(
            "No sensors file yet: plug a device in and say what it measures.",
            (WayOn("Set the sensors up", "/sensors/"),),
        )
    if now.sensors.sensors is None:
        return NextStep(
            f"The sensors file {now.sensors.name} has a fault: {now.sensors.fault}.",
            (WayOn("Look at the sensors", "/sensors/"),),
        )
    if now.rig is None:
        return NextStep(
            "No rig yet: take one from the shelf, or begin with an empty rope.",
            (WayOn("Make a rig", "/rig/"),),
        )
    address = f"/rig/{quote(now.rig.name)}/"
    if now.rig.fault:
        return NextStep(
            f"The rig {now.rig.title} can't work yet: {now.rig.fault}.",
            (WayOn("Go on with the rig", address),),
        )
    if virtual == "missing" and now.sensors.name == SENSORS_NAME:
        return NextStep(
            "The virtual devices of this folder do not send: they ended with the desk that started them.",
            (
                WayOn("Start the virtual devices", act=VIRTUAL),
                WayOn("Set other sensors up", "/sensors/"),
            ),
        )
    check, result = (
        WayOn("Check before the pull", "/check/"),
        WayOn("Result of the last haul", "/result/"),
    )
    if just_over and last is not None:
        return NextStep(f"{last} is over: see what came of it.", (result, check))
    ways = [check] if last is None else [check, result]
    lacks = missing_channel(now.sensors.sensors)
    text = f"{now.rig.title} with {now.sensors.name} comes next"
    if now.rig.draft:
        text += "; the rig has changes that are not saved"
        ways.insert(1, WayOn("Look at the rig", address))
    if lacks:
        text += f"; {lacks}"
    once = " The virtual devices haul once, when a recording begins." if virtual == "stand" else ""
    return NextStep(f"{text}: check everything before the pull.{once}", tuple(ways))
