"""Edits a sensors file as text: each edit is a value, pure and undoable, and keeps comments and order.

Read `channel_edits` (what may be changed), `sensors_text` (an edit applied to a file's text), then `sensors_draft` (a file
with the edits made to it, undo and redo, and what is wrong with it now, also in a rig).  May import `signals` and what lies below it.
"""
