"""Terms of ISO 376 and ASTM E74, by hand on a small table: a boatyard's 5 kN cell, loaded twice.

The formulas of ISO 376 (2011) are from memory; LLF is ASTM E74-18, 7.1.2 and 8.5.
"""

from __future__ import annotations

import math

import pytest

from logger.calibration.calibration import fit
from logger.calibration.iso376_e74 import Term, terms

# run 1 rises to 4000 N and comes back to nothing; run 2 only rises
APPLIED = [0, 1000, 2000, 4000, 2000, 1000, 0, 0, 1000, 2000, 4000]
READS = [10.0, 110.0, 210.5, 411.0, 211.5, 110.8, 10.4, 10.2, 110.5, 210.4, 411.4]
RUN = ["1"] * 7 + ["2"] * 4


def terms_by_key(
    applied: list[float] = APPLIED, reads: list[float] = READS, run: list[str] | None = RUN
) -> dict[str, Term]:
    return {term.key: term for term in terms(fit(applied, reads), applied, reads, run)}


def test_repeatability_is_the_worst_spread_of_the_rising_runs() -> None:
    # deflections at 1000 N: 100.0 and 100.3; 2000 N: 200.5, 200.2; 4000 N: 401.0, 401.2
    by_hand = 100 * 0.3 / 100.15
    term = terms_by_key()["repeatability_percent"]
    assert term.value == pytest.approx(by_hand)
    assert "1000" in term.note and "ISO 376" in term.name


def test_reversibility_compares_the_same_force_falling_and_rising() -> None:
    # run 1 at 1000 N: 100.8 falling, 100.0 rising; at 2000 N: 201.5 and 200.5
    assert terms_by_key()["reversibility_percent"].value == pytest.approx(100 * 0.8 / 100.0)


def test_zero_return_is_what_stays_after_unloading() -> None:
    assert terms_by_key()["zero_return_percent"].value == pytest.approx(100 * 0.4 / 401.0)


def test_lower_limit_is_in_newtons_and_no_class_begins_below_the_least_force() -> None:
    terms_found = terms_by_key()
    curve = fit(APPLIED, READS)
    zero = (10.0 + 10.4 + 10.2) / 3
    ratio = [a / (r - zero) for a, r in zip(APPLIED, READS, strict=True) if a]
    llf = 2.4 * curve.residual_sd * sum(ratio) / len(ratio)
    assert terms_found["llf"].value == pytest.approx(llf)
    assert terms_found["class_a_from"].value == pytest.approx(max(1000.0, 400 * llf))
    assert terms_found["class_aa_from"].value is None
    assert "above the greatest force" in terms_found["class_aa_from"].why_not
    fine = [10 + a / 10 + 1e-4 * (-1) ** k for k, a in enumerate(APPLIED)]
    assert terms_by_key(reads=fine)["class_a_from"].value == 1000.0


def test_a_raw_count_with_a_large_offset_is_no_deflection() -> None:
    """Without a point at 0 the offset comes from the curve, and that is said."""
    applied = [1000.0, 2000.0, 3000.0, 4000.0]
    plain = [100.0, 200.1, 300.0, 400.0]
    shifted = [8000.0 + r for r in plain]
    assert terms_by_key(applied, plain, None)["llf"].value == pytest.approx(
        terms_by_key(applied, shifted, None)["llf"].value, rel=1e-3
    )
    assert "c0" in terms_by_key(applied, shifted, None)["llf"].note


def test_a_coarse_reading_sets_the_lower_limit() -> None:
    applied = [0.0, 100.0, 200.0, 300.0]
    curve = fit(applied, [0.0, 10.0, 20.0, 30.0], resolution=1.0)
    llf = {term.key: term for term in terms(curve, applied, [0.0, 10.0, 20.0, 30.0], None)}["llf"]
    assert llf.value == pytest.approx(10.0)  # one step of the reading, in force


@pytest.mark.parametrize(
    ("rows", "key", "why"),
    [
        (slice(0, 4), "repeatability_percent", "one run"),
        (slice(0, 4), "reversibility_percent", "no run has falling forces"),
        (slice(0, 4), "zero_return_percent", "before and after"),
        (slice(1, 6), "zero_return_percent", "before and after"),
    ],
)
def test_what_the_points_do_not_show_is_not_known(rows: slice, key: str, why: str) -> None:
    term = terms_by_key(APPLIED[rows], READS[rows], RUN[rows])[key]
    assert term.value is None and why in term.why_not


def test_loadings_that_are_not_told_apart_give_no_reversibility() -> None:
    unnamed = terms_by_key(run=None)
    assert "no column run" in unnamed["repeatability_percent"].why_not
    assert "more than once" in unnamed["reversibility_percent"].why_not


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_tension_and_compression_give_the_same_figures(sign: float) -> None:
    plain = terms_by_key()
    other = terms_by_key([sign * a for a in APPLIED], [sign * r for r in READS])
    for key, term in plain.items():
        assert (term.value is None) == (other[key].value is None)
        if term.value is not None and key != "zero_return_percent":
            assert math.isclose(term.value, other[key].value or 0.0, rel_tol=1e-9)
