"""The sample sessions: sealed as they were recorded, small, and reviewed against their truth."""

import pytest
from support.places import ROOT, SAMPLES

from analysis.review.review import review_session
from logger.session.reader import open_session
from logger.session.verify import verify


def test_three_or_more_sessions_under_one_megabyte_in_all():
    assert len(SAMPLES) >= 3
    assert (
        sum(f.stat().st_size for f in (ROOT / "sample_logs").rglob("*") if f.is_file()) < 1_000_000
    )


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_complete_and_within_what_is_claimed(path):
    assert verify(path).state == "complete"
    found = review_session(path)
    assert found["state"] == "sealed" and found["strokes"]
    truth = open_session(path).simulation_true
    if truth is not None:
        efficiency = found["measured"]["efficiency"]
        assert abs(efficiency["value"] - truth["efficiency"]) <= efficiency["U95"]
