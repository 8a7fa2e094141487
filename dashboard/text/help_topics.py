"""Lists the topics of `haul help TOPIC`; the text of each stands in the folder `help` beside this module."""

from __future__ import annotations

from pathlib import Path

from dashboard.text.key_help import key_help
from logger.file_keys import FileKeys

FILES = ("rig", "sensors")  # kinds of file that `haul help` and `haul schema` show by their keys
FOLDER = Path(__file__).parent / "help"
# topic -> what it is about; its text stands in help/TOPIC.txt
TOPICS: dict[str, str] = {
    "rig": "every key of a rig file, with its unit, default and meaning",
    "sensors": "every key of a sensors file and of its calibration files, with unit, default and meaning",
    "session": "the files of a session folder, and what each holds",
    "predict": "every key of `haul predict --json`",
    "review": "every key of `haul review --json`",
    "device": "what a board of your own should print, with an example",
}


def topic_text(topic: str) -> str:
    """The text of a topic of TOPICS, without its last line end."""
    if topic == "sensors":
        from logger.calibration.calibration_keys import CALIBRATION

        return "\n".join(map(key_help, (file_keys(topic), CALIBRATION))).rstrip("\n")
    if topic in FILES:
        return key_help(file_keys(topic)).rstrip("\n")
    return (FOLDER / f"{topic}.txt").read_text("utf-8").rstrip("\n")


def file_keys(kind: str) -> FileKeys:
    """The declared keys of one kind of FILES."""
    if kind == "rig":
        from analysis.rig_file.rig_keys import RIG

        return RIG
    from logger.channels.channel_keys import SENSORS

    return SENSORS
