"""The crew's card of a rig: one HTML page for paper, that needs nothing else."""

from __future__ import annotations

from analysis.mechanics.model import model
from analysis.prediction.predict import prediction
from analysis.rig.rig import Rig
from dashboard.conversion.drawn_moves import inside_html
from dashboard.export.report_tables import PaperTable, cut
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.cautions import CAUTIONS
from dashboard.text.prediction_text import force_rows, hold_rows, stop_rows, travel_rows
from dashboard.text.templates import render, svg_markup
from dashboard.text.units import METRIC, Units, number

WIDTH = 760  # pixels of the drawing: about the width of the paper
MOST_TITLE, MOST_NOTE, MOST_WARNING = 90, 200, 220  # characters
MOST_WARNINGS = 6  # that one page has room for, the gravest first
GRAVEST = {"stop": 0, "caution": 1, "info": 2}  # level of a message -> its place
# what the crew agrees on and writes in by hand
BY_HAND = (
    "signal: haul", "signal: stop", "signal: set the capture, hold", "signal: ease, slack",
    "who gives the signals", "who tends the capture", "who watches the load", "where nobody stands",
)  # fmt: skip


def crew_card(rig: Rig, shown: Units = METRIC) -> str:
    """The HTML of a rig's card."""
    rig_model = model(rig)
    predicted, messages = prediction(rig)
    haul_N = rig_model.haul_force_N
    texts = [
        f"{number(float(t))} T" if haul_N is None else shown.force(float(t) * haul_N)
        for t in rig_model.tension
    ]
    forces = dict(force_rows(rig_model, predicted, shown))
    stop, jam = stop_rows(rig_model, shown)
    first = [(label, forces.pop(label)) for label in ("MA with friction", "haul force")]
    said = sorted((m for m in messages if m.level != "info"), key=lambda m: GRAVEST[m.level])
    more = len(said) - MOST_WARNINGS
    return render(
        "export/card.html.j2",
        title=cut(rig.title or "Rig", MOST_TITLE),
        note=cut(rig.note, MOST_NOTE),
        first=[(label[0].upper() + label[1:], text) for label, text in (*first, stop, jam)],
        drawing=svg_markup(
            inside_html(drawing(rig, rig.start_m, rig_model.tension, texts, width=WIDTH))
        ),
        predicted=haul_N is not None,
        forces=PaperTable(rows=tuple(forces.items()), layout="facts"),
        travel=PaperTable(rows=tuple(travel_rows(predicted, shown)), layout="facts"),
        holds=PaperTable(
            rows=tuple(hold_rows(predicted, shown)),
            layout="facts",
            empty="No progress capture: hands must hold the load all the time.",
        ),
        warnings=[cut(one.text(shown), MOST_WARNING) for one in said[:MOST_WARNINGS]],
        more=f"{more} more; `haul predict` lists all" if more > 0 else "",
        cautions=CAUTIONS,
        by_hand=BY_HAND,
    )
