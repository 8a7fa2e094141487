"""Estimates the actual advantage and efficiency of a rig with their uncertainty (U95).

Start with `estimate` (all quantities with their budgets) and `ground_scatter`, `uncertainty` (from components to U95).
The load force comes from a load estimator: `load_estimators`, `load_from_lowering`,
`load_from_other_session`.  `work` sums travel and work, `rope_at_rest` the rope that came back before the load
rested; `verdict` compares measurement and prediction;
`stage_losses` compares the stages of a rig; `as_built_check`, `calibration_range_check` and `unit_check`
warn of what may be wrong; `contradictions` leaves out what the readings themselves contradict, and
`unstated_uncertainty` what rests on a channel without one.  May import `strokes` and what lies below it.
"""
