"""The rig as data: ropes, stations, strands, bodies, load, surfaces.

Read `rig`.  May import `messages`, and from `logger`.
"""
