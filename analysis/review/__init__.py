"""The review of a session: measurement compared with prediction, as JSON (interface section 6).

Start with `review` (every key of the object).  `reviewed_session` keeps the readings and models behind a
review; `shown_rows` adds numbers that tables show; `si_series` converts readings to SI.  May import
`efficiency` and what lies below it.
"""
