"""The check before the pull: a list that fills itself, what a person overrules, and the start of the recorder.

Read `check_line` (one line of the list, and what a person says to it), `rig_lines`, `sensors_lines` and
`machine_lines` (the lines, each from what the rooms below say), `port_listener` (what the channels send now),
`machine_now` (what the machine says now), `session_name` (a name for the session), then `recorder_start` (the recorder
as a process of its own), `checks` (the whole check of a folder: what was chosen, confirmed and overruled, and the start), `layout` (the page), `callbacks` (what a
touch does, by role) and `desk_page` (the page behind the gate).
May import `desk`, `text`, `web` and the room below.
"""
