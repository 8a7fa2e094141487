"""Makes the rows of a review's results, and uncertainty budgets, for terminal, page and report."""

from __future__ import annotations

import math
from dataclasses import dataclass
from operator import attrgetter as field
from typing import TYPE_CHECKING, Any

from dashboard.text.summary_sentences import METHODS
from dashboard.text.table_rows import FORMATS, Column, texts
from dashboard.text.units import UNKNOWN, Units, number, plus_minus

if TYPE_CHECKING:
    from analysis.efficiency.estimate import Estimates
    from analysis.efficiency.uncertainty import Quantity
    from analysis.mechanics.model import Model
    from analysis.review.review import Reviewed

STEADY = "mean over distance while the load moves steadily"
NO_U = "no uncertainty is stated for it"


@dataclass(frozen=True)
class ResultRow:
    """One quantity of a review.

    key: its name in the object of `haul review --json`
    title: its name for people
    kind: as in Column
    measured: {"value", "U95"} or a number, SI; None: not known; "": this quantity is not measured
    predicted: as measured
    quantity: the measured one with its budget; None without one
    how: the method in words
    """

    key: str
    title: str
    kind: str
    measured: Any
    predicted: Any
    quantity: Quantity | None
    how: str


RESULTS = (
    Column("quantity", field("title")),
    Column("measured ± 95 %", field("measured"), "own"),
    Column("predicted ± 95 %", field("predicted"), "own"),
    Column(
        "observations",
        lambda row: row.measured["n"] if row.quantity and row.measured else "",
        "count",
    ),
    Column("how", field("how")),
)


def result_rows(review: dict[str, Any], rig_model: Model, estimates: Estimates) -> list[ResultRow]:
    """The row of each quantity of a review; rig_model, estimates: of the rig that the review
    shows."""
    from analysis.review.shown_rows import predictions

    predicted = predictions(rig_model)
    measured = review["measured"] | {"en": review["agreement"]["en"]}
    method, by = measured["load_force_method"], measured["load_travel_method"]
    load = f"the load's force {METHODS.get(method, method)} ({method})"
    table = (
        ("actual_ma", "mechanical advantage", "number", estimates.actual_ma, f"load force / haul force, {STEADY}; {load}"),
        ("ideal_ma", "if nothing were lost", "number", None, "the same rig without friction"),
        ("efficiency", "efficiency", "number", estimates.efficiency, "actual MA / ideal MA"),
        ("haul_force_N", "haul force", "force", estimates.haul_force, f"haul cell, {STEADY}"),
        ("load_force_N", "load force", "force", estimates.load_force, load),
        ("pulley_efficiency", "efficiency of one pulley", "number", estimates.pulley_efficiency,
         "the one efficiency of all pulleys that gives this advantage in this rig"),
        ("travel_efficiency", "travel efficiency", "number", estimates.totals.efficiency,
         "load travel x travel ratio / rope hauled, over strokes"),
        ("work_efficiency", "work efficiency", "number", estimates.work_efficiency, "work out / work in, rest to rest"),
        ("haul_travel_m", "rope hauled", "length", None, f"sum over haul strokes; {NO_U}"),
        ("load_travel_m", f"load moved, by {by}", "length", None, f"sum over haul strokes; {NO_U}"),
        ("work_in_J", "work in", "work", None, f"haul force over rope, all haul strokes; {NO_U}"),
        ("work_out_J", "work out", "work", None, f"load force over load travel; {NO_U}"),
        ("en", "En, agrees up to 1", "rough", None, review["agreement"]["verdict"]),
    )  # fmt: skip
    return [
        ResultRow(key=key, title=title, kind=kind, measured=measured.get(key, ""),
                  predicted=predicted.get(key, ""), quantity=quantity, how=how)
        for key, title, kind, quantity, how in table
    ]  # fmt: skip


def side_by_side(reviewed: Reviewed, shown: Units) -> list[list[str]]:
    """Measured and predicted of each chapter beside each other, titles first; empty for one chapter."""
    every = reviewed.chapters
    if len(every) < 2:
        return []
    title, measured, predicted, *_ = RESULTS
    objects = reviewed.shown(shown)["chapters"]
    columns = [
        result_rows(row, c.rig_model, c.estimates) for row, c in zip(objects, every, strict=True)
    ]
    head = [title.title]
    for c in every:
        head += [f"{c.number + 1}: measured ± 95 %", f"{c.number + 1}: predicted ± 95 %"]
    lines = [head]
    for rows in zip(*columns, strict=True):
        cells = [text.text(row, shown) for row in rows for text in (measured, predicted)]
        lines.append([title.text(rows[0], shown), *cells])
    return lines


def session_totals(review: dict[str, Any], shown: Units) -> str:
    """Travel, work, strokes and resets of the whole session in words."""
    measured = review["measured"]
    words = [
        f"rope hauled {shown.length(measured['haul_travel_m'])}",
        f"load moved {shown.length(measured['load_travel_m'])}",
        f"work in {shown.work(measured['work_in_J'])}",
        f"work out {shown.work(measured['work_out_J'])}",
        f"strokes {len(review['strokes'])}",
        f"resets {review['resets']}",
    ]
    return ", ".join(words)


@dataclass(frozen=True)
class BudgetTable:
    """The uncertainty budget of one quantity, as text.

    name: of the quantity
    said: its value with U95 and unit
    note: u, k, degrees of freedom and number of observations
    rows: the titles, then a row for each component, the largest first
    shares: of u² by component, 0 to 1
    """

    name: str
    said: str
    note: str
    rows: list[list[str]]
    shares: list[float]


def budget_table(row: ResultRow, shown: Units, most: int) -> BudgetTable:
    """The budget of a measured quantity; most: components at most."""
    from analysis.efficiency.uncertainty import budget_rows, t_quantile

    quantity = row.quantity
    assert quantity is not None
    unit, size = shown.force_shown.chosen(quantity.value) if row.kind == "force" else ("", 1.0)

    def sized(u: float) -> str:
        """An uncertainty u, SI, in the unit of the value."""
        return f"{number(u / size, 2)} {unit}".rstrip()

    columns = (
        Column(row.title, field("name"), most=80),
        Column("u", lambda component: sized(component.u)),
        Column("degrees of freedom", field("degrees"), "degrees"),
        Column("share of u²", field("share"), "share"),
    )
    every = budget_rows(quantity)[:most]
    said, note = UNKNOWN, "the uncertainty cannot be stated"
    if math.isfinite(quantity.U95):
        said = f"{plus_minus(quantity.value / size, quantity.U95 / size)} {unit}".rstrip()
        degrees = FORMATS["degrees"](quantity.degrees)
        note = (
            f"u = {sized(quantity.u)}, k = {number(t_quantile(quantity.degrees))} "
            f"(t, {degrees} degrees of freedom), 95 %; {quantity.n} observations"
        )
    return BudgetTable(name=row.title, said=said, note=note, rows=texts(columns, every, shown),
                       shares=[component.share for component in every])  # fmt: skip
