"""A wrong rig file gets one line: which table or station, what is wrong, what to write instead."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rigs import NINE, THREE, refused, rig

from analysis.rig_file.load import load_rig, parse_rig
from logger.errors import RigFault

HEAD = "anchor_to_load_m = 12.0\n"
ROPE = '[[rope]]\nname = "main"\npath = [ %s ]\n'
Z = '{ tie = "load" }, { grab = "G1", at_m = 9 }, { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" }'


def line(text: str) -> str:
    with pytest.raises(RigFault) as caught:
        parse_rig(text, "r.toml")
    shown = str(caught.value)
    assert "\n" not in shown and shown.startswith("r.toml: ")
    return shown


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x = [\ny", ["not valid TOML", "line 2"]),
        ("", ["anchor_to_load_m", "missing"]),
        (HEAD, ["rope", "there is no rope"]),
        ("anchor_to_laod_m = 12.0\n" + ROPE % Z, ['unknown key "anchor_to_laod_m"', "write anchor_to_load_m"]),
        (HEAD + ROPE % Z.replace("at_m", "at_n"), ['unknown key "at_n"', "station 2", "write at_m"]),
        (HEAD + "titel = 'x'\n" + ROPE % Z, ['unknown key "titel"', "write title"]),
        (HEAD + "[defaults]\npully_efficiency = 0.9\n" + ROPE % Z, ["pully_efficiency", "write pulley_efficiency"]),
        (HEAD + "[defaults]\npulley_efficiency = 1.2\n" + ROPE % Z, ["defaults: pulley_efficiency", "out of range"]),
        (HEAD + "[defaults]\npulley_efficiency = nan\n" + ROPE % Z, ["not a finite number"]),
        (HEAD + "[pulley.A9]\nefficiency = 0.9\n" + ROPE % Z, ["pulley.A9", "no pulley of this name", "[pulley.A1]"]),
        (HEAD + "[grab.G1]\nslip_at_kN = 4\n" + ROPE % Z, ["slip_at_kN", "slips_at_kN"]),
        (HEAD + "[load]\nkind = 'hangin'\n" + ROPE % Z, ['write "hanging"']),
        (HEAD + "[load]\nmass_kg = 100\n" + ROPE % Z, ["load: kind", "missing"]),
        (HEAD + "[load]\nresistance_N = 100\nmass_kg = 100\n" + ROPE % Z, ["mass_kg", "beside resistance_N"]),
        (HEAD + "[gear.K]\ncarries = ['A2']\n" + ROPE % Z, ["gear.K", '"A2"', '"A1"']),
        (HEAD + "[gear.K]\ncarries = ['K']\n" + ROPE % Z, ["carries itself"]),
        (HEAD + ROPE % Z.replace('"T1"', '"A1"'), ['"A1"', "already names a pulley"]),
        (HEAD + ROPE % Z.replace('"T1"', '"load"'), ["reserved"]),
        (HEAD + ROPE % Z.replace('on = "G1"', 'on = "G7"'), ["station 4", 'no body "G7"', '"G1"']),
        (HEAD + ROPE % Z.replace('on = "G1"', 'on = "A1"'), ['"A1" is a pulley, not a body']),
        (HEAD + ROPE % Z.replace("at_m = 9", "at_m = 13"), ["G1", "outside its own strand"]),
        (HEAD + ROPE % Z.replace("at_m = 9", "at_m = 0.2"), ["cannot move", "0.2 m apart"]),
        (HEAD + ROPE % Z.replace(', at_m = 9', ""), ["station 2", "at_m", "missing"]),
        (HEAD + ROPE % Z.replace("grab", "grap"), ["station 2", '"grap"', '"grab"']),
        (HEAD + ROPE % Z.replace(', { haul = "team" }', ""), ["cannot end at a pulley"]),
        (HEAD + ROPE % (Z + ', { tie = "load" }'), ["haul"]),
        (HEAD + "[further_anchor.P]\nat_m = 3\n" + ROPE % Z, ["P", "unloaded"]),
        (HEAD + "[plate.B]\nat_m = 3\n" + ROPE % Z, ["B", "unloaded"]),
        (HEAD + "rope = 7\n", ["rope", "there is no rope"]),
        (HEAD + "pulley = 7\n" + ROPE % Z, ["pulley", "[pulley.NAME]"]),
        (HEAD + ROPE % "7, 8", ["must be a table"]),
        (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "bowlin" }'),
         ["station 1: knot", '"bowlin"', 'write "bowline"', "figure-eight", "tensionless"]),
        (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "reef" }'), ['"reef"', "table of knots; knots are figure-eight"]),
        (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "bowline", strength = 0.5 }'), ["knot", "cannot stand beside strength"]),
        (HEAD + (ROPE % Z).replace("path", "mbs_kN = 30000\npath"), ["rope 1: mbs_kN", "did you mean N, not kN? write mbs_kN = 30"]),
        (HEAD + "[pulley.A1]\nwll_kN = 8000\n" + ROPE % Z, ["pulley.A1: wll_kN", "did you mean N, not kN? write wll_kN = 8"]),
        (HEAD + "[grab.G1]\nslips_at_kN = 4000\n" + ROPE % Z, ["grab.G1: slips_at_kN", "write slips_at_kN = 4"]),
        (HEAD + "[grab.G1]\nslips_at_u_kN = 1\n" + ROPE % Z, ["slips_at_u_kN", "needs slips_at_kN"]),
        (HEAD + "[grab.G1]\nslips_at_kN = 0.5\nslips_at_u_kN = 0.3\n" + ROPE % Z, ["slips_at_u_kN", "2 u leaves nothing of 0.5 kN"]),
    ],
)  # fmt: skip
def test_one_clear_line(text, words):
    shown = line(text)
    for word in words:
        assert word in shown, shown


class TestRigsThatCannotWork:
    def test_tied_fast(self):
        shown = refused("tie:load tie:anchor | tie:load grab:G@50 pulley:A@anchor pulley:T@G haul")
        assert "cannot move" in shown and "strand load>anchor" in shown

    def test_moves_the_load_away(self):
        shown = refused("tie:load pulley:A@B haul", extra="[further_anchor.B]\nat_m = 200\n")
        assert "away from the anchor" in shown

    def test_plate_that_nothing_ties(self):
        shown = refused("tie:load pulley:A@anchor pulley:B@P haul", extra="[plate.P]\nat_m = 50\n")
        assert "P: " in shown and "free to move" in shown

    def test_grab_that_carries_nothing(self):
        assert "G1: carries nothing" in refused("tie:load grab:G1@50 pulley:A@anchor haul:180")

    def test_strand_that_would_push(self):
        # the plate is pulled toward the anchor by both ropes; nothing pulls it back but rope that can't
        shown = refused("tie:load pulley:A@P haul | tie:P tie:anchor")
        assert "P" in shown

    def test_load_that_is_not_in_the_haul(self):
        shown = refused(
            "tie:anchor pulley:A@B haul | tie:load tie:C",
            extra="[further_anchor.B]\nat_m = 20\n[further_anchor.C]\nat_m = 30\n",
        )
        assert "test-rig.toml" in shown

    def test_two_hauls(self):
        text = (
            HEAD + ROPE % Z + (ROPE % '{ tie = "load" }, { haul = "crew" }').replace("main", "aux")
        )
        assert "the rig has 2 hauls" in line(text)


def test_missing_folder_and_binary_files(tmp_path):
    for path, word in [(tmp_path / "no.toml", "no such file"), (tmp_path, "folder")]:
        with pytest.raises(RigFault, match=word):
            load_rig(path)
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"title = \xff\xfe")
    with pytest.raises(RigFault, match="not UTF-8"):
        load_rig(binary)


def test_every_key_of_the_file_is_taken():
    """The rig of the format's description, every key of it."""
    rig(NINE, top='title = "t"\nnote = "n"\nsource = "s"\n')
    rig(THREE)


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
