"""Rig files (interface section 1): TOML to a checked rig, and back.

Read `load` (load a file, check that the rig can work), `parser` (every table and station) with
`load_table` (the table of the load and the ratings), then `to_toml` (the way back).  May import
`mechanics`, `rig` and what lies below them.
"""
