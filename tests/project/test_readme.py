"""The README tells no lie: every command and option is in it, and its examples run."""

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

from dashboard.cli import COMMANDS, build, main


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


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_documented(readme, name):
    text = reading.section(readme, name)
    assert text, f"README.md has no heading for haul {name}"
    parser, _ = build(name)
    for option in parser.options():
        if option.startswith("--") and option != "--help":
            assert option in text, f"haul {name} {option} is not in the README"
    known = {*parser.options(), "--json", "--units"}  # the two that the introduction names
    for option in re.findall(r"--[a-z][A-Za-z-]*", text):
        assert option in known, f"the README promises haul {name} {option}"


def test_no_command_is_documented_that_does_not_exist(readme):
    assert re.findall(r"^### `haul (\S+)`", readme, re.M) == list(COMMANDS)


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
        with self.server:
            connection, _ = self.server.accept()
            with connection:
                try:
                    for count in range(5000):
                        connection.sendall(self.line(count))
                        time.sleep(0.02)  # the pace of a device of 50 Hz
                except OSError:
                    return


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
    text = reading.README.read_text("utf-8")
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


def test_the_readmes_examples_run_as_written(readme, desk, capsys):
    """In order, in one folder. Two things differ: devices are on TCP, and times are short."""
    calls = reading.calls(readme)
    # the demo stands behind the tour in the text, and its session is what the later calls look at
    calls.sort(key=lambda words: words[1] != "demo")
    assert {words[1] for words in calls} == set(COMMANDS)
    force = TourDevice(lambda k: f"{400 + k % 5}.5\r\n".encode())
    rope = TourDevice(lambda k: f'{{"rope": {k}}}\r\n'.encode())
    for words in calls:
        argv = list(words[1:])
        if argv[0] == "demo":
            argv[argv.index("--for") + 1] = "3"
        if argv[0] == "record":
            sensors = desk / argv[2]
            text = sensors.read_text("utf-8")
            text = text.replace("/dev/ttyUSB0", force.url).replace("/dev/ttyACM0", rope.url)
            sensors.write_text(text, "utf-8")
            argv += ["--for", "1"]
        if argv[0] == "simulate":  # goes on until Ctrl-C: looked at in test_simulate
            assert simulated(argv, desk).startswith("socket://127.0.0.1:")
            continue
        if argv[0] in ("watch", "plan", "replay"):  # likewise: looked at in tests of their own
            assert simulated(argv, desk).startswith("http://127.0.0.1:")
            continue
        status = main(argv)
        said = capsys.readouterr()
        assert status == 0, f"{' '.join(words)}: {said.err}"
    assert (desk / "first-haul" / "SHA256SUMS").exists()
    assert "[N]" in (desk / "first-haul.csv").read_text("utf-8").splitlines()[0]


def test_ci_runs_the_readmes_own_test_line(readme, root):
    script = (root / ".ci" / "run").read_text("utf-8")
    assert "readme.py tests posix" in script
    out = subprocess.run(
        [sys.executable, str(root / "tests/project/readme.py"), "tests", "posix"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert out.strip() == reading.line(readme, "tests", "posix")
    assert out.strip() in readme
