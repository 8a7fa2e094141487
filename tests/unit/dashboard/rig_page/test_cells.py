"""Load cells on the rig page: where they sit, and a cell put elsewhere by one touch."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from support.channels import saved_at
from support.desk_server import OpenDesk, acts_in, callback_body
from support.http_server import assert_refused
from support.rigs import three_to_one

from analysis.rig_edit.draft import opened
from dashboard.rig_page.draft_store import DraftState
from dashboard.rig_page.places.cells import CELL_HERE, ForceChannel, RigCells
from dashboard.rig_page.places.surroundings import Surroundings
from dashboard.rig_page.view import RigView, view
from dashboard.text.units import METRIC

PAGE = "/rig/launch/"
SENSORS = """# our two boxes, cradle side
[[channel]]
name = "haul_cell"
quantity = "force"
at = "haul"  # by the winch
port = "udp://127.0.0.1:47001"
format = "xdr"
id = "HAUL"
unit = "N"

[[channel]]
name = "rope_out"
quantity = "length"
at = "haul"
port = "udp://127.0.0.1:47001"
format = "xdr"
id = "ROPE"
unit = "m"
"""
HAUL_STRAND, TOP_STRAND = {"strand": 4}, {"strand": 2}  # of the 3:1
AT_ANCHOR = RigCells("loggers.toml", (ForceChannel("haul_cell", "anchor"),), mark="1")


@pytest.fixture
def folder(tmp_path) -> Path:
    """A boatyard's folder with a rig and a sensors file."""
    (tmp_path / "launch.toml").write_text(three_to_one(), "utf-8")
    (tmp_path / "loggers.toml").write_text(SENSORS, "utf-8")
    return tmp_path


def shown(touched=None, cells: RigCells | None = None, saved: bool = True) -> RigView:
    """The page of the 3:1 with these cells."""
    state = DraftState(
        draft=opened(three_to_one(), "launch.toml"), version=1, saved=saved, changed_on_disk=False, offered=False
    )  # fmt: skip
    return view(state, touched, METRIC, 390, Surroundings(cells=cells))


def cell_group(page: RigView):
    """The group of the open menu that puts a cell at the touched place."""
    assert page.menu is not None
    return next((one for one in page.menu.questions if one.title == CELL_HERE), None)


def cell_acts(desk: OpenDesk, touched: dict) -> list[list]:
    """The acts of the menu that put a cell somewhere."""
    response = desk.look(PAGE, touched__data=touched, width__data=390)
    return [one for one in acts_in(response["menu"]["children"]) if one[0] == "cell"]


def put(desk: OpenDesk, act: list, role: str = "operator"):
    """The answer to a touch on a cell's button."""
    version = desk.look(PAGE, width__data=390)["version"]["data"]
    return desk.touch(PAGE, act, {"version.data": version}, role)


def said(answer) -> str:
    return json.loads(answer[1])["response"]["said"]["children"]


def test_a_touch_puts_the_cell_at_the_strand_and_leaves_the_rest_of_the_file_as_it_was(
    desk, folder
):
    (act,) = cell_acts(desk, TOP_STRAND)
    assert act[:3] == ["cell", "haul_cell", "C1>A1"]
    assert said(put(desk, act)) == "haul_cell sits at the strand from C1 to A1 now."
    text = (folder / "loggers.toml").read_text("utf-8")
    assert text == SENSORS.replace('at = "haul"  # by', 'at = "C1>A1"  # by')


def test_one_touch_more_puts_it_back(desk, folder):
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    here, back = cell_acts(desk, TOP_STRAND)
    assert here[2] == "C1>A1" and back[:3] == ["cell", "haul_cell", "haul"]
    put(desk, back)
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS


def pressed(desk: OpenDesk, verb: str) -> str:
    """What is said after a touch on Undo or Redo."""
    return said(put(desk, [verb]))


def rig_text_now(desk: OpenDesk) -> str:
    return desk.server.drafts.store("launch").text


CAPTURE = ["put", "capture", 0, 3, "anchor"]  # an edit of the draft with which the rig can work


def captures_put(desk: OpenDesk) -> int:
    """Captures of the draft that the file does not have."""
    return rig_text_now(desk).count("capture =") - three_to_one().count("capture =")


def test_undo_takes_back_the_cell_that_was_put_last_and_redo_puts_it_there_again(desk, folder):
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    assert pressed(desk, "undo") == "Undone: haul_cell sits at the haul strand again."
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS
    assert pressed(desk, "undo") == "" and rig_text_now(desk) == three_to_one()
    assert pressed(desk, "redo") == "haul_cell sits at the strand from C1 to A1 again."
    assert saved_at(folder) == "C1>A1"
    assert pressed(desk, "redo") == "" and saved_at(folder) == "C1>A1"


def test_undo_takes_back_cells_and_edits_in_the_order_in_which_they_were_done(desk, folder):
    def done() -> tuple[int, str]:
        """Captures that were put in, and where the cell sits."""
        return captures_put(desk), saved_at(folder)

    put(desk, CAPTURE)
    put(desk, cell_acts(desk, {"element": "anchor"})[0])
    put(desk, cell_acts(desk, {"element": "load"})[0])
    put(desk, CAPTURE)
    order = [(2, "load"), (1, "load"), (1, "anchor"), (1, "haul"), (0, "haul")]
    assert done() == order[0]
    for one in order[1:]:
        pressed(desk, "undo")
        assert done() == one
    for one in order[-2::-1]:
        pressed(desk, "redo")
        assert done() == one


def test_a_new_step_of_either_kind_ends_what_redo_brings_back(desk, folder):
    put(desk, CAPTURE)
    pressed(desk, "undo")
    put(desk, cell_acts(desk, {"element": "load"})[0])
    pressed(desk, "redo")
    assert rig_text_now(desk) == three_to_one() and saved_at(folder) == "load"
    pressed(desk, "undo")
    put(desk, CAPTURE)
    pressed(desk, "redo")
    assert saved_at(folder) == "haul" and captures_put(desk) == 1


def test_a_cell_that_somebody_else_moved_since_stays_and_undo_goes_on(desk, folder):
    put(desk, CAPTURE)
    put(desk, cell_acts(desk, {"element": "load"})[0])
    moved = SENSORS.replace('at = "haul"  # by', 'at = "anchor"  # by')
    (folder / "loggers.toml").write_text(moved, "utf-8")
    assert "was moved elsewhere since, and stays there" in pressed(desk, "undo")
    assert (folder / "loggers.toml").read_text("utf-8") == moved
    assert pressed(desk, "undo") == "" and rig_text_now(desk) == three_to_one()


def test_undo_of_a_cell_overwrites_nothing_that_the_sensors_page_has_not_saved(desk, folder):
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    store = desk.server.sensors.store
    store.open_file("loggers")
    base = store.state.draft
    store.change(lambda state: replace(state, draft=state.draft.replaced(state.base + "# mine\n")))
    assert "not saved; save them there" in pressed(desk, "undo")
    assert saved_at(folder) == "C1>A1"
    store.change(lambda state: replace(state, draft=base))
    assert pressed(desk, "undo").startswith("Undone: haul_cell")  # the step was kept
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS


def test_a_page_that_shows_less_than_was_done_undoes_nothing_of_it(desk, folder):
    old = desk.look(PAGE, width__data=390)["version"]["data"]
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    answer = desk.touch(PAGE, ["undo"], {"version.data": old})
    assert said(answer).startswith("Somebody else changed the rig just now.")
    assert saved_at(folder) == "C1>A1"


def test_a_viewer_undoes_no_cell(desk, folder):
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    assert_refused(put(desk, ["undo"], "viewer"), 403)
    assert saved_at(folder) == "C1>A1"


def test_the_sensors_page_works_on_with_the_new_place_and_may_undo_it(desk):
    store = desk.server.sensors.store
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    state = store.state
    assert not state.changed and not store.changed_on_disk()
    assert state.draft.undo().text == SENSORS


def test_a_file_that_the_sensors_page_does_not_work_on_is_written_too(desk, folder):
    store = desk.server.sensors.store
    store.begin_new()
    put(desk, cell_acts(desk, TOP_STRAND)[0])
    assert 'at = "C1>A1"' in (folder / "loggers.toml").read_text("utf-8")
    assert store.state.file == "" and store.state.draft.text == ""


def test_a_file_that_was_changed_meanwhile_is_not_overwritten(desk, folder):
    (act,) = cell_acts(desk, TOP_STRAND)
    other = SENSORS.replace("winch", "capstan")
    (folder / "loggers.toml").write_text(other, "utf-8")
    assert "was changed meanwhile" in said(put(desk, act))
    assert (folder / "loggers.toml").read_text("utf-8") == other


def test_what_the_sensors_page_has_not_saved_is_not_lost(desk, folder):
    store = desk.server.sensors.store
    store.change(lambda state: replace(state, draft=state.draft.replaced(SENSORS + "# mine\n")))
    (act,) = cell_acts(desk, TOP_STRAND)
    assert "not saved; save them there" in said(put(desk, act))
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS
    assert store.state.draft.text.endswith("# mine\n")


@pytest.mark.parametrize(
    "act",
    [
        ["cell", "haul_cell", "A9>A1", "MARK"],
        ["cell", "haul_cell", 'a"b', "MARK"],
        ["cell", "rope_out", "C1>A1", "MARK"],
        ["cell", "nobody", "C1>A1", "MARK"],
        ["cell", "haul_cell", "C1>A1", "0"],
        ["cell", "haul_cell", "C1>A1"],
        ["cell", 1, 2, 3],
    ],
)
def test_no_forged_touch_writes_the_file(desk, folder, act):
    mark = cell_acts(desk, TOP_STRAND)[0][3]
    assert said(put(desk, [mark if one == "MARK" else one for one in act]))
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS


def test_a_viewer_sees_where_cells_sit_and_moves_none(desk, folder):
    page = desk.look(PAGE, "viewer", width__data=390)
    assert "haul_cell: at the haul strand" in json.dumps(page["places"])
    (act,) = cell_acts(desk, TOP_STRAND)
    body = callback_body(desk.callback(PAGE, True), {}, ({"type": "do", "act": json.dumps(act)}, "n_clicks", 1))  # fmt: skip
    assert_refused(desk.call(PAGE, body, "viewer"), 403)
    assert (folder / "loggers.toml").read_text("utf-8") == SENSORS


def test_the_page_looks_again_when_the_sensors_file_is_another(desk, folder):
    before = desk.look(PAGE, width__data=390)
    now = {"version.data": before["version"]["data"], "around.data": before["around"]["data"]}
    row = next(
        row for row in json.loads(desk.get(f"{PAGE}_dash-dependencies")[1])
        if any(one["id"] == "pulse" for one in row["inputs"])
    )  # fmt: skip
    asked = callback_body(row, {**now, "pulse.n_intervals": 7})
    (asked["outputs"],) = asked["outputs"]  # Dash sends the one output of a callback bare
    assert json.loads(desk.call(PAGE, asked)[1])["response"] == {}
    (folder / "loggers.toml").write_text(SENSORS.replace('at = "haul"  #', 'at = "load"  #'), "utf-8")  # fmt: skip
    assert json.loads(desk.call(PAGE, asked)[1])["response"]["look"]["n_intervals"] == 7
    assert "haul_cell: at the load" in json.dumps(desk.look(PAGE, width__data=390)["places"])


def test_without_a_sensors_file_one_line_says_so_and_leads_to_sensors(desk, folder):
    (folder / "loggers.toml").unlink()
    menu = json.dumps(desk.look(PAGE, touched__data=TOP_STRAND, width__data=390)["menu"])
    assert "The folder has no sensors file yet." in menu and '"/sensors/"' in menu
    only_length = "[[channel]]" + SENSORS.split("[[channel]]")[2]
    (folder / "counter.toml").write_text(only_length, "utf-8")
    menu = json.dumps(desk.look(PAGE, touched__data=TOP_STRAND, width__data=390)["menu"])
    assert "counter.toml has no force channel." in menu and '"/sensors/"' in menu


def test_without_a_folder_the_menu_says_what_to_write():
    group = cell_group(shown(TOP_STRAND))
    assert group.about.notes == (
        'In the sensors file write at = "C1>A1" for the force channel that measures here.',
    )
    assert 'at = "haul"' in cell_group(shown(HAUL_STRAND)).about.notes[0]
    assert 'at = "anchor"' in cell_group(shown({"element": "anchor"})).about.notes[0]
    assert 'at = "load"' in cell_group(shown({"element": "load"})).about.notes[0]
    assert 'at = "A1"' in cell_group(shown({"element": "A1"})).about.notes[0]


@pytest.mark.parametrize("at", ["haul", "load", "anchor", "C1>A1", "A1", "G1"])
def test_the_drawing_has_the_sign_of_a_cell_and_the_list_its_place(at):
    cells = RigCells("loggers.toml", (ForceChannel("haul_cell", at),), mark="1")
    page = shown(cells=cells)
    drawn = ElementTree.fromstring(page.svg)
    (sign,) = [one for one in drawn.iter() if one.get("data-cell")]
    assert sign.get("data-cell") == "haul_cell"
    assert sign.get("data-number") is not None or sign.get("data-element") == at
    assert f"haul_cell at {at}" in drawn.get("aria-label")
    (line,) = page.places.cell_lines
    assert line.startswith("haul_cell: at ")


def test_a_place_that_the_rig_does_not_have_is_said_and_not_drawn():
    cells = RigCells("loggers.toml", (ForceChannel("haul_cell", "A9>T1"),), mark="1")
    page = shown(cells=cells)
    assert page.places.cell_lines == ("haul_cell: at A9>T1, which this rig does not have",)
    assert "data-cell" not in page.svg


def test_a_cell_that_sits_at_the_touched_place_is_marked_there():
    (choice,) = cell_group(shown({"element": "anchor"}, AT_ANCHOR)).choices
    assert choice.on and choice.label == "haul_cell sits here"
    (choice,) = cell_group(shown(HAUL_STRAND, AT_ANCHOR)).choices
    assert not choice.on and choice.label == "haul_cell, now at anchor"


def test_where_the_rig_is_not_saved_the_menu_says_to_save_it():
    notes = cell_group(shown(TOP_STRAND, AT_ANCHOR, saved=False)).about.notes
    assert notes[-1].startswith("Save the rig too")
