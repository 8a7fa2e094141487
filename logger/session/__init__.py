"""The session folder: written row by row, sealed, verified, repaired, read.

Read `records`, `writer`, `reader`, then `verify`.  May import `formats`, `channels` and what lies below them.
"""
