"""Many sessions: rows, index, trends, comparison, record of gear.

Read `session_row` (a session in one row), `index` (rows of a folder, kept in the cache) with `batch`
(the same work on all cores or a cluster), then `trend`, `compare` and `gear_log`.  May import `review`
and what lies below it.
"""
