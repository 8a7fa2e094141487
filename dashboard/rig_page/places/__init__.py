"""Where along the rope something should sit: load cells, progress captures, grabs.

Read `cells` (the force channels of the sensors file, and the menu that puts one at a place) with `cell_acts` (a cell put there, and taken back), `captures` (where a capture
would hold the load, as marks, lines and a list), `grab_searches` (the best places of the grabs, worked out in threads),
`grabs` (the same as a menu), then `surroundings` (all three beside one state of the draft) and `places_layout` (what of it stands below the drawing).
May import `acts`, `draft_store`, `menu_parts`, and what `rig_page` may import.
"""
