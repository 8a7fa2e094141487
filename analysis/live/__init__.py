"""The state of a haul as it goes on: what is happening, what parts carry, rope left, recorder state.

Read `haul_state`.  May import `strokes` and what lies below it.
"""
