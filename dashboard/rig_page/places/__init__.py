"""Where along the rope something should sit: load cells, progress captures, grabs.

Read `cells` (the force channels of the sensors file, and the menu that puts one at a place), `captures` (where a capture
would hold the load, as marks, lines and a list), `grabs` (the best places of the grabs, worked out in a thread, as a
menu), then `surroundings` (all three beside one state of the draft) and `places_layout` (what of it stands below the drawing).
May import `acts`, `menu_parts`, and what `rig_page` may import.
"""
