"""The showing room: the `haul` command and its pages; it formats what analysis computed.

Read in this order: `cli` with `stop_signals`, and `commands`; `text`, `rig_drawing`, `figures`
(values as text, drawing, plot); `web` (the server without a page); `plan`, `live`, `review`, `watch` (a page each, their scripts
in the folder assets), `export` (files).  May import from analysis and logger; nothing imports from
here.
"""
