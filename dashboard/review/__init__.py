"""The review page of a session.

Read `routes`, then `session_review`.  May import `export`, `live` and what lies below them.
"""
