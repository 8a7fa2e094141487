"""The printable list of a conversion's moves: one HTML file that needs nothing else."""

from __future__ import annotations

from dataclasses import replace

from analysis.conversion.convert import Conversion
from analysis.rig_file.load import sketch_rig
from dashboard.conversion.changes import change_rows, loaded_rows, ratios
from dashboard.conversion.drawn_moves import drawn_moves, drawn_rig, inside_html
from dashboard.export.report_tables import PaperTable, cut
from dashboard.text.cautions import CAUTIONS
from dashboard.text.templates import render, svg_markup
from dashboard.text.units import METRIC, Units

WIDTH = 440  # pixels of a drawing: two stand beside each other
MOST_TITLE = 60  # characters of a rig's title


def conversion_page(made: Conversion, text: str, other_text: str, shown: Units = METRIC) -> str:
    """The HTML of a conversion that is possible.

    text, other_text: the rig files of the rig that stands and of the one that is wanted.
    """
    titles = [cut(sketch_rig(one, "rig").title or "rig", MOST_TITLE) for one in (text, other_text)]
    before, after = ratios(made)
    count = f"{len(made.moves)} move{'' if len(made.moves) == 1 else 's'}"
    moves = [
        replace(one, svg=svg_markup(inside_html(one.svg)))
        for one in drawn_moves(made, shown, WIDTH)
    ]
    head, *rows = loaded_rows(made) or [[]]
    return render(
        "export/conversion.html.j2",
        title=f"From {titles[0]} to {titles[1]}",
        ratio=f"Ideal advantage {before} to {after}, {count}, the load held after each",
        changes=PaperTable(rows=tuple(change_rows(made, shown)), layout="facts"),
        loaded=PaperTable(head=tuple(head), rows=tuple(tuple(row) for row in rows)),
        start=svg_markup(inside_html(drawn_rig(text, WIDTH))),
        warnings=[one.text(shown) for one in made.warnings],
        moves=moves,
        cautions=CAUTIONS,
    )
