"""The review page of a session.

Read `routes` (what a query may ask), `session_review` (a session read once, then what is new),
`page` (the shell), then `tables`, `figures` and `windowed_series` (any window of the readings at
bounded cost); `wire` has the records that are sent.  May import `export`, `live` and what lies below them.
"""
