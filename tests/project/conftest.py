"""The project's root, its documents, and the shape of a JSON object."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.places import ROOT


@pytest.fixture(scope="session")
def root():
    return ROOT


@pytest.fixture(scope="session")
def readme():
    return (ROOT / "README.md").read_text("utf-8")


@pytest.fixture(scope="session")
def interface():
    """The folder with the examples of the interface, as they stand there."""
    return Path(__file__).parent / "interface"


@pytest.fixture(scope="session")
def example(interface):
    """name -> the JSON example of that name."""
    return lambda name: json.loads((interface / f"{name}.json").read_text("utf-8"))


@pytest.fixture(scope="session")
def missing():
    """(example, written) -> keys that one has and the other has not, as dotted paths."""

    def compare(example, written, where="", free=()):
        if isinstance(example, list):
            return (
                [
                    line
                    for row in (written or [])
                    for line in compare(example[0], row, f"{where}[]", free)
                ]
                if example and isinstance(example[0], dict)
                else []
            )
        if not isinstance(example, dict) or written is None or where in free or not example:
            return []
        lines = [f"{where}.{key} is missing" for key in example if key not in written]
        lines += [f"{where}.{key} is not in the interface" for key in written if key not in example]
        for key in example:
            lines += compare(example[key], written.get(key), f"{where}.{key}".lstrip("."), free)
        return lines

    return compare
