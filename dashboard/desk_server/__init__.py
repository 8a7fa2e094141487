"""The server of `haul desk`: all pages of the desk behind one gate, the home page, the folder's rig pages.

Read `server`, then `folder_lock` (one desk a folder), `rig_pages` (a draft for each rig file of the folder) with `folder_cells` (where the load cells sit),
`step_pages` (where a step of the job leads that has nothing to show yet); of the home page `next_step` (what to do next), `home_view` (its parts as plain
values) with `rig_cards`, `home_layout`, `home_page` (its callbacks, by role), and `virtual_devices` (the demo's devices, for a
first haul without any).  May import every page and what lies below.
"""
