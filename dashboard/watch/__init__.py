"""The server of `haul watch`: routes, list of sessions, entry page; and the copy that `haul replay`
plays.

Read `server` and `live_routes` with `conversion_routes`, then `session_list`, `entry_routes` (codes let people in) and `replay_copy`.  May
import `review` and what lies below it.
"""
