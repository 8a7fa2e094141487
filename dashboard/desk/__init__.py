"""What every page of `haul desk` stands on: the folder, what is chosen in it, the strip above a page.

Read `desk_page` (what a page is given, what it gives back, and all addresses), `folder` (what lies in the
folder, and which names are allowed), `chosen` (the rig and the sensors file of the next haul), `written_files` (how a page
saves), `virtual` (virtual devices in it), `strip`, then `held_ports` (ports that a page holds open, closed for whoever needs them).
May import `live`, `web`, `text` and the rooms below; the pages import this, and the server imports the pages.
"""
