"""The plan page of one or two rigs.

Read `server`, then `planned_rig`.  May import `rig_drawing`, `web`, `text`.
"""
