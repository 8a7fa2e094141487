"""The desk's page of conversions: make this rig of that one, with the load held; a list for paper.

Read `plans` (the conversion of two rigs, with a time limit), then `desk_page` (what is asked for, and the page).  May
import `desk`, `conversion`, `web`, `text` and the rooms below.
"""
