"""The showing room: the `haul` command and its pages; it formats what analysis computed.

Read in this order: `cli` with `stop_signals` and `child_processes`, and `commands`; `text`, `rig_drawing`, `figures`
(values as text, drawing, plot); `conversion` (moves with drawings); `web` (the server without a page); `plan`, `rig_page`, `live`, `review`, `watch` (a page
each, their scripts in the folder assets); `desk`, `sensors_page`, `check_page`, `sessions_page`, `convert_page`, `desk_server` (the same and more at one
address); `export` (files).  May import from analysis and logger; nothing imports from here.
"""
