"""The command's promises: one line for what is wrong, the exit status, never a traceback."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard import cli
from dashboard.cli import COMMANDS, main
from dashboard.text.help_topics import TOPICS


def check_fault(said, *words):
    """Exit status 2, nothing on standard output, one line that names the fault and the cure."""
    assert (said.status, said.out) == (2, ""), said
    assert said.err.startswith("haul: ")
    assert said.err.count("\n") == 1 and said.err.endswith("\n"), said.err
    assert "Traceback" not in said.err
    for word in words:
        assert word in said.err


CALLS = [
    (["prdict"], ["no such command", "predict"]),
    (["--jsno"], ["no such option"]),
    ([""], ["no such command"]),
    (["predict"], ["RIG"]),
    (["predict", "RIG", "extra"], ["extra"]),
    (["predict", "RIG", "--step"], ["--steps"]),
    (["predict", "RIG", "--jsno"], ["--json"]),
    (["predict", "RIG", "--haul-force"], ["--haul-force"]),
    (["predict", "RIG", "--haul-force", "nan"], ["nan", "newtons"]),
    (["predict", "RIG", "--haul-force", "-5"], ["newtons"]),
    (["predict", "RIG", "--units", "imperial"], ["metric", "us"]),
    (["predict", "RIG", "--steps", "--job"], ["--job", "--steps"]),
    (["choose"], ["--load-N"]),
    (["choose", "--load-N", "900"], ["--distance-m"]),
    (["predict", "missing.toml"], ["missing.toml", "no such file"]),
    (["predict", "FOLDER"], ["folder"]),
    (["predict", "GARBAGE"], ["UTF-8"]),
    (["predict", "SENSORS"], ["SENSORS"]),
    (["plan"], ["RIG"]),
    (["plan", "missing.toml"], ["missing.toml", "no such file"]),
    (["plan", "RIG", "SENSORS"], ["SENSORS"]),
    (["plan", "RIG", "RIG", "RIG"], ["RIG"]),
    (["plan", "RIG", "--http", "x"], ["65535"]),
    (["plan", "RIG", "--units", "imperial"], ["metric", "us"]),
    (["record", "RIG", "SENSORS"], ["--out"]),
    (["record", "RIG", "SENSORS", "--out", "new"], ["port"]),
    (["record", "missing.toml", "PORTS", "--out", "new"], ["missing.toml"]),
    (["record", "RIG", "missing.toml", "--out", "new"], ["missing.toml"]),
    (["record", "RIG", "PORTS", "--out", "new", "--for", "soon"], ["soon", "seconds"]),
    (["record", "RIG", "PORTS", "--out", "new", "--for", "0"], ["seconds"]),
    (["record", "RIG", "PORTS", "--out", "new", "--for", "60"], ["/nonexistent/port"]),
    (["record", "RIG", "PORTS", "--out", "FOLDER"], ["empty"]),
    (["record", "RIG", "PORTS", "--out", "new", "--http", "0"], ["--watch"]),
    (["record", "RIG", "PORTS", "--out", "new", "--watch", "--http", "x"], ["65535"]),
    (["listen"], ["PORT"]),
    (["listen", "/nonexistent/port"], ["/nonexistent/port", "cannot be opened"]),
    (["listen", "x", "--framing", "9X7"], ["9X7", "7E1"]),
    (["help", "devise"], ["device"]),
    (["watch"], ["PATH"]),
    (["watch", "missing"], ["missing", "no such folder"]),
    (["watch", "FOLDER"], ["no session"]),
    (["watch", "SESSION", "--http", "66000"], ["66000", "65535"]),
    (["review"], ["SESSION"]),
    (["review", "missing"], ["missing"]),
    (["review", "FOLDER"], ["FOLDER"]),
    (["review", "RIG"], ["RIG"]),
    (["review", "SESSION", "--rig", "missing.toml"], ["missing.toml"]),
    (["review", "SESSION", "--html"], ["--html"]),
    (["review", "SESSION", "--csv", "missing/x.csv"], ["x.csv"]),
    (["review", "SESSION", "--csv", "SESSION/x.csv"], ["session"]),
    (["card"], ["RIG"]),
    (["card", "RIG"], ["--html"]),
    (["card", "missing.toml", "--html", "card.html"], ["missing.toml"]),
    (["convert"], ["RIG"]),
    (["convert", "RIG"], ["OTHER"]),
    (["convert", "RIG", "missing.toml"], ["missing.toml"]),
    (["convert", "RIG", "SENSORS"], ["SENSORS", "sensors file"]),
    (["import", "DATA"], ["--rig"]),
    (
        ["import", "missing.csv", "--rig", "RIG", "--sensors", "SENSORS", "--out", "new"],
        ["missing"],
    ),
    (["import", "RIG", "--rig", "RIG", "--sensors", "SENSORS", "--out", "new"], ["time_s"]),
    (["import", "DATA", "--rig", "RIG", "--sensors", "SENSORS", "--out", "FOLDER"], ["FOLDER"]),
    (
        ["import", "DATA", "--rig", "RIG", "--sensors", "TYPO", "--out", "new"],
        ["u_percnt", "u_percent"],
    ),
    (
        ["import", "DATA", "--rig", "RIG", "--sensors", "ELSEWHERE", "--out", "new"],
        ["hual", "haul"],
    ),
    (["calibrate", "missing.csv", "--out", "c.toml"], ["missing.csv"]),
    (["calibrate", "DATA", "--out", "c.toml"], ["applied"]),
    (["calibrate", "POINTS", "--out", "c.toml", "--degree", "4"], ["1", "3"]),
    (["calibrate", "POINTS", "--out", "missing/c.toml"], ["c.toml"]),
    (["calibrate", "POINTS"], ["--out"]),
    (["compare"], ["SESSION"]),
    (["compare", "SESSION", "missing"], ["missing"]),
    (["library"], ["FOLDER"]),
    (["gear"], ["FOLDER"]),
    (["replay"], ["SESSION"]),
    (["verify"], ["SESSION"]),
    (["verify", "missing"], ["missing"]),
    (["verify", "FOLDER"], ["FOLDER"]),
    (["verify", "FOLDER", "--repair"], ["FOLDER"]),
    (["simulate", "RIG", "PORTS"], ["--true"]),
    (["simulate", "RIG", "PORTS", "--true", "missing.toml"], ["missing.toml"]),
    (["simulate", "RIG", "SENSORS", "--true", "TRUE"], ["port"]),
    (["simulate", "RIG", "PORTS", "--true", "RIG"], ["title"]),
    (["ports", "all"], ["all"]),
    (["schema", "session"], ["session"]),
    (["schema"], ["KIND"]),
    (["shelf", "all"], ["all"]),
    (["demo", "--headless", "--out", "FOLDER"], ["empty"]),
    (["demo", "--headless", "--for", "-1"], ["seconds"]),
    (["demo", "--headless", "--seed", "x"], ["--seed"]),
    (["desk", "nowhere"], ["no such folder"]),
    (["desk", "RIG"], ["is a file"]),
    (["desk", "--http", "70000"], ["70000"]),
]


@pytest.fixture
def desk(tmp_path, rig, sensors, data, session, monkeypatch):
    """The words of a call in capitals as files: good ones, and some that are wrong."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "FOLDER"
    folder.mkdir()
    (folder / "letter.txt").write_text("not a session\n", "utf-8")
    text = sensors.read_text("utf-8")
    files = {
        "RIG": rig.read_text("utf-8"), "SENSORS": text, "DATA": data.read_text("utf-8"),
        "PORTS": text.replace('format = "json"',
                              'format = "json"\nport = "/nonexistent/port"\nbaud = 9600'),
        "TYPO": text.replace("u = 2.0", "u_percnt = 2.0"),
        "ELSEWHERE": text.replace('at = "haul"', 'at = "hual"'),
        "POINTS": "applied,reading\n0,0\n1,1\n2,2.1\n3,3\n", "TRUE": "seed = 1\n",
    }  # fmt: skip
    for name, content in files.items():
        (tmp_path / name).write_text(content, "utf-8")
    (tmp_path / "GARBAGE").write_bytes(bytes(range(256)))
    session.rename(tmp_path / "SESSION")
    return tmp_path


@pytest.mark.parametrize(("argv", "words"), CALLS, ids=lambda v: " ".join(v)[:60])
def test_what_is_wrong_is_one_line_that_says_what_to_write_instead(haul, desk, argv, words):
    check_fault(haul(*argv), *words)
    assert not (desk / "new").exists() or not any((desk / "new").iterdir())
    assert not (desk / "c.toml").exists()


def test_every_command_has_a_wrong_call_in_the_list_above():
    assert {argv[0] for argv, _ in CALLS} >= set(COMMANDS)


def test_without_a_command_the_commands_are_listed(haul):
    said = haul()
    assert said.status == 2
    assert haul("--help").status == 0
    assert haul("--help").out == said.out == haul("help").out
    assert all(re.search(rf"^  {name} ", said.out, re.M) for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command(haul, name):
    said = haul(name, "--help")
    assert (said.status, said.err) == (0, "")
    assert said.out.startswith(f"usage: haul {name}")
    # a topic of that name explains the JSON, and names the call that lists the options
    helped = haul("help", name).out
    assert helped == said.out or (name in TOPICS and f"`haul {name} --help`" in helped)


def test_version(haul):
    assert re.fullmatch(r"haul \d+\.\d+\.\d+\n", haul("--version").out)


def test_control_characters_of_a_file_name_do_not_reach_the_terminal(haul):
    said = haul("predict", "a\x1b[31mred\nline.toml")
    check_fault(said, "red line.toml")
    assert "\x1b" not in said.err


def test_our_own_fault_is_one_line_and_a_log_with_the_trace(haul, rig, monkeypatch):
    def broken(argv):
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr(cli, "_run", broken)
    said = haul("predict", rig)
    assert (said.status, said.out) == (3, "")
    assert said.err.count("\n") == 1 and "Traceback" not in said.err
    log = Path(re.search(r"the trace is in (\S+)$", said.err)[1])
    text = log.read_text("utf-8")
    log.unlink()
    assert "Traceback" in text and "made for this test" in text


def test_ctrl_c_is_quiet(haul, rig, monkeypatch):
    def interrupted(argv):
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "_run", interrupted)
    said = haul("predict", rig)
    assert (said.status, said.out, said.err) == (130, "", "")


def start(*argv, **more):
    root = str(Path(cli.__file__).resolve().parents[1])
    return subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *map(str, argv)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": root, **more},
    )  # fmt: skip


def test_a_reader_that_went_away_is_no_fault(rig):
    process = start("predict", rig, "--json")
    process.stdout.close()  # as `| head -0` does
    assert process.stderr.read() == b""
    assert process.wait() == 141
    process.stderr.close()


def test_a_terminal_without_the_signs_still_gets_an_answer(rig):
    out, err = start("predict", rig, PYTHONIOENCODING="ascii", PYTHONUTF8="0").communicate()
    assert err == b"" and b"3.00 : 1" in out


def test_json_is_one_object_and_nothing_else(haul, rig, session, tmp_path):
    points = tmp_path / "points.csv"
    points.write_text("applied,reading\n0,0\n1,1\n2,2.1\n3,3\n", "utf-8")
    for argv in (
        ["predict", rig], ["review", session], ["compare", session, session],
        ["calibrate", points, "--out", tmp_path / "c.toml"],
    ):  # fmt: skip
        said = haul(*argv, "--json")
        assert said.err == ""
        assert isinstance(json.loads(said.out, parse_constant=pytest.fail), dict)


def test_main_takes_sys_argv_by_itself(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["haul", "--version"])
    assert main() == 0
    assert capsys.readouterr().out.startswith("haul ")
