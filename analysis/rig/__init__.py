"""Holds the rig as data: ropes, stations, strands, bodies, load, and tables of surfaces.

Read `rig`, then `surfaces` (resistance coefficients from published tables).  May import from `logger`
alone, and `messages` and `numeric`.
"""
