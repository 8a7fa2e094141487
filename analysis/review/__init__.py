"""The review of a session: measurement compared with prediction, as JSON (interface section 6).

Start with `review` (every key of the object) and `chapters` (one for each rig of the session).  `peaks` has the
highest force on each part, `force_bounds` what a part carries at most.  `limit_events` judges limits that were
passed; `peak_use` finds the highest share of a limit; `causes` orders what may be wrong by how much it explains.
`reviewed_session` keeps the readings and models behind a review; `shown_rows` adds numbers that tables show;
`si_series` converts readings to SI.  May import `efficiency` and what lies below it.
"""
