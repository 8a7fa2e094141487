"""The README and the command reference tell no lie: every command and option is in them, and their examples run."""

import contextlib
import os
import re
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from project import readme as reading
from support.emulated_devices import CATALOGUE, EmulatedDevice
from support.systems import pseudo_terminals
from support.terminal import TypedTerminal
from support.waiting import joined, long_enough
from support.yard import ended_after_rows

from dashboard.cli import COMMANDS, build, main
from dashboard.text.help_topics import TOPICS
from logger.session.reader import read_all


def test_the_first_paragraph_states_the_job(readme):
    title, first = (" ".join(part.split()) for part in readme.split("\n\n")[:2])
    assert title.startswith("# ")
    assert len(first) > 200
    assert all(word in first for word in ("load cell", "rope", "predicts"))


@pytest.mark.parametrize("system", ["posix", "windows"])
@pytest.mark.parametrize("what", ["demo", "tests"])
def test_one_line_does_all_by_itself(readme, what, system):
    line = reading.line(readme, what, system)
    folder = ".venv/bin/" if system == "posix" else ".venv\\Scripts\\"
    assert re.search(r"-m venv \.venv && ", line)
    assert f"&& {folder}pip install" in line
    assert f"&& {folder}{'haul demo' if what == 'demo' else 'pytest'}" in line
    assert (".[test]" in line) == (what == "tests")


def test_a_newcomer_reads_it_in_five_minutes(readme):
    assert len(readme.encode()) <= reading.MOST_BYTES


def test_the_readme_has_a_line_for_each_command_and_says_where_the_rest_stands(readme):
    said = {name: text for name, (_, text) in COMMANDS.items()}
    assert reading.table_of_commands(readme) == said
    for topic in re.findall(r"`haul help (\S+)`", readme):
        assert topic in TOPICS
    assert {*re.findall(r"`haul help (\S+)`", readme)} == set(TOPICS)
    assert "(DEVELOPERS.md#command-reference)" in readme


def test_every_option_that_the_readme_names_exists(readme):
    known = {option for name in COMMANDS for option in build(name)[0].options()}
    prose = readme[readme.index("## Five minutes") :]  # behind the lines for pip and pytest
    assert set(re.findall(r"--[a-z][A-Za-z-]*", prose)) <= {*known, "--help"}


def test_how_to_end_a_recording_whose_terminal_is_gone_stands_in_the_readme(readme):
    told = readme[readme.index("## When the terminal is gone") :].split("\n## ", 1)[0]
    for way in ("Ctrl-C", "haul watch", "kill PID", "--repair"):
        assert way in told


@pytest.fixture(scope="session")
def reference():
    """The chapters of DEVELOPERS.md that are for users."""
    return reading.reference()


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_documented(reference, name):
    text = reading.section(reference, name)
    assert text, f"DEVELOPERS.md has no heading for haul {name}"
    parser, _ = build(name)
    for option in parser.options():
        if option.startswith("--") and option != "--help":
            assert option in text, f"haul {name} {option} is not in the reference"
    known = {*parser.options(), "--json", "--units"}  # the two that the introduction names
    for option in re.findall(r"--[a-z][A-Za-z-]*", text):
        assert option in known, f"the reference promises haul {name} {option}"


def test_no_command_is_documented_that_does_not_exist(reference):
    assert re.findall(r"^### `haul (\S+)`", reference, re.M) == list(COMMANDS)


def test_cautions_stand_before_the_first_recording(readme):
    cautions = [readme.index(words) for words in (
        "out of the line of pull", "over a rating", "local codes", "qualified person",
        "Chock the load before a pulley is moved", "Never trust a hitch that has not been set", "Tend the capture",
    )]  # fmt: skip
    assert max(cautions) < readme.index("haul record")


class TourDevice(threading.Thread):
    """One of the tour's devices on TCP: it sends lines at 50 Hz to whoever connects."""

    def __init__(self, line):
        super().__init__(daemon=True)
        self.line, self.server = line, socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.server.getsockname()[1]}"
        self.start()

    def run(self):
        with self.server, contextlib.suppress(OSError):  # until it is closed
            while True:  # for one reader after the other
                connection, _ = self.server.accept()
                with connection, contextlib.suppress(OSError):
                    for count in range(5000):
                        connection.sendall(self.line(count))
                        time.sleep(0.02)  # the pace of a device of 50 Hz

    def close(self):
        self.server.shutdown(socket.SHUT_RDWR)
        joined(self)


def simulated(argv, desk):
    """The first line of a call that goes on; it is ended then."""
    text = (desk / "rig.toml").with_name("sensors.toml").read_text("utf-8")
    ports = iter(("socket://127.0.0.1:0", "socket://localhost:0"))
    text = re.sub(r'port = ".*"', lambda _: f'port = "{next(ports)}"', text)
    (desk / "sensors-tcp.toml").write_text(text, "utf-8")
    env = {**os.environ, "PYTHONPATH": str(reading.README.parent)}
    with subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *argv], stdout=subprocess.PIPE, text=True, env=env
    ) as process:  # fmt: skip
        line = process.stdout.readline()
        process.terminate()
    return line


@pytest.fixture(scope="module")
def desk(tmp_path_factory, request):
    """A folder with the tour's files, tables to import and calibrate, and a demo's session."""
    folder = tmp_path_factory.mktemp("desk")
    text = reading.README.read_text("utf-8") + reading.reference()
    for name, block in reading.files(text).items():
        (folder / name).write_text(block, "utf-8")
    rows = [f"{k / 10},{300 + k % 3},{1000 * k}" for k in range(100)]
    (folder / "data.csv").write_text(
        "time_s,haul_force,rope_out\n" + "\n".join(rows) + "\n", "utf-8"
    )
    points = [f"{x},{0.1 + 2 * x + 1e-4 * x * x}" for x in range(0, 1100, 100)]
    (folder / "points.csv").write_text("applied,reading\n" + "\n".join(points) + "\n", "utf-8")
    before = Path.cwd()
    os.chdir(folder)
    request.addfinalizer(lambda: os.chdir(before))
    return folder


@pytest.mark.many
def test_the_examples_run_as_written(readme, reference, desk, capsys, request):
    """In order, in one folder. Two things differ: devices are on TCP, and times are short."""
    calls = [*reading.calls(readme), *reading.calls(reference)]
    # the demo stands behind the tour in the text, and its session is what the later calls look at
    calls.sort(key=lambda words: words[1] != "demo")
    assert {words[1] for words in calls} == set(COMMANDS)
    cell = TourDevice(lambda k: f"ST,GS,+ {40 + k % 5}.5 kg\r\n".encode())
    request.addfinalizer(cell.close)
    for words in calls:
        argv = list(words[1:])
        if argv[0] == "demo":
            argv[argv.index("--for") + 1] = str(long_enough(3.0))
        if argv[0] == "listen":
            argv[1] = cell.url
            if "--for" in argv:
                argv[argv.index("--for") + 1] = str(long_enough(1.0))
        if argv[0] == "record":
            argv += ["--for", str(long_enough(1.0))]
        if argv[0] == "simulate":  # goes on until Ctrl-C: looked at in test_simulate
            assert simulated(argv, desk).startswith("socket://127.0.0.1:")
            continue
        if argv[0] in (
            "watch",
            "plan",
            "replay",
            "desk",
        ):  # likewise: looked at in tests of their own
            assert simulated(argv, desk).startswith("http://127.0.0.1:")
            continue
        status = main(argv)
        said = capsys.readouterr()
        assert status == 0, f"{' '.join(words)}: {said.err}"
    assert (desk / "first-haul" / "SHA256SUMS").exists()
    assert "[N]" in (desk / "first-haul.csv").read_text("utf-8").splitlines()[0]


@pseudo_terminals
def test_the_tour_leads_from_a_plugged_device_to_a_recorded_haul_without_an_editor(
    readme, tmp_path
):
    """Its first five steps, typed on a terminal, with a device on a pseudo-terminal in place of ttyUSB0; the one
    file that is written by hand is the rig."""
    steps = readme[readme.index("## Five minutes") : readme.index("Then review the measurement")]
    assert re.findall(r"^(\d)\. ", steps, re.M) == ["1", "2", "3", "4", "5"]
    calls = reading.calls(steps)
    assert [words[1] for words in calls] == ["ports", "listen", "predict", "predict", "record"]
    assert set(reading.files(steps)) == {"rig.toml"}
    (tmp_path / "rig.toml").write_text(reading.files(steps)["rig.toml"], "utf-8")
    device = EmulatedDevice(CATALOGUE["status, mode, apart sign"], tmp_path, apart=True)
    try:
        for words in calls:
            argv = [device.port if word == "/dev/ttyUSB0" else word for word in words[1:]]
            terminal = TypedTerminal(*argv, cwd=tmp_path)
            if words[1] == "listen":
                terminal.wait_for("Pull once now")
                terminal.type("s")
                terminal.wait_for("How good is force?")
                terminal.type("0.5")
            ends = words[1] == "record"
            with (
                ended_after_rows(tmp_path / "first-haul", 40) if ends else contextlib.nullcontext()
            ):
                assert terminal.end(60.0) == 0, terminal.text
    finally:
        device.close()
    session = read_all(tmp_path / "first-haul")
    values = set(session.readings["force"].reading.tolist())
    assert len(values) > 5 and values <= set(device.device.course)
    assert (tmp_path / "first-haul" / "SHA256SUMS").exists()


def test_ci_runs_the_readmes_own_test_line(readme, root):
    script = (root / ".ci" / "run").read_text("utf-8")
    assert "readme.py tests posix" in script
    out = subprocess.run(
        [sys.executable, str(root / "tests/project/readme.py"), "tests", "posix"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert out.strip() == reading.line(readme, "tests", "posix")
    assert out.strip() in readme
