"""A table becomes a session, or one line says which line of it is wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.channels import channel
from support.yard import Yard

from logger.errors import UserFault
from logger.session.csv_import import import_table
from logger.session.reader import open_session, read_all
from logger.session.verify import verify


def bring(yard: Yard, text: str | bytes, name: str = "session") -> Path:
    path = yard.folder / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return import_table(path, yard.rig, yard.sensors_file, yard.folder / name)


def test_an_empty_cell_is_no_reading_and_numbers_stay_as_written(
    yard: Yard, force: str, travel: str
) -> None:
    yard.write(force + travel)
    folder = bring(yard, "haul_travel,time_s,haul_force\n0.50,0,1e3\n,0.5,\n0.75,0.5,\n,1,+12.\n")
    assert (folder / "readings.csv").read_text().splitlines()[1:] == [
        "0,haul_travel,0.50",
        "0,haul_force,1e3",
        "0.5,haul_travel,0.75",
        "1,haul_force,+12.",
    ]
    block = read_all(folder)
    assert block.events[0].time_s == 0.0 and block.events[-1].time_s == 1.0
    assert verify(folder).state == "complete"


def test_an_empty_cell_at_the_beginning_of_a_line(yard: Yard, force: str) -> None:
    yard.write(force)
    folder = bring(yard, "haul_force,time_s\n1,0\n,0.5\n2,1\n")
    assert (folder / "readings.csv").read_text().splitlines()[1:] == [
        "0,haul_force,1",
        "1,haul_force,2",
    ]


@pytest.mark.parametrize(
    "text",
    [
        "time_s,haul_force\r\n0,1\r\n1,2\r\n",
        "\ufefftime_s,haul_force\n0,1\n1,2",
        'time_s,"haul_force"\n"0", 1 \n1,2\n\n',
        "time_s,haul_force\n0,1\n,\n1,2\n",
    ],
)
def test_what_spreadsheets_write_is_taken(yard: Yard, force: str, text: str) -> None:
    yard.write(force)
    assert read_all(bring(yard, text)).readings["haul_force"].reading.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("time_s,haul_force\n", "no rows"),
        ("haul_force\n1\n", "line 1: there is no column time_s"),
        ("time,haul_force\n0,1\n", 'rename "time"'),
        ("time_s,haul_forse\n0,1\n", 'rename it "haul_force"'),
        ("time_s\n0\n", 'no column for channel "haul_force"'),
        ("time_s,haul_force,haul_force\n", "there are two columns"),
        ("time_s,haul_force\n0,1\n1,nan\n", "line 3: haul_force.*not a finite number"),
        ("time_s,haul_force\n0,1\n1,inf\n", "line 3"),
        ("time_s,haul_force\n0,1\n1,1_0\n", "line 3"),
        ("time_s,haul_force\n0,1\n0.5,x\n", "line 3"),
        ("time_s,haul_force\n0,1\n0.5,1,5\n", "line 3: has 3 cells"),
        ("time_s,haul_force\n0,1\n2,1\n1,1\n", "line 4: time_s goes back from 2 to 1"),
        ("time_s,haul_force\n0,1\n,1\n", "line 3: time_s"),
        (b"time_s,haul_force\n0,1\n\xff,1\n", "line 3: is not UTF-8"),
        (b"\0\0\0", "line 1"),
        ('time_s,haul_force\n0,"1\n', "line 2"),
    ],
)
def test_a_wrong_table_is_told_with_its_line_and_leaves_nothing(
    yard: Yard, force: str, text: str | bytes, said: str
) -> None:
    yard.write(force)
    with pytest.raises(UserFault, match=said) as caught:
        bring(yard, text)
    assert "\n" not in str(caught.value)
    assert not yard.out.exists()


def test_a_fault_late_in_a_long_table_leaves_nothing(yard: Yard, force: str) -> None:
    yard.write(force)
    rows = "".join(f"{i},{i % 997}.25\n" for i in range(500_000))
    with pytest.raises(UserFault, match="line 500002"):
        bring(yard, "time_s,haul_force\n" + rows + "1,1\n")
    assert not yard.out.exists()


def test_a_filled_folder_is_refused(yard: Yard, force: str) -> None:
    yard.write(force)
    yard.out.mkdir()
    (yard.out / "mine.txt").write_text("keep")
    with pytest.raises(UserFault, match="not empty"):
        bring(yard, "time_s,haul_force\n0,1\n")
    assert (yard.out / "mine.txt").read_text() == "keep"


def test_the_truth_of_a_simulation_is_kept(yard: Yard, force: str) -> None:
    yard.write(force)
    (yard.folder / "t.csv").write_text("time_s,haul_force\n0,1\n")
    folder = import_table(
        yard.folder / "t.csv", yard.rig, yard.sensors_file, yard.out, {"actual_ma": 2.71}
    )
    assert open_session(folder).simulation_true == {"actual_ma": 2.71}


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_round_trip(yard: Yard, force: str, travel: str, data: Any) -> None:
    import shutil

    yard.write(force + travel)
    cell = st.one_of(st.none(), st.floats(-1e9, 1e9).map(lambda v: round(v, 4)))
    rows = data.draw(
        st.lists(st.tuples(st.floats(0, 1e6).map(lambda v: round(v, 3)), cell, cell), min_size=1)
    )
    rows.sort(key=lambda row: row[0])
    text = "time_s,haul_force,haul_travel\n" + "".join(
        ",".join("" if v is None else f"{v:.4f}" for v in row) + "\n" for row in rows
    )
    folder = bring(yard, text, "round")
    block = read_all(folder)
    for place, name in ((1, "haul_force"), (2, "haul_travel")):
        kept = [(row[0], row[place]) for row in rows if row[place] is not None]
        found = block.readings[name]
        assert list(zip(found.time_s.tolist(), found.reading.tolist(), strict=True)) == kept
    shutil.rmtree(folder)


def test_a_session_keeps_its_own_copy_of_a_calibration(yard: Yard) -> None:
    from logger.calibration import calibration

    (yard.folder / "cells").mkdir()
    (yard.folder / "job").mkdir()
    curve = calibration.fit([0.0, 1.0, 2.0, 3.0], [10.0, 20.1, 30.0, 40.0], 1)
    calibration.save(curve, yard.folder / "cells" / "cell 1.toml")
    (yard.folder / "job" / "s.toml").write_text(
        channel(
            "f", "force", format="json", id="f", unit="count", calibration="../cells/cell 1.toml"
        )
    )
    (yard.folder / "t.csv").write_text("time_s,f\n0,1\n")
    yard.rig.write_text("")
    folder = import_table(yard.folder / "t.csv", yard.rig, yard.folder / "job" / "s.toml", yard.out)
    (yard.folder / "cells" / "cell 1.toml").unlink()
    assert open_session(folder).sensors.channels[0].calibration == curve
    assert [p.name for p in (folder / "calibration").iterdir()] == ["cells_cell_1.toml"]
    assert verify(folder).state == "complete"
