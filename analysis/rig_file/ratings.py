"""Reads what things are rated for: breaking strength, working load limit, where a hitch slips."""

from __future__ import annotations

import sys
from dataclasses import replace

from analysis.rig.rig import Rating
from analysis.rig_file.rig_keys import MOST_KN, MOST_SLIP_KN
from logger.toml_tables import Table

MOST_FLOAT = sys.float_info.max  # by definition; a whole number may be beyond it


def read_rating(table: Table) -> Rating:
    """Read breaking strength, working load limit and mark of an item; raises the table's fault."""
    return Rating(
        mbs_N=kilonewtons(table, "mbs_kN"),
        wll_N=kilonewtons(table, "wll_kN"),
        item=table.text("item") or "",
    )


def read_hitch_rating(table: Table) -> Rating:
    """Read the rating of a grab or a capture, with where it slips or damages the rope.

    Raises the table's fault.
    """
    rating = read_rating(table)
    slips_N = kilonewtons(table, "slips_at_kN", MOST_SLIP_KN)
    u_N = kilonewtons(table, "slips_at_u_kN", MOST_SLIP_KN)
    damages_N = kilonewtons(table, "damages_rope_at_kN", MOST_SLIP_KN)
    if u_N is not None and slips_N is None:
        raise table.fault(
            "slips_at_u_kN", "needs slips_at_kN beside it", "write slips_at_kN = the force in kN"
        )
    if u_N is not None and slips_N is not None and 2 * u_N >= slips_N:
        raise table.fault(
            "slips_at_u_kN",
            f"is {u_N / 1000:g}, so that 2 u leaves nothing of {slips_N / 1000:g} kN",
            "take a hitch or device that surely holds, or state what is known of this one",
        )
    return replace(rating, slips_N=slips_N, slips_u_N=u_N, damages_N=damages_N)


def kilonewtons(table: Table, key: str, most_kN: float = MOST_KN) -> float | None:
    """The force under a key in kN, N; None where it is absent.

    Raises the table's fault, which asks back, for more than `most_kN`, kN.
    """
    written = table.spelling(key)
    stated = table.raw(written.name)
    if isinstance(stated, int | float) and most_kN / written.factor < stated < MOST_FLOAT:
        value = float(stated) * written.factor
        raise table.fault(
            written.name,
            too_much(value, most_kN),
            in_newtons(value, f"{key} =")
            if written.unit == "kN"
            else f"check the number and its unit, {written.unit}",
        )
    read = table.number(key)
    return None if read is None else read * 1000.0


def too_much(value_kN: float, most_kN: float = MOST_KN) -> str:
    """What is wrong with a rating above `most_kN`, kN."""
    return f"{value_kN:g} kN is more than anything here is rated for ({most_kN:g} kN at most)"


def in_newtons(value_kN: float, written: str) -> str:
    """The cure for a rating in N under a key in kN.

    value_kN: the number as written; written: what stands before it, "mbs_kN =".
    """
    return f"did you mean N, not kN? write {written} {value_kN / 1000.0:g}"
