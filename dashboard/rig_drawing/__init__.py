"""The drawing of a rig as SVG: layout, labels, the picture.

Read `layout` (positions of bodies, stations and strands), `cell_signs` (where a load cell is drawn), `label_candidates` and `label_placement` (a
free position for every text), then `drawing`.  May import nothing else of this room.
"""
