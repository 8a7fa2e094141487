"""Many sessions: rows, index, trends, comparison, gear record.

Read `session_row`, then `index`.  May import `review` and what lies below it.
"""
