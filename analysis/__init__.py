"""From a rig file and a session folder to a prediction, a measurement and their agreement.

Read in this order: `bodies`, `rig` (the file, through `rig_file`), `motion` (what moves how far),
`tension` (forces, friction along the real motion), `loads`, `limits`, `predict` (all of the model),
then `analyser` (strokes and events from readings), `efficiency`, `review`.
May import from logger, never from dashboard.
"""
