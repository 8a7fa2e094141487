"""Renders messages for people: a code with values, and the one catalogue of their sentences.

Read `message` (a code with values, and its text), then `catalogue` (the sentence of every code) with
`template` (one row of it).  May import nothing else of this room.
"""
