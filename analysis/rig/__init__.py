"""Holds the rig as data: ropes, stations, strands, bodies, load, and tables of surfaces and knots.

Read `rig`, then `surfaces` (resistance coefficients from published tables) and `knots` (what a knot
keeps of the rope's strength).  May import from `logger` alone, and `messages` and `numeric`.
"""
