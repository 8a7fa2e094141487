"""The review of a session: measurement beside prediction, as JSON.

Read `review`.  May import `efficiency` and what lies below it.
"""
