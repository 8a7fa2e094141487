"""Holds the rig as data: ropes, stations, strands, bodies, load, and tables of surfaces and knots.

Read `rig`, then `surfaces` (resistance coefficients from published tables), `knots` (what a knot keeps
of the rope's strength) and `presets` (usual values of gear, rope and people).  May import from `logger` alone, and `messages` and `numeric`.
"""
