"""`haul convert` as people read it, its JSON and its exit status."""

import json

from support.places import SHELF

FILES = {path.stem: path for path in SHELF}


def test_the_list_can_be_printed_and_says_what_the_json_says(haul):
    said = haul("convert", FILES["3-on-4"], FILES["3-on-3-on-2"])
    made = json.loads(haul("convert", FILES["3-on-4"], FILES["3-on-3-on-2"], "--json").out)
    assert said.status == 0
    # interface section 7
    assert list(made) == ["moves", "add", "remove", "rope_more_m", "ideal_ma", "stop_hauling_at", "loaded_more", "warnings"]  # fmt: skip
    assert all(list(one) == ["kind", "text", "held_by", "rig"] for one in made["moves"])
    assert "12.0 : 1 to 18.0 : 1, 4 moves" in said.out
    for number, move in enumerate(made["moves"], 1):
        assert f"[ ] {number}  {move['text']}" in said.out
        assert move["held_by"] == "C1"
    assert "Fetch: 1 grab" in said.out and "Put away: nothing" in said.out


def test_no_way_is_exit_1_with_the_reason_in_text_and_json(haul):
    said = haul("convert", FILES["3"], FILES["3-on-2"])
    made = haul("convert", FILES["3"], FILES["3-on-2"], "--json")
    assert said.status == made.status == 1
    assert "fails at move" in said.out and said.err == ""
    assert (
        json.loads(made.out)["moves"] == []
        and "fails at move" in json.loads(made.out)["warnings"][0]
    )


def test_us_units_on_the_terminal_never_in_json(haul):
    pair = FILES["3-on-4"], FILES["3-on-3-on-2"]
    assert "ft from the anchor" in haul("convert", *pair, "--units", "us").out
    assert (
        haul("convert", *pair, "--units", "us", "--json").out
        == haul("convert", *pair, "--json").out
    )


def test_the_same_rig_needs_nothing(haul):
    said = haul("convert", FILES["3"], FILES["3"])
    assert said.status == 0 and "Nothing to do" in said.out
