"""The live page: its tiles, the session that it follows, what the server sends to it.

Read `page_shell` (every tile by its id; `assets/live/tiles.js` fills them), `publisher` (a value for each
tile, rounded and worded, into the feed), `wire` (the records that are sent), `state_feed` (versioned
parts: a page gets what is new to it), then `watcher` with `follower_thread` (one session followed), `event_log`, `load_display`,
`session_header` and `session_hub` (many sessions).  What a value is, `analysis/live` computes.  May
import `plan`, `figures` and what lies below them.
"""
