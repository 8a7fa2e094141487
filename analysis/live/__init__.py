"""The state of a haul as it goes on: what is happening, what parts carry, rope left, recorder state.

Read `live_state`, then `haul_state`.  May import `review` and what lies below it.
"""
