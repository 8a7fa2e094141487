"""Predicts what a rig does: `haul predict`, `haul choose`, the job step by step, alarm levels.

Read `predict` (the JSON, interface section 5), `job_limits` (how near each part comes to its limit in
every condition of the job, and the stop level), `alarm_rows` (the alarm levels that a rig's limits give),
`alarm_headlines` (what an alarm is about, in a few words),
`jam` (what the rig sees if the load jams),
`capture_places` and `grab_places` (what a capture on each strand would do, where grabs sit best),
`job_table` and `job_frames` (the job as a table and as frames to draw), then `choose_rig` (which rigs
of the shelf do a job).  May import `rig_file`, `mechanics` and what lies below them.
"""
