"""From a rig file and a session folder to a prediction, a measurement and their agreement.

Read in this order. The rig: `bodies`, `rig` (the file, through `rig_file` and `rig_load`; `rig_text` writes it),
`motion` (what moves how far), `tension` (forces, friction along the real motion), `loads`,
`surfaces`, `limits`, `model`, `predict`; `travel`, `job_table`, `story`, `take_up`, `everywhere`
(all conditions), `handbook`, `choose`. The measurement: `analyser` (strokes and events from
readings, with `feed`, `grid`, `levels`, `segments`, `strokes`, `steady`, `facts`, `lag`, `lags`),
`ways`, `lower`, `across` (how the load force is known), `uncertainty`, `efficiency`, `work`,
`stages`, `as_built`, `verified`, `notes`, `verdict`, `review`. Afterwards: `whole`, `series`, `compare`, `session_rows`,
`index`, `batch`, `trend`, `gear`. May import from logger, never from dashboard.
"""
