"""The server of `haul watch`: routes, list of sessions, entry, replay.

Read `server`.  May import `review` and what lies below it.
"""
