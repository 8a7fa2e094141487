"""The drawing of a rig as SVG: layout, labels, the picture.

Read `layout` (where everything goes on paper), `label_candidates` and `label_placement` (a free place
for every text), then `drawing`.  May import nothing else of this room.
"""
