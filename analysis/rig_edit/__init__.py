"""Edits a rig file as text: each edit is a value, pure and undoable, and keeps comments and order.

Read `edits` (what may be changed), `rope_cuts` (two ropes of one), `toml_text` (an edit applied to a file's text), `draft` (a file with
the edits made to it, undo and redo, and what is wrong with it now), `cell_steps` (load cells that were put elsewhere between the edits), then `fresh_parts` (names and places
for parts that are put in).  May import `rig_file` and what lies below it.
"""
