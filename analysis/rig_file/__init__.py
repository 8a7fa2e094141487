"""Reads and writes rig files (interface section 1): TOML to a checked rig, and back.

Read `rig_keys` (every key, declared once), `load` (load a file, check that the rig can work), `parser` (the file table by table, on one
`draft`) with `body_places`, `rope_paths` (every station), `item_tables` (single items), `load_table`
(the load), `team_table` (the people), `ratings` (what things are rated for) and `consistency` (checks over the whole); then `to_toml` (the way back).
May import `mechanics`, `rig` and what lies below them.
"""
