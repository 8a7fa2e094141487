"""The record formats stand in DEVELOPERS.md, under the section numbers that code and tests refer to."""

import argparse
import csv
import json
import re

import pytest
from support.channels import channel

from analysis.rig_file.load import parse_rig
from analysis.rig_file.parser import OTHER_TABLES
from analysis.rig_file.rig_keys import RIG as RIG_KEYS
from dashboard.cli import COMMANDS, build, main
from logger.calibration.calibration_keys import CALIBRATION
from logger.channels.sensors_file import parse_sensors
from logger.errors import RigFault, SensorsFault
from logger.recorder.request_inbox import VERBS
from logger.session.descriptor import headers

TEXTS = (".py", ".toml", ".js", ".css", ".html")
NUMBERS = re.compile(
    r"(?<![a-z])sections?[ _](\d+(?:(?:, | and | to )\d+)*)(?!\d|\.\d)", re.IGNORECASE
)
HEADING = re.compile(r"^## Interface section (\d+): .*\n", re.MULTILINE)
LISTED = re.compile(r"known here: ([^…]*)$")
BY_NAME = (
    "readings",
    "dropped",
    "resets",
    "values",
)  # members whose keys are names, each time others


def sections(text):
    """Number -> text below its heading, up to the next chapter."""
    return {
        int(match[1]): text[match.end() :].split("\n## ", 1)[0] for match in HEADING.finditer(text)
    }


def mentions(text):
    """Every section number that a text refers to; a reference may run over the end of a line."""
    joined = re.sub(r"\s*\n\s*(?:# ?)?", " ", text)
    return {int(n) for match in NUMBERS.finditer(joined) for n in re.findall(r"\d+", match[1])}


def coded(text):
    """What stands in backticks, and each word of it."""
    spans = re.findall(r"`([^`]+)`", text)
    return set(spans) | {word for span in spans for word in re.findall(r"[\w.$-]+", span)}


def keys_in_tables(text):
    """The keys in the first column of a section's tables."""
    rows = re.findall(r"^\| (`[^|]+) \|", text, re.MULTILINE)
    return {key for row in rows for key in re.findall(r"`([^`]+)`", row)}


@pytest.fixture(scope="module")
def written(root):
    """The sections of the interface by number."""
    return sections((root / "DEVELOPERS.md").read_text("utf-8"))


def test_every_section_that_is_referred_to_has_its_heading(root, written):
    missing = {}
    for room in ("logger", "analysis", "dashboard", "tests"):
        for path in sorted((root / room).rglob("*")):
            if path.suffix in TEXTS and "axe-core" not in path.name and path.is_file():
                lost = mentions(path.read_text("utf-8")) - set(written)
                if lost:
                    missing[str(path.relative_to(root))] = sorted(lost)
    assert not missing
    assert sorted(written) == [1, 2, 3, 4, 5, 6, 7]


def test_no_reference_leads_to_a_document_that_is_not_here(root):
    """The interface is a chapter of DEVELOPERS.md and no file of its own."""
    name = "interfaces" + ".md"
    named = [
        str(path.relative_to(root))
        for room in ("logger", "analysis", "dashboard", "tests")
        for path in sorted((root / room).rglob("*"))
        if path.suffix in TEXTS and path.is_file() and name in path.read_text("utf-8")
    ]
    assert named == []


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ('"""Interface section 4, Ports."""', {4}),
        ("# (interface\n# section 3.)", {3}),
        ("sections 1, 2 and 5", {1, 2, 5}),
        ("test_the_rig_of_section_1_predicts_section_5", {1, 5}),
        ('<section class="tile">2', set()),
    ],
)
def test_the_search_sees_a_reference(text, numbers):
    assert mentions(text) == numbers


# rig and sensors files: a key that nobody can mean makes the reader list the keys that it takes

STRANGE = "qqqqqqqq = 1"
RIG = """anchor_to_load_m = 12.0
{top}
{tables}
[[rope]]
name = "main"
{rope}
path = [
  {{ tie = "load"{tie} }}, {{ grab = "G1", at_m = 9.0{grab} }}, {{ capture = "C1", on = "anchor"{capture} }},
  {{ pulley = "A1", on = "anchor"{pulley} }}, {{ pulley = "T1", on = "G1" }},
  {{ edge = "E1", at_m = 1.0, wrap_deg = 9, friction = 0.1{edge} }},
  {{ edge = "E2", on = "anchor", wrap_deg = 9, friction = 0.1{post} }},
  {{ haul = "team"{haul} }}{free}
]
"""
BLANK = dict.fromkeys(re.findall(r"\{(\w+)\}", RIG), "")
STATIONS = ("tie", "grab", "capture", "pulley", "edge", "post", "haul")
TABLES = {
    "defaults": "", "load": "", "team": "", "limits": "", "anchor": "",
    "pulley.A1": "", "grab.G1": "", "capture.C1": "", "edge.E1": "",
    "further_anchor.P1": "at_m = -1.0", "plate.B1": "at_m = 5.0", "gear.K1": 'carries = ["A1"]',
}  # fmt: skip


def keys_of_fault(fault):
    listed = LISTED.search(fault.cure)
    assert listed, f"no list of keys: {fault}"
    return set(listed[1].split(", "))


def rig_keys():
    """Every key that the reader of rig files takes, from its own lists."""
    texts = [RIG.format(**BLANK | {"top": STRANGE}), RIG.format(**BLANK | {"rope": STRANGE})]
    texts += [RIG.format(**BLANK | {name: f", {STRANGE}"}) for name in STATIONS]
    texts += [RIG.format(**BLANK | {"free": f", {{ free = true, {STRANGE} }}"})]
    texts += [
        RIG.format(**BLANK | {"tables": f"[{name}]\n{more}\n{STRANGE}\n"})
        for name, more in TABLES.items()
    ]
    keys = set()
    for text in texts:
        with pytest.raises(RigFault) as caught:
            parse_rig(text, "rig.toml")
        keys |= keys_of_fault(caught.value)
    return keys


def sensors_keys():
    """Every key that the reader of sensors files takes, from its own lists."""
    unformatted = channel("f", "force", unit="N")
    keys = set()
    for own in (
        'format = "xdr"\nid = "A"',
        'format = "json"\nid = "a"',
        'format = "columns"\ncolumn = 1',
        'format = "text"',
    ):
        with pytest.raises(SensorsFault) as caught:
            parse_sensors(f"{unformatted}{own}\n{STRANGE}\n", "sensors.toml")
        keys |= keys_of_fault(caught.value)
    return keys


def test_the_keys_of_a_sensors_file_are_those_of_its_section(written):
    taken = sensors_keys()
    some = {"baud", "delay_u_s", "decimal", "checksum", "calibration"}
    assert some <= taken  # the search itself works
    calibrations = {key.name for table in CALIBRATION.tables for key in table.keys}
    assert keys_in_tables(written[2]) == taken | calibrations


def test_the_keys_of_a_rig_file_are_those_of_its_section(written):
    taken = rig_keys()
    some = {"anchor_to_load_m", "mass_kg_u", "slips_at_kN", "wrap_deg", "toward_deg", "strength"}
    assert some <= taken  # the search itself works
    declared = {key.name for table in RIG_KEYS.tables for key in table.keys}
    assert taken == declared | set(OTHER_TABLES)
    spellings = {one.name for t in RIG_KEYS.tables for key in t.keys for one in key.spellings}
    assert keys_in_tables(written[1]) == spellings


# JSON: from real runs


def members(value):
    """Every key of an object and of what lies in it, but names that a user gave."""
    keys = set()
    if isinstance(value, dict):
        for key, inner in value.items():
            keys |= {key} | (set() if key in BY_NAME else members(inner))
    elif isinstance(value, list):
        keys = {key for row in value for key in members(row)}
    return keys


def test_the_keys_of_predict_are_those_of_its_section(written, root, interface, capsys):
    keys = set()
    for rig in (interface / "rig.toml", root / "analysis" / "rigs" / "3-on-3.toml"):
        assert main(["predict", str(rig), "--json"]) == 0
        keys |= members(json.loads(capsys.readouterr().out))
    assert "load_travel_m" in keys
    assert keys_in_tables(written[5]) == keys


def test_the_keys_of_review_are_those_of_its_section(written, root, capsys):
    keys = set()
    for session in ("slipway-launch-1", "stone-sill"):
        assert main(["review", str(root / "sample_logs" / session), "--json"]) == 0
        keys |= members(json.loads(capsys.readouterr().out))
    assert "U95" in keys
    assert keys_in_tables(written[6]) == keys


def test_the_keys_of_listen_and_convert_are_those_of_their_section(written, root, capsys):
    rigs = [str(root / "analysis" / "rigs" / f"{name}.toml") for name in ("3-on-4", "3-on-3-on-2")]
    assert main(["convert", *rigs, "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    listened = json.loads(
        (root / "tests" / "project" / "interface" / "listen.json").read_text("utf-8")
    )
    keys = {*made, *made["moves"][0], *listened, *listened["channels"][0]}
    assert keys_in_tables(written[7]) == keys


# the command and the session folder


@pytest.mark.parametrize("name", COMMANDS)
def test_every_call_and_option_stands_in_section_3(written, name):
    row, *more = [row for row in written[3].splitlines() if re.match(rf"\| `haul {name}[ `]", row)]
    assert not more
    parser, _ = build(name)
    shown = [a for a in parser._actions if a.help != argparse.SUPPRESS and a.dest != "help"]
    options = {option for action in shown for option in action.option_strings}
    assert set(re.findall(r"--[A-Za-z-]+", row.split("|")[1])) == options


def test_the_files_and_columns_of_a_session_stand_in_section_4(written, root):
    session = root / "sample_logs" / "slipway-launch-1"
    there = coded(written[4])
    descriptor = json.loads((session / "datapackage.json").read_text("utf-8"))
    assert {path.name for path in session.iterdir()} - there == set()
    assert set(descriptor) - there == set()
    assert {key for row in descriptor["channels"] for key in row} - there == set()
    columns = {column for table in headers([]).values() for column in table}
    assert columns - there == set()
    with (session / "events.csv").open(encoding="utf-8", newline="") as file:
        kinds = {row["kind"] for row in csv.DictReader(file)}
    assert (kinds | set(VERBS)) - there == set()
