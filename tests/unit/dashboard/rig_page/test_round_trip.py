"""Every rig goes through the page and comes back: the same bytes, and the same prediction to the last bit."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from support.every_rig import of_the_tests, shipped
from support.rigs import rigs

from analysis.prediction.predict import predict
from analysis.rig_file.load import load_rig
from analysis.rig_file.to_toml import rig_toml
from dashboard.rig_page.acts import made
from dashboard.rig_page.draft_store import DraftStore
from dashboard.rig_page.view import view
from dashboard.text.units import METRIC

EVERY = {**shipped(), **of_the_tests()}
COMMENT = re.compile(r"#.*")  # or a text that holds one: it counts alike before and after
FEWEST = 60  # rigs: fewer would mean that those of the tests are no longer found


def bits(path) -> str:
    """The prediction as `haul predict --json` prints it, each number in full."""
    return json.dumps(predict(load_rig(path)))


def through_the_page(path) -> None:
    """Open, draw, save, save under another name; then change a value there and back by hand."""
    before, bytes_before = bits(path), path.read_bytes()
    store = DraftStore(path)
    page = view(store.state(), None, METRIC, 900)
    assert page.svg and page.answers and not page.fault and not page.may_save
    store.save()
    assert path.read_bytes() == bytes_before
    store.save("copy")
    copy = path.with_name("copy.toml")
    assert copy.read_bytes() == bytes_before
    assert bits(copy) == before

    title = tomllib.loads(bytes_before.decode()).get("title", "")
    for typed in ("Another title", title):
        assert store.change(
            store.state().version, lambda d, new=typed: made(d, ["set", "", "title"], new)
        )
        assert view(store.state(), None, METRIC, 390).svg
        store.save()
    assert {**json.loads(bits(path)), "title": title} == {**json.loads(before), "title": title}
    undone = store.state().draft
    while len(undone.texts) > 1:
        undone = undone.undo()
    assert undone.text.encode() == bytes_before
    assert COMMENT.findall(path.read_text("utf-8")) == COMMENT.findall(bytes_before.decode())


def test_the_rigs_of_the_tests_are_found():
    assert len(of_the_tests()) >= FEWEST
    assert len(shipped()) > 30


@pytest.mark.parametrize("name", sorted(EVERY))
def test_a_rig_comes_back_to_the_bit(tmp_path, name):
    path = tmp_path / "rig.toml"
    path.write_bytes(EVERY[name].encode())
    through_the_page(path)


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(rigs())  # fmt: skip
def test_a_random_rig_comes_back_to_the_bit(tmp_path, rig):
    path = tmp_path / "rig.toml"
    path.with_name("copy.toml").unlink(missing_ok=True)
    path.write_bytes(rig_toml(rig).encode())
    through_the_page(path)
