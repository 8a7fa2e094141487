"""Strokes, resets and events, found from readings.

Read `analyser`, which a review and the live page share, then `segmentation` (where a stroke is found),
`stroke_accumulator`, `stroke` and `result`.  May import `signals` and what lies below it.
"""
