"""Tables of calibration points: each fault names its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.calibration import calibration
from logger.calibration.iso376_e74 import terms
from logger.calibration.points_file import MOST_POINTS, read_points
from logger.errors import SensorsFault


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1: there is no header"),
        ("1,2\n2,3\n", "line 1: the first line holds numbers, not the header"),
        ("applied,reding\n", 'line 1: unknown column "reding"; write reading'),
        ("Applied,reading\n", 'unknown column "Applied"; write applied'),
        ("applied;reading\n1;2\n", "there is no comma between the columns"),
        ("applied,run\n1,2\n", "one column reading, there are 0"),
        ("applied,reading,reading\n1,2,3\n", "one column reading, there are 2"),
        ("applied,reading\n", "there are no points"),
        ("applied,reading\n1,x\n", 'line 2: reading "x" is not a number'),
        ("applied,reading\n1,nan\n", "line 2"),
        ("applied,reading\n1,1\n\n2,1e999\n", "line 4.*too large"),
        ("applied,reading\n1,1e-300\n", "line 2.*too small"),
        ("applied,reading\n1_0,1\n", 'line 2: applied "1_0"'),
        ("applied,reading\n\u0661,1\n", "line 2: applied"),
        ("applied,reading\n1," + "1" * 5000 + "\n", "line 2: reading"),
        ("applied,reading\n1,1e" + "1" * 5000 + "\n", "line 2: reading"),
        ("applied,reading\n1\n", "line 2: 1 cell, but the header has 2"),
        ("applied,reading\n1,5,7\n", "line 2: 3 cells.*a point in numbers"),
        ('applied,reading\n"1,5",7\n', "line 2: applied .*write 1.5"),
        ("applied,reading\n5 kg,7\n", "line 2.*without a unit"),
        ("applied,reading\n,7\n", "line 2: the cell of applied is empty"),
        ("applied,reading,run\n1,7,\n", "line 2: the cell of run is empty"),
        ("applied,reading,applied_u\n1,7,-1\n", "line 2: applied_u.*negative"),
        ('applied,reading\n1,"7\n', "line 2"),
        ("applied,reading\n" + "1,2\n" * (MOST_POINTS + 1), "more than 10000 points"),
        ("applied,reading\n1,\0\n", "line 2"),
    ],
)
def test_a_table_of_points_names_the_line_at_fault(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "p.csv").write_text(text, "utf-8", newline="")
    with pytest.raises(SensorsFault, match=said) as caught:
        read_points(tmp_path / "p.csv")
    assert str(caught.value).startswith(str(tmp_path / "p.csv")) and "\n" not in str(caught.value)
    assert caught.value.cure


@given(
    data=st.binary(max_size=200)
    | st.text('0123456789,.e+-\n\r"; applied,reading', max_size=80).map(
        lambda s: ("applied,reading\n" + s).encode()
    )
)
@settings(max_examples=300, deadline=None)
def test_any_bytes_give_points_or_one_fault(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        points = read_points(path)
        for degree in (1, 2, 3):
            curve = calibration.fit(
                points.applied, points.reading, degree, resolution=points.resolution
            )
            assert np.isfinite(curve.coefficients).all() and np.isfinite(curve.covariance).all()
            for term in terms(curve, points.applied, points.reading, points.run):
                assert (term.value is None) == bool(term.why_not)
                assert term.value is None or np.isfinite(term.value)
    except SensorsFault as fault:
        assert "\n" not in str(fault)


def test_a_table_in_windows_line_ends_with_runs_and_doubts(tmp_path: Path) -> None:
    (tmp_path / "p.csv").write_bytes(
        b"\xef\xbb\xbfapplied, reading ,run,applied_u\r\n0,8000,a,0\r\n\r\n1e3, 8500.5 ,a,2.5\r\n"
    )
    points = read_points(tmp_path / "p.csv")
    assert (points.applied, points.reading) == ((0.0, 1000.0), (8000.0, 8500.5))
    assert (points.run, points.applied_u) == (("a", "a"), (0.0, 2.5))
    assert points.resolution == pytest.approx(0.1)
