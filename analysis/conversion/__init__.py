"""Converts a rig into another while its load is held: the fewest moves, and what they change.

Read `outline` (a rig file's stations in order), `pairing` (which stations stay, come off, go on), `stages` (the rig
file after some of the edits), `held` (is the load held, and may this be changed), `search` (the fewest moves), `wording`
(the moves in words), then `convert` (the plan, interface section 7) and
`standing_rig` (the file of a rig in the middle of its job).  May import `prediction`, `rig_edit` and what
lies below them.
"""
