"""Strokes, resets and events, found from readings.

Read `segmentation` (where a stroke is found), `stroke`, then `analyser`, which a review and the live page share.  May import `signals` and what lies below it.
"""
