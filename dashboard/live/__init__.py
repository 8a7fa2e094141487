"""The live page: one session watched, what the server sends, the page's shell.

Read `watcher`, then `state_feed`.  May import `plan`, `figures` and what lies below them.
"""
