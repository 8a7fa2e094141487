"""A rig made into another one in the middle of a haul: each chapter's efficiency is covered by its own interval, and the load's
progress runs through, in review and live alike.  Sessions of `support.converted_sessions`.

Bounds are binomial, as in test_disturbances: misses may be as many as 5 % gives in all but 1 of 200 runs.
Figures of many seeds: see the docstring of the test marked `long`.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from support.binomial import most
from support.converted_sessions import ConvertedSession, converted_session, followed_live

from analysis.review.reviewed_session import whole_session

TWELVE, EIGHTEEN = "3-on-4", "3-on-3-on-2"
WAYS = {
    "to more": (TWELVE, EIGHTEEN),
    "to less": (EIGHTEEN, TWELVE),
    "three rigs": ("3", "3-on-3", "5"),
}
MISSED = 0.05  # of U95 by its definition
OFF_SHARE, OFF_M = (
    0.03,
    0.05,
)  # of the load's way: three times the counters' stated 1 %, and the rope's stretch


@dataclass(frozen=True)
class Judgement:
    """How one chapter came out."""

    inside: bool | None  # whether U95 holds the true efficiency; None: no number
    off_m: float  # how far the load's way at its end is beyond what it may be
    way_m: float  # load's true way at its end
    width: float  # U95 / efficiency


def off_m(session: ConvertedSession, chapter: int, given_m: float) -> float:
    """How far a load's way is beyond the least and the most that it may be, m."""
    least_m, most_m = session.load_way_m(chapter)
    return max(least_m - given_m, given_m - most_m, 0.0)


def judged_chapters(session: ConvertedSession) -> list[Judgement]:
    review = whole_session(session.path).review
    assert len(review["chapters"]) == len(session.chapters)
    rows = []
    for k, (chapter, true) in enumerate(zip(review["chapters"], session.chapters, strict=True)):
        found = chapter["measured"]["efficiency"]
        inside = None if found is None else abs(found["value"] - true.efficiency) <= found["U95"]
        if found is None:
            assert chapter["measured"]["why_not"], "neither a number nor a reason"
        rows.append(
            Judgement(
                inside=inside, off_m=off_m(session, k, chapter["load_to_m"]), way_m=true.load_to_m,
                width=0.0 if found is None else found["U95"] / found["value"],
            )
        )  # fmt: skip
    return rows


def check_many(folder, way, seeds):
    rows = [
        row
        for seed in seeds
        for row in judged_chapters(converted_session(folder / f"{seed}", seed, WAYS[way]))
    ]
    told = [row for row in rows if row.inside is not None]
    missed = sum(not row.inside for row in told)
    print(way, len(rows), "chapters", len(told), "told", missed, "missed")
    assert len(told) >= 0.8 * len(rows)
    assert missed <= most(len(told), MISSED)
    far = [row for row in rows if row.off_m > OFF_SHARE * row.way_m + OFF_M]
    assert len(far) <= most(len(rows), MISSED), far


@pytest.mark.parametrize("way", WAYS)
def test_live_says_what_the_review_says(tmp_path, way):
    """Chapter by chapter the same numbers; the load's progress is the true one; moves are listed and none is a reset."""
    session = converted_session(tmp_path / "s", 7, WAYS[way])
    review = whole_session(session.path).review
    live = followed_live(session.path, 1.7)
    shown = live.estimate().json
    assert shown["chapters"] == review["chapters"]
    assert [e["kind"] for e in review["events"]].count("move") == sum(session.moves)
    # rope fed back before a rig event belongs to the conversion
    assert [c["resets"] for c in review["chapters"]] == [c.strokes - 1 for c in session.chapters]
    assert [len(c["strokes"]) for c in review["chapters"]] == [c.strokes for c in session.chapters]
    moved_m = live.moment(1e9).moved_m
    last = len(session.chapters) - 1
    assert moved_m == pytest.approx(review["chapters"][-1]["load_to_m"], abs=0.01)
    assert off_m(session, last, moved_m) <= OFF_SHARE * moved_m + OFF_M


@pytest.mark.many
@pytest.mark.parametrize("way", WAYS)
def test_twenty_conversions_are_covered(tmp_path, way):
    check_many(tmp_path, way, range(20))


@pytest.mark.long
@pytest.mark.parametrize("way", WAYS)
def test_two_hundred_conversions_are_covered(tmp_path, way):
    """Found on 2026-12-01: to more 95.8 % and to less 95.5 % of 400 chapters, three rigs 93.2 % of 599 (41 missed; 47, and more
    than allowed, before the haul force was bounded by its means over rope and over time where no counter is at the load).
    Seeds 3000 to 3199, used for nothing else: 95.3, 95.5 and 96.7 %.  The errors of the devices and of the stated load
    hold through a session, so its chapters are missed together: of the 21 sessions with a miss 10 miss all three, and the
    count scatters more than that of independent ones."""
    check_many(tmp_path, way, range(1000, 1200))
