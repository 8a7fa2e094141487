"""The live page: its tiles, one session watched, what the server sends.

Read `page_shell` (every tile by its id; `assets/tiles.js` fills them), `watcher` (follows a session and
puts a value for each tile into the feed) and `state_feed` (versioned parts: a page gets what is new to
it); then `event_log`, `load_display`, `session_header` and `session_hub` (many sessions).  What a value
is, `analysis/live` computes.  May import `plan`, `figures` and what lies below them.
"""
