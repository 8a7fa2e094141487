"""What a rig should do: `haul predict`, `haul choose`, the frames of a job, alarm rows.

Read `predict`.  May import `rig_file`, `mechanics`, `rig`.
"""
