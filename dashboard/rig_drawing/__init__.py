"""The drawing of a rig as SVG: layout, labels, the picture.

Read `layout`, then `drawing`.  May import nothing else of this room.
"""
