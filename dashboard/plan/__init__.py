"""The plan page of one or two rigs: forces, travel and the job step by step, before anyone pulls.

Read `server` (routes), `planned_rig` (a rig file and what is computed from it), `page` (the empty
page), then its contents: `tables`, `t_method_table` and `job_step`; `wire` has the records that are sent.  May import `rig_drawing`,
`web`, `text`.
"""
