"""What the home page says to do next, for folders of every kind."""

from __future__ import annotations

import threading
from itertools import islice

import pytest
from support.channels import force, rope
from support.rigs import three_to_one
from support.sealed_sessions import made
from support.waiting import until

from dashboard.commands.simulate import AT_REST_S, hauls
from dashboard.desk.chosen import choose, chosen
from dashboard.desk.desk_page import Desk
from dashboard.desk.folder import files_in
from dashboard.desk.virtual import SENSORS_NAME, truth_of
from dashboard.desk_server.folder_lock import FolderLock
from dashboard.desk_server.home_view import home_view
from dashboard.desk_server.next_step import NextStep, next_step
from dashboard.live.session_hub import Hub
from dashboard.sessions_page.folder_library import Library
from dashboard.text.units import METRIC
from dashboard.web.sharing import Sharing
from logger.errors import CallFault

BAD = three_to_one().replace("at_m = 9.0", "at_m = 'x'")


def step(folder, rig: str = "", sensors: str = "", **more) -> NextStep:
    """The next step for a folder with these files."""
    for name, text in (("launch", rig), (SENSORS_NAME, sensors)):
        if text:
            (folder / f"{name}.toml").write_text(text, "utf-8")
    desk = Desk(folder, METRIC, "token", Sharing("127.0.0.1", shared=False))
    files = files_in(folder)
    given = {"session": None, "last": None, **more}
    return next_step(files, chosen(desk, files), **given)


@pytest.mark.parametrize(
    ("rig", "sensors", "more", "said", "ways"),
    [
        ("", "", {}, "Plug a device in, or try it with virtual ones", ["/sensors/", "virtual"]),
        (three_to_one(), "", {}, "No sensors file yet", ["/sensors/"]),
        (three_to_one(), "[[channel]]\n", {}, "has a fault", ["/sensors/"]),
        ("", force(), {}, "No rig yet", ["/rig/"]),
        (BAD, force(), {}, "can't work yet", ["/rig/launch/"]),
        (three_to_one(), force(), {}, "no counter yet: check everything", ["/check/"]),
        (three_to_one(), force() + rope(), {}, "virtual devices comes next: check", ["/check/"]),
        (three_to_one(), force() + rope(), {"virtual": "missing"}, "do not send", ["virtual", "/sensors/"]),
        (three_to_one(), force() + rope(), {"virtual": "stand"}, "haul once", ["/check/"]),
        (three_to_one(), force(), {"last": "one"}, "check everything", ["/check/", "/result/"]),
        (three_to_one(), force(), {"last": "one", "just_over": True}, "one is over", ["/result/", "/check/"]),
        ("", "", {"session": "a b", "last": "a b"}, "a b is being recorded", ["/s/a%20b/"]),
    ],
)  # fmt: skip
def test_one_sentence_and_the_way_on(tmp_path, rig, sensors, more, said, ways):
    found = step(tmp_path, rig, sensors, **more)
    assert said in found.text
    assert [way.address or way.act for way in found.ways] == ways


def test_home_shows_what_is_known_of_a_session_and_says_when_nothing_is(tmp_path):
    made(tmp_path / "one")
    made(tmp_path / "torn", seal=False)
    (tmp_path / "torn" / "rig.toml").write_text("[[", "utf-8")
    desk = Desk(tmp_path, METRIC, "token", Sharing("127.0.0.1", shared=False))
    library = Library(tmp_path)
    hub = Hub(tmp_path, lambda error: None, empty=True)
    lines = {one.name: one for one in home_view(desk, library, hub).sessions}
    assert lines["one"].advantage == "is read now"
    until(lambda: library.wait(0.1), 60, "the figures")
    lines = {one.name: one for one in home_view(desk, library, hub).sessions}
    assert "±" in lines["one"].advantage and lines["one"].over
    assert lines["torn"].advantage == "cannot be reviewed"
    hub.close()


def test_virtual_devices_rest_and_haul_once_for_each_go():
    go = threading.Event()
    rows = hauls([(0.0, {"f": 1.0}), (0.5, {"f": 2.0}), (1.0, {"f": 3.0})], go)
    rest = list(islice(rows, 3))
    assert [row[1]["f"] for row in rest] == [1.0, 1.0, 1.0]
    go.set()
    pulled = list(islice(rows, 5))
    assert [row[1]["f"] for row in pulled] == [1.0, 2.0, 3.0, 3.0, 3.0]
    times = [time_s for time_s, _ in (*rest, *pulled)]
    assert times == sorted(times) and times[3] - times[2] == pytest.approx(AT_REST_S)


def test_only_sessions_of_virtual_devices_are_called_simulated(tmp_path):
    store = tmp_path / ".desk"
    (store / "ports").mkdir(parents=True)
    (store / "virtual.json").write_text("{}", "utf-8")
    own, other = f'port = "{store}/ports/haul-device"', 'port = "/dev/ttyUSB0"'
    baud = "baud = 115200"
    for text, simulated in (
        (force(own, baud), True),
        (force(own, baud) + rope(other, baud), False),
        (force(), False),
    ):
        (tmp_path / "s.toml").write_text(text, "utf-8")
        (file,) = files_in(tmp_path).sensors
        assert file.sensors is not None
        assert (truth_of(tmp_path, file.sensors) is not None) is simulated


def test_a_choice_is_no_way_out_of_the_folder_and_a_linked_store_is_refused(tmp_path):
    folder, other = tmp_path / "folder", tmp_path / "other"
    folder.mkdir()
    other.mkdir()
    (folder / ".desk").symlink_to(other)
    with pytest.raises(CallFault, match="is a link"):
        FolderLock(folder)
    assert list(other.iterdir()) == []
    desk = Desk(tmp_path, METRIC, "token", Sharing("127.0.0.1", shared=False))
    with pytest.raises(CallFault, match="no such file"):
        choose(desk, sensors="/etc/passwd")
