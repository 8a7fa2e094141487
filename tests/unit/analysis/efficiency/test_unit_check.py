"""A cell in another unit than the file says, and one with the wrong sign, are named as such."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.readings import block, pull, review, sensors, three

from logger.channels.channel import Sensors
from logger.device_units import KGF_N, LBF_N, to_si

# three(): resistance 1000 N, pulleys of 0.9: the haul force is 1000 / 2.71 = 369 N
HAUL_N = 369.0


def codes(reviewed: dict, code: str) -> list[dict]:
    return [m["values"] for m in reviewed["messages"] if m["code"] == code]


def hauled(haul, cell=None):
    t, x, force = pull(50.0, haul)
    more = {} if cell is None else {"cell": (t, cell / haul * force)}
    return block(haul=(t, force), rope=(t, x), **more)


@pytest.mark.parametrize(
    ("stated", "sent", "size"),
    # NIST SP 811, appendix B
    [("N", "kg", KGF_N), ("N", "lbf", LBF_N), ("kN", "N", 1e-3), ("kg", "N", 1 / KGF_N), ("lbf", "N", 1 / LBF_N)],
)  # fmt: skip
@pytest.mark.parametrize("off", [0.8, 1.0, 1.25])
def test_a_haul_cell_in_another_unit_names_it(
    stated: str, sent: str, size: float, off: float
) -> None:
    """The device sends the right force in its own unit, which the file does not say."""
    from_device = HAUL_N * off / to_si(sent)
    assert to_si(sent) / to_si(stated) == pytest.approx(size)
    haul, rope = sensors("haul", "rope", haul="u = 0.01").channels
    made = Sensors((replace(haul, unit=stated), rope), "", "sensors.toml")
    reviewed = review(three(1000, 10), made, hauled(from_device))
    (values,) = codes(reviewed, "unit_looks_wrong")
    assert (values["sent"], values["unit"], values["cell"]) == (sent, stated, "haul")
    assert f"looks like {sent}, not {stated}" in " ".join(reviewed["warnings"])


@pytest.mark.parametrize("off", [0.45, 0.6, 1.0, 1.6, 2.2])
def test_friction_and_a_guessed_load_are_no_unit(off: float) -> None:
    reviewed = review(
        three(1000, 10), sensors("haul", "rope", haul="u = 2.0"), hauled(HAUL_N * off)
    )
    assert codes(reviewed, "unit_looks_wrong") == []


def test_two_cells_in_two_units_are_named_without_a_load_in_the_file() -> None:
    made = sensors("haul", "rope", "cell", haul="u = 1.0", cell="u = 1.0")
    for haul, cell in ((HAUL_N, 1000 / KGF_N), (HAUL_N / LBF_N, 1000.0)):
        reviewed = review(three(None), made, hauled(haul, cell))
        (values,) = codes(reviewed, "one_unit_looks_wrong")
        assert (values["first"], values["second"]) == ("haul", "cell")
    assert codes(review(three(None), made, hauled(HAUL_N, 1000.0)), "one_unit_looks_wrong") == []


def test_a_cell_that_reads_negative_under_every_pull_names_the_sign() -> None:
    made = sensors("haul", "rope", haul="u = 2.0")
    reviewed = review(three(1000, 10), made, hauled(-HAUL_N))
    (values,) = codes(reviewed, "reads_negative")
    assert values["cell"] == "haul" and values["least_N"] == pytest.approx(-HAUL_N, rel=0.02)
    assert codes(reviewed, "zero_too_low") == []
    assert "its sign is wrong, not its zero" in " ".join(reviewed["warnings"])


def test_a_cell_that_reads_below_zero_at_rest_still_names_the_zero() -> None:
    made = sensors("haul", "rope", haul="u = 2.0")
    t, x, force = pull(50.0, HAUL_N)
    reviewed = review(three(1000, 10), made, block(haul=(t, force - 60.0), rope=(t, x)))
    assert codes(reviewed, "reads_negative") == [] and codes(reviewed, "zero_too_low")
