"""Simulates hauls: the demo's physics, and hauls whose true values are stated in a file.

Read `stated_haul` (for `haul simulate`), then `demo_haul` (for `haul demo`)
with `demo_files` (the ports of its devices).  May import `signals` and
what lies below it.
"""
