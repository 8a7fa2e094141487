"""The efficiency and its interval: load estimators, uncertainty budgets, travel and work, the verdict.

Read `estimate` (advantage and efficiency with the components of their uncertainty) and `uncertainty`
(from components to the interval, U95); then how the load force is known: `load_estimators`, `load_from_lowering`,
`load_from_other_session`; `work` (travel and work), `verdict` (measured against predicted, in a
sentence), `stage_losses` (which stage drags), `as_built_check` and `calibration_range_check` (what may
be wrong).  May import `strokes` and what lies below it.
"""
