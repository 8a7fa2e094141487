"""A wrong rig file gets one line: which table or station, what is wrong, what to write instead."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.invalid_rigs import FAULTY, HEAD, ROPE, UNWORKABLE, Z
from support.rigs import refused

from analysis.rig_file.load import load_rig, parse_rig
from logger.errors import RigFault


def line(text: str) -> str:
    with pytest.raises(RigFault) as caught:
        parse_rig(text, "r.toml")
    shown = str(caught.value)
    assert "\n" not in shown and shown.startswith("r.toml: ")
    return shown


@pytest.mark.parametrize(("text", "words"), FAULTY.values(), ids=FAULTY.keys())
def test_one_clear_line(text, words):
    shown = line(text)
    for word in words:
        assert word in shown, shown


def unworkable(name: str) -> str:
    """The one line with which a rig that can't work is refused."""
    path, extra = UNWORKABLE[name]
    return refused(path, extra=extra)


class TestRigsThatCannotWork:
    def test_tied_fast(self):
        shown = unworkable("tied fast")
        assert "cannot move" in shown and "strand load>anchor" in shown

    def test_moves_the_load_away(self):
        assert "away from the anchor" in unworkable("moves the load away")

    def test_plate_that_nothing_ties(self):
        shown = unworkable("a plate that nothing ties")
        assert "P: " in shown and "free to move" in shown

    def test_grab_that_carries_nothing(self):
        assert "G1: carries nothing" in unworkable("a grab that carries nothing")

    def test_strand_that_would_push(self):
        # the plate is pulled toward the anchor by both ropes; nothing pulls it back but rope that can't
        assert "P" in unworkable("a strand that would push")

    def test_load_that_is_not_in_the_haul(self):
        assert "test-rig.toml" in unworkable("a load that is not in the haul")


def test_missing_folder_and_binary_files(tmp_path):
    for path, word in [(tmp_path / "no.toml", "no such file"), (tmp_path, "folder")]:
        with pytest.raises(RigFault, match=word):
            load_rig(path)
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"title = \xff\xfe")
    with pytest.raises(RigFault, match="not UTF-8"):
        load_rig(binary)


# every key of interface section 1 once, with another value that it may have
EVERY_KEY = """
title = "skid"                      # "sledge"
note = "n"                          # "m"
source = "s"                        # "r"
anchor_to_load_m = 20.0             # 21.0
clearance_m = 0.3                   # 0.4
[defaults]
pulley_efficiency = 0.9             # 0.8
pulley_efficiency_u = 0.05          # 0.04
[load]
kind = "slope"                      # "dragging"
mass_kg = 900.0                     # 901.0
mass_kg_u = 9.0                     # 8.0
slope_deg = 7.0                     # 6.0
resistance_coefficient = 0.05       # 0.06
resistance_coefficient_u = 0.01     # 0.02
pull_distance_m = 8.0               # 7.0
wll_kN = 20.0                       # 21.0
[team]
pull_N = 600.0                      # 700.0
stand_m = 0.0                       # 1.0
[[rope]]
name = "main"                       # "long"
length_m = 60.0                     # 70.0
diameter_mm = 11.0                  # 10.0
mbs_kN = 30.0                       # 31.0
stretch_percent = 3.0               # 4.0
stretch_at_kN = 1.5                 # 1.6
path = [ { tie = "B1", strength = 0.75 }, { grab = "G1", at_m = 9.0 }, { capture = "C1", on = "anchor" },
  { edge = "E1", on = "P1", wrap_deg = 90, friction = 0.3 }, { pulley = "T1", on = "G1" },
  { pulley = "R", on = "anchor" }, { haul = "team", toward_deg = 90 } ]
[[rope]]
name = "sling"                      # "strop"
path = [ { tie = "load", knot = "bowline" }, { tie = "B1", strength = 0.9 } ]
[pulley.T1]
efficiency = 0.92                   # 0.93
efficiency_u = 0.02                 # 0.03
wll_kN = 9.0                        # 8.0
item = "P-07"                       # "P-08"
[grab.G1]
slips_at_kN = 7.0                   # 6.0
slips_at_u_kN = 0.5                 # 0.6
[capture.C1]
damages_rope_at_kN = 5.0            # 6.0
efficiency = 0.98                   # 0.97
efficiency_u = 0.01                 # 0.02
setback_m = 0.05                    # 0.04
[edge.E1]
friction_u = 0.05                   # 0.04
[anchor]
mbs_kN = 40.0                       # 41.0
[further_anchor.P1]
at_m = -1.0                         # -2.0
offset_m = 2.0                      # 3.0
[plate.B1]
at_m = 12.0                         # 13.0
[gear.K1]
carries = ["R", "C1"]               # ["R"]
kind = "carabiner"                  # "shackle"
mbs_kN = 22.0                       # 23.0
[limits]
design_factor = 10.0                # 9.0
"""
ROWS = [row for row in EVERY_KEY.splitlines() if "#" in row]
# keys of stations, within the path; (as it is, another value)
OF_STATIONS = [
    ("strength = 0.75", "strength = 0.8"), ("at_m = 9.0", "at_m = 8.0"),
    ("wrap_deg = 90", "wrap_deg = 80"), ("friction = 0.3", "friction = 0.4"),
    ("toward_deg = 90", "toward_deg = 80"), ('knot = "bowline"', 'knot = "figure-eight"'),
    ('on = "P1"', 'on = "anchor"'),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.split("#")[0].strip())
def test_every_key_of_the_file_is_taken(row):
    """Another value gives another rig, so the key is read; another spelling is refused, so none is passed over."""
    stated, other = (side.strip() for side in row.split("#"))
    key = stated.split(" = ")[0]
    first = parse_rig(EVERY_KEY, "r.toml")
    assert parse_rig(EVERY_KEY.replace(row, f"{key} = {other}"), "r.toml") != first
    assert "unknown key" in line(EVERY_KEY.replace(row, f"{stated}\n{key}x = {other}"))


@pytest.mark.parametrize(("stated", "other"), OF_STATIONS)
def test_every_key_of_a_station_is_taken(stated, other):
    assert EVERY_KEY.count(stated) == 1
    if stated == 'on = "P1"':  # an anchor that nothing uses is refused
        assert "P1" in line(EVERY_KEY.replace(stated, other))
        return
    assert parse_rig(EVERY_KEY.replace(stated, other), "r.toml") != parse_rig(EVERY_KEY, "r.toml")
    key = stated.split(" = ")[0]
    assert "unknown key" in line(EVERY_KEY.replace(stated, f"{stated}, {key}x = 1"))


@pytest.mark.parametrize(("key", "other"), [("resistance_N", 1600.0), ("resistance_u_N", 50.0)])
def test_a_stated_resistance_is_taken(key, other):
    stated = {"resistance_N": 1500.0, "resistance_u_N": 40.0}
    texts = [
        HEAD + "[load]\n" + "".join(f"{k} = {v}\n" for k, v in each.items()) + ROPE % Z
        for each in (stated, {**stated, key: other})
    ]
    first, second = (parse_rig(text, "r.toml") for text in texts)
    assert first != second


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_no_mutation_of_a_rig_file_gives_anything_but_a_rig_or_one_line(data):
    """Fuzz: characters of a good file struck out, doubled or changed."""
    text = HEAD + "[load]\nkind = 'slope'\nmass_kg = 900\n[gear.K]\ncarries = ['A1']\n" + ROPE % Z
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        new = data.draw(
            st.sampled_from(["", "0", "-", '"', "\n", "[", "=", "G1", "anchor", "9e9", "nan"])
        )
        text = text[:at] + new + text[at + data.draw(st.integers(0, 3)) :]
    try:
        parse_rig(text, "r.toml")
    except RigFault as fault:
        assert "\n" not in str(fault)


@pytest.mark.parametrize("name", ["reef", "prusik", "tied", "knot"])
def test_a_name_that_is_like_no_knot_gets_no_proposal(name):
    assert 'write "' not in line(HEAD + ROPE % Z.replace('"load" }', f'"load", knot = "{name}" }}'))


GRAB, CAPTURE = '{ grab = "G1", at_m = 9 }', '{ capture = "C1", on = "anchor" }'
TURNS = '{ pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" }'


def test_a_grab_behind_the_capture_is_told_which_way_to_move():
    """The capture acts on the strand behind the grab; written the other way round it stands on no strand."""
    right = f'{{ tie = "load" }}, {GRAB}, {CAPTURE}, {TURNS}'
    parse_rig(HEAD + ROPE % right, "r.toml")
    wrong = f'{{ tie = "load" }}, {CAPTURE}, {GRAB}, {TURNS}'
    assert line(HEAD + ROPE % wrong) == (
        "r.toml: G1: at_m = 9 is outside its own strand: the grab is written behind C1; move it one line up"
    )
    second = '{ capture = "C2", on = "anchor" }'
    assert "behind C2 and C1; move it 2 lines up" in line(
        HEAD + ROPE % f'{{ tie = "load" }}, {CAPTURE}, {second}, {GRAB}, {TURNS}'
    )


def test_in_a_path_from_the_team_it_moves_down():
    back = '{ haul = "team" }, { pulley = "T1", on = "G1" }, { pulley = "A1", on = "anchor" }'
    parse_rig(HEAD + ROPE % f'{back}, {CAPTURE}, {GRAB}, {{ tie = "load" }}', "r.toml")
    shown = line(HEAD + ROPE % f'{back}, {GRAB}, {CAPTURE}, {{ tie = "load" }}')
    assert shown.endswith("the grab is written before C1; move it one line down")


def test_a_grab_that_no_move_would_mend_is_told_where_its_strand_runs():
    wrong = f'{{ tie = "load" }}, {CAPTURE}, {GRAB.replace("9", "13")}, {TURNS}'
    assert "write a place between them" in line(HEAD + ROPE % wrong)


def test_two_thousand_kilonewtons_are_taken():
    rated = parse_rig(HEAD + (ROPE % Z).replace("path", "mbs_kN = 2000\npath"), "r.toml")
    assert rated.ropes[0].mbs_N == 2e6
