"""The printable report of a session: one HTML file that needs nothing else.

No script, no link, no font or picture from elsewhere; opens offline and prints on A4 and Letter in at
most four pages: every table is bounded and says what it leaves out.
"""

from __future__ import annotations

from html import escape
from pathlib import Path

from analysis.review.review import read_by_cells
from analysis.review.reviewed_session import Whole, whole_session
from analysis.review.shown_rows import peak_rows
from dashboard.export import report_tables as tables
from dashboard.export.output_file import cannot_write, outside
from dashboard.export.report_tables import said
from dashboard.figures.session_figures import (
    MARKED,
    efficiency_by_stroke,
    force_over_time,
    work_loop,
)
from dashboard.figures.to_svg import svg
from dashboard.rig_drawing.drawing import drawing
from dashboard.text.result_rows import result_rows
from dashboard.text.summary_sentences import three_sentences
from dashboard.text.table_rows import listed_events
from dashboard.text.units import METRIC, Units, number
from logger.clock import utc_text
from logger.session.descriptor import haul_version
from logger.session.verify import REFUSED, Verdict, verify

STYLE = """
@page { margin: 12mm 12mm 14mm; }
* { box-sizing: border-box; }
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 190mm; padding: 4mm; background: #fff; color: #14181c;
  font: 9.2pt/1.32 system-ui, "DejaVu Sans", "Segoe UI", Roboto, sans-serif; }
@media print { body { padding: 0 0.5mm; max-width: none; } }
h1 { font-size: 15pt; margin: 0 0 1mm; line-height: 1.15; overflow-wrap: anywhere; }
h2 { font-size: 10.5pt; margin: 3.2mm 0 1mm; border-bottom: 0.3mm solid #14181c; break-after: avoid; }
p, ul { margin: 0.8mm 0; } ul { padding-left: 4.5mm; } li, td, th, p { overflow-wrap: anywhere; }
.job { display: flex; flex-wrap: wrap; gap: 0.4mm 6mm; margin: 0; }
.job div { display: flex; gap: 1.5mm; } .job dt { color: #4a525a; } .job dd { margin: 0; }
.result { border: 0.4mm solid #14181c; padding: 1.6mm 2.4mm; margin: 2mm 0; font-size: 10.2pt; break-inside: avoid; }
.result p { margin: 0.7mm 0; }
svg { display: block; width: 100%; height: auto; }
.rig svg { max-height: 82mm; } .time svg { max-height: 62mm; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 0 5mm; align-items: start; }
.more-left { grid-template-columns: 3fr 2fr; }
figure { margin: 1mm 0; break-inside: avoid; }
figcaption, .more { color: #4a525a; font-size: 8pt; }
table { border-collapse: collapse; width: 100%; font-size: 8.2pt; line-height: 1.22; }
tr { break-inside: avoid; } thead { display: table-header-group; }
th, td { text-align: right; padding: 0.45mm 1mm; border-bottom: 0.15mm solid #c3c8cd; vertical-align: top;
  font-variant-numeric: tabular-nums; }
th { font-weight: 600; } th[scope="row"] { text-align: left; font-weight: 400; }
thead th:first-child { text-align: left; } thead th { white-space: nowrap; }
.wide th, .wide td { text-align: left; }
.events th, .events td:nth-child(-n+3), .tight td { white-space: nowrap; }
.tight thead th { white-space: normal; overflow-wrap: normal; } .tight th[scope="row"] { min-width: 26mm; }
.digest { font-family: "DejaVu Sans Mono", Consolas, monospace; overflow-wrap: anywhere; }
"""
STANDING = (
    "Peaks of strands and elements are inferred from the haul cell with the model's frictionless gain: at most "
    "this much was carried while hauling; where a cell sits, it is what that cell read. A shock between two "
    "readings, a load lowered or held by a capture, or friction on a capture, may have been more.",
    "No reading and no prediction stands above a rating. A person inspects gear and decides on it.",
)


def report(
    session: str | Path, rig: str | Path | None = None, shown: Units = METRIC,
    before: str | Path | None = None,
) -> str:  # fmt: skip
    """The report's HTML; rig: what if it had been this rig; before: a session that tells the
    load's force.  Raises UserFault in one line."""
    whole = whole_session(session, rig, before)
    judged = verify(session)
    review = whole.reviewed.shown(shown)
    chosen = listed_events(review, tables.MOST_EVENTS)
    numbers = [(e["time_s"], str(e["k"])) for e in chosen if e["kind"] in MARKED]
    rows = result_rows(review, whole.rig_model, whole.estimates)
    by_key = {row.key: row for row in rows}
    title = said(review["title"] or "Haul session", 110)
    what_if = (
        "" if rig is None
        else f"<p><b>WHAT IF:</b> predictions and estimates take the rig file {said(rig)}, not the session's own.</p>"
    )  # fmt: skip
    own = read_by_cells(whole.rig_model, whole.result)
    sentences = "".join(f"<p>{said(text, 340)}</p>" for text in three_sentences(whole.reviewed, shown, own))
    force = svg(force_over_time(whole, shown, numbers), 720, 225)
    loop = svg(work_loop(whole, shown), 380, 240)
    each = svg(efficiency_by_stroke(review), 380, 240)
    standing = "".join(f"<p>{escape(text)}</p>" for text in STANDING)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{STYLE}</style></head>\n<body>"
        f"<h1>{title}</h1>{_job(whole, shown)}{what_if}"
        f'<section class="result" aria-label="result">{sentences}</section>'
        f'<div class="pair"><section><h2>Measured against predicted</h2>{tables.results(rows, shown)}</section>'
        f"<section><h2>Cautions</h2>{standing}{tables.cautions(review)}</section></div>"
        f'<h2>Rig at the start of the job</h2><figure class="rig">{_drawn(whole, shown)}'
        f"<figcaption>{_strand_caption(whole)}</figcaption></figure>"
        f'<h2>The haul</h2><figure class="time">{force}'
        "<figcaption>Numbers above the plot are those of the events below.</figcaption></figure>"
        f'<div class="pair"><figure>{loop}<figcaption>The area below the curve is the work put in; rope fed '
        f"back without tension runs along the bottom.</figcaption></figure><figure>{each}</figure></div>"
        f"<h2>Strokes</h2>{tables.strokes(review, shown)}"
        f'<div class="pair more-left"><section><h2>Peaks, inferred or read</h2>{tables.peaks(peak_rows(review, whole.rig_model, whole.result), shown)}</section>'
        f"<section><h2>Uncertainty budget</h2>{tables.budget(by_key['actual_ma'], shown)}"
        f"{tables.budget(by_key['haul_force_N'], shown)}</section></div>"
        f"<h2>Events</h2>{tables.events(review, chosen, shown)}"
        f"<h2>Channels and calibration</h2>{tables.channels(whole, shown)}"
        f"<h2>Record</h2>{_record(whole, judged)}"
        "</body></html>\n"
    )


def write_report(
    session: str | Path, file: str | Path, rig: str | Path | None = None, shown: Units = METRIC,
    before: str | Path | None = None,
) -> None:  # fmt: skip
    """Write the report; never into the session.  Raises UserFault in one line."""
    target = outside(session, file)
    text = report(session, rig, shown, before)
    try:
        target.write_text(text, "utf-8")
    except (OSError, ValueError) as error:
        raise cannot_write(target, error, "--html") from None


def _job(whole: Whole, shown: Units) -> str:
    review, load = whole.review, whole.rig.load
    facts = []
    if load.kind:
        facts.append(load.kind)
    if load.mass_kg is not None:
        facts.append(" ".join(shown.written(load.mass_kg, "g", "kg")))
    if load.slope_rad:
        facts.append(f"slope {number(load.slope_rad * 57.29577951308232)}°")
    if whole.rig_model.load_force_N is not None:
        facts.append(
            f"resists {shown.force_pm(whole.rig_model.load_force_N, whole.rig_model.load_force_u_N)} (stated)"
        )
    pull = whole.rig.team_pull_N
    rows = [
        ("load", ", ".join(facts) or "nothing stated"),
        ("team", "nothing stated" if pull is None else f"keeps up {shown.force(pull)}"),
        ("started", review["started_at"]),
        ("duration", f"{review['duration_s']:.1f} s"),
        ("state", review["state"]),
        ("session", Path(review["session"]).resolve().name),
    ]
    if whole.info.simulation_true is not None:
        rows.append(("source", "SIMULATED devices"))
    cells = "".join(f"<div><dt>{label}</dt><dd>{said(text)}</dd></div>" for label, text in rows)
    note = f"<p>{said(whole.rig.note, 240)}</p>" if whole.rig.note else ""
    return f'<dl class="job">{cells}</dl>{note}'


def _drawn(whole: Whole, shown: Units) -> str:
    known = whole.rig_model
    haul = known.haul_force_N
    texts = [
        shown.force(float(t) * haul) if haul is not None else f"{number(float(t))} T"
        for t in known.tension
    ]
    text = drawing(whole.rig, whole.rig.start_m, known.tension, texts, width=900)
    # inside HTML the namespace is known; nothing in the file then looks like an address
    return text.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1)


def _strand_caption(whole: Whole) -> str:
    if whole.rig_model.haul_force_N is None:
        return "On each strand: its tension with friction, in multiples of the haul tension T."
    return "On each strand: its predicted tension with friction."


def _record(whole: Whole, judged: Verdict) -> str:
    seal = (
        f'seal (SHA-256 of SHA256SUMS) <span class="digest">{said(judged.digest)}</span>' if judged.digest
        else "no seal: nothing shows later whether the record is what was recorded"
    )  # fmt: skip
    more = f" {said('; '.join((*judged.details, REFUSED)), 1000)}." if judged.state == "changed" else ""
    return (
        f"<p>The record is <b>{said(judged.state)}</b>; {seal}.{more}</p>"
        f'<p class="more">Made from {said(Path(whole.review["session"]).resolve().name)} by haul {said(haul_version())} on '
        f"{said(utc_text())}. Values with their expanded uncertainty, 95 %, after JCGM 100:2008.</p>"
    )
