"""The examples of the interface document, run: what other programs rely on."""

import json
import tomllib

import pytest

from dashboard.cli import main


@pytest.fixture
def predicted(interface, capsys):
    assert main(["predict", str(interface / "rig.toml"), "--json"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return json.loads(out.out)


def test_the_rig_of_section_1_predicts_the_object_of_section_5(predicted, example, missing):
    # resets are named after the grabs of the rig, so they are the rig's keys, not the interface's
    assert missing(example("predict"), predicted) == []
    assert list(predicted) == list(example("predict"))


def test_its_values_are_those_of_section_5(predicted):
    assert predicted["ideal_ma"] == pytest.approx(9.0)
    assert predicted["travel_ratio"] == pytest.approx(9.0)
    assert predicted["model_ma"] == pytest.approx(7.3441)  # (1 + e + e^2)^2 at e = 0.90
    assert predicted["efficiency"] == pytest.approx(0.816, abs=5e-4)
    assert predicted["stroke"]["haul_travel_m"] == pytest.approx(23.1)
    assert predicted["stroke"]["load_travel_m"] == pytest.approx(2.567, abs=5e-4)
    assert predicted["stroke"]["stopped_by"] == ["G2", "anchor"]
    first, haul = predicted["strands"][0], predicted["strands"][-1]
    assert (first["from"], first["to"]) == ("load", "G1")
    assert (haul["ideal"], haul["model"]) == (pytest.approx(1.0), pytest.approx(1.0))
    hold = predicted["hold"][0]
    assert (hold["name"], hold["ideal"]) == ("C1", pytest.approx(9.0))
    assert hold["covers_resets"] == ["G1", "G2"]


def test_the_optional_tables_of_section_1_are_understood(interface, tmp_path, capsys):
    tables = (interface / "rig-tables.toml").read_text("utf-8")
    # the example lists an edge, a second anchor and a plate that its path does not use
    for name in ("edge.E1", "further_anchor.P1", "plate.B1"):
        start = tables.index(f"[{name}]")
        tables = tables[:start] + tables[tables.index("\n[", start) + 1 :]
    rig = tmp_path / "rig.toml"
    rig.write_text((interface / "rig.toml").read_text("utf-8") + tables, "utf-8")
    assert main(["predict", str(rig), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    limit = {row["name"]: row["limit_N"] for row in found["elements"]}
    assert limit["A1"] == pytest.approx(3600.0)  # 36 kN / 10
    assert limit["G1"] == pytest.approx(2000.0)  # 20 kN / 10, below 7 kN where it slips
    assert limit["K1"] == pytest.approx(2200.0)
    assert limit["load"] == pytest.approx(20000.0)  # a WLL is used as it is


def test_the_channel_of_section_2_is_understood(interface, tmp_path):
    from logger.calibration.calibration import fit, save
    from logger.channels.sensors_file import for_recording, load_sensors

    text = (interface / "sensors.toml").read_text("utf-8")
    sensors = tmp_path / "sensors.toml"
    sensors.write_text(text, "utf-8")
    save(fit([0, 500, 1000, 2000], [0.1, 500.4, 1000.2, 2000.3]), tmp_path / "cell-1.toml")
    loaded = load_sensors(sensors)
    for_recording(loaded)
    written = tomllib.loads(text)["channel"][0]
    channel = loaded.by_name("haul_force")
    for key in ("quantity", "at", "port", "baud", "format", "id", "unit", "capacity", "stop_at"):
        assert getattr(channel, key) == written[key]
