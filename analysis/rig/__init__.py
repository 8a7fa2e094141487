"""The rig as data: ropes, stations, strands, bodies, load, surfaces.

Read `rig`.  May import from `logger` alone.
"""
