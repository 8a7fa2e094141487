"""Detects strokes, resets and events in the readings of a session.

Start with `analyser` (`push` and `result`, used by review and live page alike) and `segmentation`
(tension on and off, strokes, resets, slips, shocks).  `stroke` is one finished stroke;
`stroke_accumulator` and `stroke_sums` hold a growing one; `distance_profile`, `steady_part` and
`stroke_details` compute its means and details, and `lag_correction` corrects them.  `derived_events`,
`counter_checks`, `rig_changes` and `load_travel` cover the session as a whole.  `complete_seconds` and
`cell_track` prepare the input of the analyser; `result` is its output.  May import `signals` and what
lies below it.
"""
