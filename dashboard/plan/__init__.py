"""The plan page of one or two rigs: what a rig does before anyone pulls.

Read `server` (routes), `planned_rig` (a rig file and its answers), `page` (the shell), then `tables`,
`t_method_table` and `job_step` (what stands in it); `wire` has the records that are sent.  May import `rig_drawing`, `web`, `text`.
"""
