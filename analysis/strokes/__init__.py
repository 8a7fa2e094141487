"""Strokes, resets and events, found from readings.

Read `analyser` (`push` and `result`, for review and live page alike), then `segmentation` (where a
stroke is found: tension on and off, resets, slips, shocks); `stroke` (one stroke) with `stroke_accumulator` and `stroke_sums` (while it grows), `steady_part`, `stroke_details`,
`distance_profile` and `lag_correction`; `derived_events`, `counter_checks`, `rig_changes`,
`load_travel`; `complete_seconds` and `cell_track` are what the analyser works on, and `result` is what
comes out.  May import `signals` and what lies below it.
"""
