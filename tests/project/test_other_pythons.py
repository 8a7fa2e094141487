"""Which Pythons the program is for, and how `.ci/run` finds them."""

import sys
import tomllib

import pytest
from packaging.version import Version
from project.other_pythons import ROOT, VERSIONS, lower_bounds, python_of


def program(path, text):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


def test_the_classifiers_name_the_pythons_that_are_run_and_no_other(root):
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]
    oldest = project["requires-python"].removeprefix(">=")
    assert project["classifiers"] == [
        f"Programming Language :: Python :: {version}" for version in VERSIONS
    ]
    assert oldest == VERSIONS[0]


def test_a_waitress_below_3_0_1_is_refused(root):
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]
    assert "waitress>=3.0.1" in project["dependencies"]


def test_each_python_has_lower_bounds_with_wheels_for_it():
    # first releases with wheels for that Python, from their files in the package index
    first = {
        "numpy": {"3.11": "1.23.2", "3.12": "1.26.0", "3.13": "2.1.0"},
        "pandas": {"3.11": "1.5.1", "3.12": "2.1.1", "3.13": "2.2.3"},
        "pyarrow": {"3.11": "10.0.1", "3.12": "14.0.0", "3.13": "18.0.0"},
    }
    for version in VERSIONS:
        lowest = lower_bounds(version)
        assert lowest.keys() >= first.keys()
        for name, by_python in first.items():
            assert Version(lowest[name]) >= Version(by_python[version]), (name, version)


def test_the_lowest_versions_are_a_job_of_the_long_proofs():
    text = (ROOT / ".ci" / "long").read_text("utf-8")
    assert "tests/project/other_pythons.py --lowest" in text


@pytest.mark.skipif(sys.platform == "win32", reason="other system: no shell scripts")
def test_a_shim_without_a_version_behind_it_is_passed_over(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path / "shims"))
    assert python_of("3.12") is None
    program(tmp_path / "shims/python3.12", "exit 127")
    assert python_of("3.12") is None
    program(tmp_path / "versions/3.12.0/bin/python3", "echo 3.11")
    assert python_of("3.12") is None
    good = program(tmp_path / "versions/3.12.1/bin/python3", "echo 3.12")
    assert python_of("3.12") == good
