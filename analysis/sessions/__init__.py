"""Evaluates many sessions: table rows, index, trends, comparison, record of gear.

Start with `session_row` (a session as one row) and `index` (the rows of a folder, kept in the cache), with
`batch` (the same function for many sessions, on all cores or a cluster); then `trend`, `compare` and
`gear_log`.  May import `review` and what lies below it.
"""
