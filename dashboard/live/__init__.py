"""The live page: its tiles, the session that it follows, what the server sends to it.

Read `page_shell` (every tile by its id; `assets/live/tiles.js` fills them), `publisher` (a value for each
tile, rounded and worded, into the feed), `wire` (the records that are sent), `state_feed` (versioned
parts: a page gets what is new to it), then `watcher` with `follower_thread` (one session followed), `event_log`, `load_display`,
`session_header` and `session_hub` (many sessions); of a planned conversion `conversion_panel` (the plan, and how far it
was made), `conversion_choices` and `conversion_wire`; `rig_files` (rigs that the one on the ground may be changed to).  What a value is, `analysis/live` computes.  May
import `conversion`, `plan`, `figures` and what lies below them.
"""
