"""The review of a session: measurement beside prediction, as JSON (interface section 6).

Read `review` (every key of the object), then `reviewed_session` and `shown_rows` (what plots and tables
need beside it), and `si_series` (readings in SI).  May import `efficiency` and what lies below it.
"""
