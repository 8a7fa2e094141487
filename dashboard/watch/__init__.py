"""The server of `haul watch`: routes, list of sessions, entry page, replay.

Read `server`, then `session_list`, `entry_routes` (who has a code comes in) and `replay_copy`.  May
import `review` and what lies below it.
"""
